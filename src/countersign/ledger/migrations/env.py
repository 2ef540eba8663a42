"""Runs migrations in the connection and the transaction that ``migrating`` opened."""

from alembic import context

connection = context.config.attributes["connection"]
context.configure(connection=connection, transactional_ddl=True)
context.run_migrations()
