"""The tables of the ledger, in SQLite and in PostgreSQL."""

from sqlalchemy import (
    Column,
    Connection,
    ForeignKey,
    Integer,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from countersign.ledger.triggers import triggers

APPLICATION_ID = 0x43534C47
"""Marks an SQLite file as a ledger of this tool (``PRAGMA application_id``, the bytes ``CSLG``)."""

SCHEMA_VERSION = 2
"""Number of the newest migration; ``PRAGMA user_version`` of an SQLite file."""

metadata = MetaData()

# WITHOUT ROWID: with a hidden rowid an ``INSERT OR REPLACE`` naming that rowid could displace a row
# without any delete trigger firing.
case_table = Table(
    "case",
    metadata,
    Column("id", Text, primary_key=True),
    Column("opened_at", Text, nullable=False),
    Column("source", Text, nullable=False),
    Column("kit_title", Text, nullable=False),
    Column("kit_hash", Text, nullable=False),
    Column("kit_text", Text, nullable=False),
    sqlite_with_rowid=False,
)

entry_table = Table(
    "entry",
    metadata,
    Column("case_id", Text, ForeignKey("case.id"), primary_key=True),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("at", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("body", Text, nullable=False),
    sqlite_with_rowid=False,
)

# The chain through the whole ledger: one link for every case (``seq`` 0) and every entry.
link_table = Table(
    "link",
    metadata,
    Column("place", Integer, primary_key=True, autoincrement=False),
    Column("case_id", Text, ForeignKey("case.id"), nullable=False),
    Column("seq", Integer, nullable=False),
    Column("hash", Text, nullable=False),
    UniqueConstraint("case_id", "seq", name="link_row"),
    sqlite_with_rowid=False,
)

# Alembic's own table, here so that a new ledger needs no migration.
version_table = Table(
    "alembic_version",
    metadata,
    Column("version_num", Text, primary_key=True),
    sqlite_with_rowid=False,
)


def revision(version: int) -> str:
    """The name of a migration as Alembic keeps it."""
    return f"{version:04}"


def create_tables(connection: Connection) -> None:
    """Make the tables and their triggers, and mark the file, in the connection's transaction."""
    metadata.create_all(connection)
    for statement in triggers(connection.dialect.name):
        connection.exec_driver_sql(statement)
    connection.execute(version_table.insert().values(version_num=revision(SCHEMA_VERSION)))
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA_VERSION}")
