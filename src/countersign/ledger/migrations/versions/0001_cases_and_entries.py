"""The first format: cases and entries, without a chain. Only SQLite files have it."""

import sqlalchemy as sa
from alembic import op

from countersign.ledger.triggers import triggers

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables of the first format."""
    op.create_table(
        "case",
        sa.Column("id", sa.Text, primary_key=True),
        sa.Column("opened_at", sa.Text, nullable=False),
        sa.Column("source", sa.Text, nullable=False),
        sa.Column("kit_title", sa.Text, nullable=False),
        sa.Column("kit_hash", sa.Text, nullable=False),
        sa.Column("kit_text", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "entry",
        sa.Column("case_id", sa.Text, sa.ForeignKey("case.id"), primary_key=True),
        sa.Column("seq", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("at", sa.Text, nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    for statement in triggers("sqlite", until=1):
        op.execute(statement)
