"""Triggers that refuse to change or remove what was written, for both kinds of database.

They stop mistakes and other programs. Who owns the file or the database can drop them; that, and
what was done without them, is what the chain notices.
"""

# A BEFORE INSERT trigger runs before REPLACE conflict handling, so it also stops
# ``INSERT OR REPLACE``, which removes the old row without firing delete triggers
# (SQLite documentation, "ON CONFLICT clause": delete triggers fire only with recursive triggers).
_FIRST = (
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

_LINKS = (
    """
    CREATE TRIGGER link_in_order BEFORE INSERT ON link
    WHEN NEW.place IS NOT (SELECT coalesce(max(place), 0) + 1 FROM link)
    BEGIN SELECT RAISE(ABORT, 'links are numbered from 1 without gaps'); END
    """,
    """
    CREATE TRIGGER link_no_update BEFORE UPDATE ON link
    BEGIN SELECT RAISE(ABORT, 'links are never changed'); END
    """,
    """
    CREATE TRIGGER link_no_delete BEFORE DELETE ON link
    BEGIN SELECT RAISE(ABORT, 'links are never removed'); END
    """,
)

_SQLITE = {1: _FIRST, 2: _LINKS}


def _refusal(table: str, sentence: str) -> tuple[str, ...]:
    name = f"{table}_never_changed"
    return (
        f"""
        CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN RAISE EXCEPTION '{sentence}' USING ERRCODE = 'restrict_violation'; END $$
        """,
        f"""
        CREATE TRIGGER {name} BEFORE UPDATE OR DELETE ON "{table}"
        FOR EACH ROW EXECUTE FUNCTION {name}()
        """,
        f"""
        CREATE TRIGGER {table}_never_emptied BEFORE TRUNCATE ON "{table}"
        FOR EACH STATEMENT EXECUTE FUNCTION {name}()
        """,
    )


def _in_order(table: str, what: str, newest: str) -> tuple[str, ...]:
    return (
        f"""
        CREATE FUNCTION {table}_in_order() RETURNS trigger LANGUAGE plpgsql AS
        $$ BEGIN
          IF NEW.{what} IS DISTINCT FROM ({newest}) THEN
            RAISE EXCEPTION 'rows of {table} are numbered from 1 without gaps'
              USING ERRCODE = 'restrict_violation';
          END IF;
          RETURN NEW;
        END $$
        """,
        f"""
        CREATE TRIGGER {table}_in_order BEFORE INSERT ON {table}
        FOR EACH ROW EXECUTE FUNCTION {table}_in_order()
        """,
    )


# The primary key of "case" refuses a second case of one name: PostgreSQL has no INSERT OR REPLACE,
# and ON CONFLICT DO UPDATE fires the update trigger.
_POSTGRES = (
    *_in_order(
        "entry", "seq", "SELECT coalesce(max(seq), 0) + 1 FROM entry WHERE case_id = NEW.case_id"
    ),
    *_in_order("link", "place", "SELECT coalesce(max(place), 0) + 1 FROM link"),
    "ALTER TABLE entry ADD CONSTRAINT entry_kind CHECK (kind IN ('event', 'decision', 'note'))",
    *_refusal("case", "cases are never changed or removed"),
    *_refusal("entry", "entries are never changed or removed"),
    *_refusal("link", "links are never changed or removed"),
)


def triggers(dialect: str, since: int = 1, until: int = 2) -> tuple[str, ...]:
    """The statements that make the triggers of schema versions ``since`` to ``until``.

    ``dialect`` is ``sqlite`` or ``postgresql``; a PostgreSQL ledger begins at version 2.
    """
    if dialect == "postgresql":
        return _POSTGRES
    return tuple(
        statement
        for version, made in _SQLITE.items()
        if since <= version <= until
        for statement in made
    )
