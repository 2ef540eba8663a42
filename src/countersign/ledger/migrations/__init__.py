"""Alembic's migrations of the ledger; ``countersign.ledger.migrating`` runs them."""
