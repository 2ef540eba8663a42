"""A hash chain through all cases and entries."""

import sqlalchemy as sa
from alembic import op

from countersign.ledger.chain import START, link_hash
from countersign.ledger.triggers import triggers

revision = "0002"
down_revision = "0001"

_CASES = 'SELECT id, opened_at, source, kit_title, kit_hash, kit_text FROM "case"'
_ENTRIES = "SELECT case_id, seq, at, kind, body FROM entry WHERE case_id = :case ORDER BY seq"
_LINK = "INSERT INTO link (place, case_id, seq, hash) VALUES (:place, :case, :seq, :hash)"


def upgrade() -> None:
    """Make the chain, and link what was written before there was one, case after case."""
    op.create_table(
        "link",
        sa.Column("place", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("case_id", sa.Text, sa.ForeignKey("case.id"), nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("hash", sa.Text, nullable=False),
        sa.UniqueConstraint("case_id", "seq", name="link_row"),
        sqlite_with_rowid=False,
    )
    connection = op.get_bind()
    before, place = START, 0
    for case in connection.execute(sa.text(f"{_CASES} ORDER BY opened_at, id")).mappings().all():
        entries = connection.execute(sa.text(_ENTRIES), {"case": case["id"]}).mappings()
        for row in (case, *entries.all()):
            before, place = link_hash(before, dict(row)), place + 1
            values = {
                "place": place,
                "case": case["id"],
                "seq": row.get("seq", 0),
                "hash": before,
            }
            connection.execute(sa.text(_LINK), values)
    for statement in triggers("sqlite", since=2):
        op.execute(statement)
