"""Opening the ledger file, with the settings that keep every entry through a crash."""

import logging
import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, text

from countersign.ledger.tables import APPLICATION_ID, SCHEMA_VERSION, create_tables
from countersign.ledger.trouble import in_one_sentence
from countersign.problems import BadInput
from countersign.settings import ledger_path

_log = logging.getLogger(__name__)

PATIENCE_S = 5.0
"""How long a step waits for another program to release the file, in seconds."""


@dataclass(frozen=True)
class Ledger:
    """An open ledger file. Several processes may have the same file open."""

    path: Path
    engine: Engine

    def close(self) -> None:
        """Release the file."""
        self.engine.dispose()


def open_ledger(
    path: Path | None = None, *, create: bool = True, patience_s: float | None = None
) -> Ledger:
    """Open the ledger at ``path``, or where the settings say when it is ``None``.

    With ``create`` a missing file (and its folder) is made, readable by its owner only. Raises
    ``BadInput`` when the file is missing (without ``create``), locked, read-only, damaged, written
    by a newer version, or no ledger at all. ``patience_s`` is ``PATIENCE_S`` unless given.
    """
    patience_s = PATIENCE_S if patience_s is None else patience_s
    path = ledger_path(path)
    with in_one_sentence(path):
        _prepare_file(path, create=create)
        engine = _engine(path, patience_s)
        try:
            _prepare_tables(path, engine, patience_s)
        except BaseException:
            engine.dispose()
            raise
    return Ledger(path=path, engine=engine)


@contextmanager
def writing(ledger: Ledger) -> Iterator[Connection]:
    """One transaction that holds the write lock from its start and is on disk when it ends."""
    with in_one_sentence(ledger.path):
        engine = ledger.engine.execution_options(begin="IMMEDIATE")
        with engine.begin() as connection:
            yield connection


@contextmanager
def reading(ledger: Ledger) -> Iterator[Connection]:
    """One transaction that sees a single moment of the file."""
    with in_one_sentence(ledger.path), ledger.engine.begin() as connection:
        yield connection


def _prepare_file(path: Path, *, create: bool) -> None:
    if path.exists():
        if not path.is_file():
            raise BadInput(f"The ledger {path} is not a file.")
        return
    if not create:
        raise BadInput(f"There is no ledger at {path} yet.")
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    # SQLite gives the write-ahead log the permissions of the main file.
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))


def _engine(path: Path, patience_s: float) -> Engine:
    engine = create_engine(
        URL.create("sqlite", database=str(path)), connect_args={"timeout": patience_s}
    )

    @event.listens_for(engine, "connect")
    def _set_up(connection: Any, _: Any) -> None:
        # The driver's own transaction handling begins late and deferred; begin explicitly instead.
        connection.isolation_level = None
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA recursive_triggers = ON")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        how = connection.get_execution_options().get("begin", "DEFERRED")
        connection.exec_driver_sql(f"BEGIN {how}")

    return engine


def _prepare_tables(path: Path, engine: Engine, patience_s: float) -> None:
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
            except sqlite3.OperationalError as error:
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
