"""The tables of the ledger, and the triggers that refuse to change or remove what was written."""

from sqlalchemy import Column, Connection, ForeignKey, Integer, MetaData, Table, Text

APPLICATION_ID = 0x43534C47
"""Marks an SQLite file as a ledger of this tool (``PRAGMA application_id``, the bytes ``CSLG``)."""

SCHEMA_VERSION = 1
"""``PRAGMA user_version`` of the tables below."""

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

# A BEFORE INSERT trigger runs before REPLACE conflict handling, so it also stops
# ``INSERT OR REPLACE``, which removes the old row without firing delete triggers
# (SQLite documentation, "ON CONFLICT clause": delete triggers fire only with recursive triggers).
_TRIGGERS = (
    """
    CREATE TRIGGER entry_in_order BEFORE INSERT ON entry
    WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry WHERE case_id = NEW.case_id)
    BEGIN SELECT RAISE(ABORT, 'entries are numbered from 1 without gaps'); END
    """,
    """
    CREATE TRIGGER entry_kind BEFORE INSERT ON entry
    WHEN NEW.kind NOT IN ('event', 'decision', 'note')
    BEGIN SELECT RAISE(ABORT, 'an entry is an event, a decision or a note'); END
    """,
    """
    CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END
    """,
    """
    CREATE TRIGGER entry_no_delete BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END
    """,
    """
    CREATE TRIGGER case_opened_once BEFORE INSERT ON "case"
    WHEN EXISTS (SELECT 1 FROM "case" WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'a case is opened once'); END
    """,
    """
    CREATE TRIGGER case_no_update BEFORE UPDATE ON "case"
    BEGIN SELECT RAISE(ABORT, 'cases are never changed'); END
    """,
    """
    CREATE TRIGGER case_no_delete BEFORE DELETE ON "case"
    BEGIN SELECT RAISE(ABORT, 'cases are never removed'); END
    """,
)


def create_tables(connection: Connection) -> None:
    """Make the tables and their triggers, and mark the file, in the connection's transaction."""
    metadata.create_all(connection)
    for trigger in _TRIGGERS:
        connection.exec_driver_sql(trigger)
    connection.exec_driver_sql(f"PRAGMA application_id = {APPLICATION_ID}")
    connection.exec_driver_sql(f"PRAGMA user_version = {SCHEMA_VERSION}")
