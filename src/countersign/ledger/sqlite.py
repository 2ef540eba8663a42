"""A ledger in an SQLite file, with the settings that keep every entry through a crash."""

import os
import sqlite3
import time
from functools import partial
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, text

from countersign.ledger.migrating import copy_before, migrate
from countersign.ledger.sealing import driver
from countersign.ledger.tables import APPLICATION_ID, SCHEMA_VERSION, create_tables
from countersign.ledger.triggers import triggers
from countersign.problems import BadInput

_PLAIN = b"SQLite format 3\0"


def prepare_file(path: Path, *, create: bool, key: str | None) -> None:
    """Make the file where it may be made; ``BadInput`` where it is none that can be opened."""
    if path.exists():
        if not path.is_file():
            raise BadInput(f"The ledger {path} is not a file.")
        with path.open("rb") as file:
            plain = file.read(len(_PLAIN)) == _PLAIN
        if plain and key is not None:
            raise BadInput(
                f"The ledger {path} is not encrypted, although COUNTERSIGN_KEY names a key."
            )
        return
    if not create:
        raise BadInput(f"There is no ledger at {path} yet.")
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    # SQLite gives the write-ahead log the permissions of the main file.
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))


def sqlite_engine(path: Path, patience_s: float, key: str | None) -> Engine:
    """The engine for a file; with a key, through the driver for encrypted files."""
    engine = create_engine(
        URL.create("sqlite", database=str(path)),
        connect_args={"timeout": patience_s},
        **({} if key is None else {"module": driver()}),
    )

    @event.listens_for(engine, "connect")
    def _set_up(connection: Any, _: Any) -> None:
        # The driver's own transaction handling begins late and deferred; begin explicitly instead.
        connection.isolation_level = None
        # A damaged text is read as it is: its hash then says which row it is in.
        connection.text_factory = partial(str, encoding="utf-8", errors="surrogateescape")
        if key is not None:
            connection.execute("PRAGMA cipher_log_level = NONE")  # what goes wrong is raised
            connection.execute(f"PRAGMA key = \"x'{key}'\"")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA recursive_triggers = ON")
        # A page that came back wrong is noticed where its cells are read, not only where they are
        # put together (SQLite documentation, "PRAGMA cell_size_check").
        connection.execute("PRAGMA cell_size_check = ON")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        how = connection.get_execution_options().get("begin", "DEFERRED")
        connection.exec_driver_sql(f"BEGIN {how}")

    return engine


def prepare_tables(path: Path, engine: Engine, patience_s: float) -> None:
    """Make the tables, or bring them to the present form; ``BadInput`` for another's database."""
    _write_ahead(engine, patience_s)
    with engine.begin() as connection:
        marks = _marks(connection)
    if marks == (0, 0):
        with engine.execution_options(begin="IMMEDIATE").begin() as connection:
            # Another process may have made the tables while this one waited for the lock.
            if _marks(connection) == (0, 0):
                if connection.execute(text("SELECT count(*) FROM sqlite_master")).scalar_one():
                    raise BadInput(f"The file {path} is a database of another program.")
                create_tables(connection)
            marks = _marks(connection)
    application, version = marks
    if application != APPLICATION_ID:
        raise BadInput(f"The file {path} is a database of another program.")
    if version > SCHEMA_VERSION:
        raise BadInput(
            f"The ledger {path} was written by a newer version of this tool (format {version})."
        )
    if version < SCHEMA_VERSION:
        with engine.execution_options(begin="IMMEDIATE").begin() as connection:
            version = _marks(connection)[1]
            if version < SCHEMA_VERSION:
                copy_before(path, version)
                migrate(connection, version)


def pages_are_whole(connection: Connection) -> bool:
    """Whether all pages are in order: a damaged index does not show in the rows themselves."""
    return bool(connection.exec_driver_sql("PRAGMA integrity_check(1)").scalar() == "ok")


def missing_triggers(connection: Connection) -> bool:
    """Whether a trigger that protects the rows is gone, or is not the one that was made."""
    found = connection.exec_driver_sql("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
    present = {" ".join(sql.split()) for sql in found.scalars()}
    return any(" ".join(made.split()) not in present for made in triggers("sqlite"))


def _marks(connection: Connection) -> tuple[int, int]:
    application = connection.exec_driver_sql("PRAGMA application_id").scalar_one()
    version = connection.exec_driver_sql("PRAGMA user_version").scalar_one()
    return int(application), int(version)


def _write_ahead(engine: Engine, patience_s: float) -> None:
    # Changing the journal mode does not wait for locks the way statements do, so wait here.
    deadline = time.monotonic() + patience_s
    connection = engine.raw_connection()
    try:
        while True:
            try:
                cursor = connection.cursor()
                mode = cursor.execute("PRAGMA journal_mode").fetchone()
                if mode is not None and mode[0] != "wal" and _is_ours_or_empty(cursor):
                    cursor.execute("PRAGMA journal_mode = WAL").fetchone()
                return
            except engine.dialect.loaded_dbapi.OperationalError as error:
                code = getattr(error, "sqlite_errorcode", 0) & 0xFF
                if code != sqlite3.SQLITE_BUSY or time.monotonic() > deadline:
                    raise
                time.sleep(0.02)
    finally:
        connection.close()


def _is_ours_or_empty(cursor: Any) -> bool:
    """Whether the file may be touched at all: another program's database is left as it is."""
    application = cursor.execute("PRAGMA application_id").fetchone()[0]
    tables = cursor.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    return bool(application == APPLICATION_ID or tables == 0)
