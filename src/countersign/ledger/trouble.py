"""SQLite's errors, said in one sentence."""

import logging
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy.exc import DBAPIError

from countersign.problems import BadInput

_log = logging.getLogger(__name__)

# Primary result codes (https://www.sqlite.org/rescode.html); extended codes keep them in the low
# eight bits.
_SENTENCES = {
    sqlite3.SQLITE_BUSY: "is locked by another program",
    sqlite3.SQLITE_LOCKED: "is locked by another program",
    sqlite3.SQLITE_FULL: "cannot grow because the disk is full",
    sqlite3.SQLITE_READONLY: "cannot be written because it or its folder is read-only",
    sqlite3.SQLITE_PERM: "cannot be opened because access is not permitted",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened (is the folder there, and may it be written?)",
    sqlite3.SQLITE_IOERR: "cannot be read or written because the disk reports an error",
    sqlite3.SQLITE_NOTADB: "is not a ledger",
    sqlite3.SQLITE_CORRUPT: "is damaged; restore it from a copy",
}


def _sentence(path: Path, error: sqlite3.Error) -> str | None:
    code = getattr(error, "sqlite_errorcode", None)
    reason = _SENTENCES.get(code & 0xFF) if code is not None else None
    if reason is None:
        return None
    return f"The ledger {path} {reason}; nothing was changed by this step."


@contextmanager
def in_one_sentence(path: Path) -> Iterator[None]:
    """Turn what can go wrong with a ledger file into ``BadInput``; other errors pass unchanged."""
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        sentence = _sentence(path, cause) if isinstance(cause, sqlite3.Error) else None
        if sentence is None:
            raise
        _log.debug("ledger trouble", exc_info=error)
        raise BadInput(sentence) from error
    except OSError as error:
        raise BadInput(
            f"The ledger {path} cannot be opened ({error.strerror or error})."
        ) from error
