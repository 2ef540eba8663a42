"""An open ledger, and the two kinds of transaction on it."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, Engine

from countersign.ledger.copy import Copy, CopyTrouble, bring_up
from countersign.ledger.trouble import in_one_sentence

_log = logging.getLogger(__name__)

WRITE_LOCK = 0x43534C47
"""The advisory lock that a writer holds in PostgreSQL."""


@dataclass(frozen=True)
class Ledger:
    """An open ledger. Several processes may have the same one open.

    ``name`` is its file, or its address without the password; ``copy`` its running copy.
    """

    name: str
    engine: Engine
    copy: Copy | None = None
    file: Path | None = None

    @property
    def path(self) -> Path:
        """The file; ``ValueError`` for a ledger on a server."""
        if self.file is None:
            raise ValueError(f"{self.name} is no file")
        return self.file

    def close(self) -> None:
        """Release the file, or the connections."""
        self.engine.dispose()


@contextmanager
def writing(ledger: Ledger) -> Iterator[Connection]:
    """One transaction that holds the write lock from its start.

    When it ends, what was written is on disk, and in the running copy as well. A copy that cannot
    be written is said in the log and caught up with later: what was kept is kept.
    """
    with in_one_sentence(ledger.name), write_transaction(ledger.engine) as connection:
        yield connection
    if ledger.copy is not None:
        try:
            with reading(ledger) as connection:
                bring_up(ledger.copy, connection)
        except (CopyTrouble, OSError) as trouble:
            _log.warning("The ledger's copy %s is behind: %s.", ledger.copy.path, trouble)


@contextmanager
def reading(ledger: Ledger) -> Iterator[Connection]:
    """One transaction that sees a single moment of the ledger."""
    engine = ledger.engine
    if engine.dialect.name == "postgresql":
        engine = engine.execution_options(isolation_level="REPEATABLE READ")
    with in_one_sentence(ledger.name), engine.begin() as connection:
        yield connection


@contextmanager
def write_transaction(engine: Engine) -> Iterator[Connection]:
    """One transaction that no other writer overlaps with."""
    with engine.execution_options(begin="IMMEDIATE").begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITE_LOCK})")
        yield connection
