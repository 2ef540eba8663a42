"""What the databases report, said in one sentence."""

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
    sqlite3.SQLITE_NOTADB: "is not a ledger (or it is encrypted with another key)",
    sqlite3.SQLITE_CORRUPT: "is damaged; stop what uses it and run countersign ledger restore",
    sqlite3.SQLITE_NOMEM: "cannot be used because there is not enough memory",
}

# Classes and codes of PostgreSQL (documentation, appendix A, "PostgreSQL Error Codes").
_SERVER_SENTENCES = {
    "08": "cannot be reached: the connection to its server failed",
    "28": "cannot be opened: the server does not know this user or password",
    "3D": "cannot be opened: the server has no such database",
    "25006": "cannot be written because the database is read-only",
    "42501": "cannot be used: this user has not the rights",
    "53100": "cannot grow because the disk of the server is full",
    "53": "cannot be used because the server has not enough resources",
    "55P03": "is locked by another program",
    "57": "cannot be reached: the server was stopped",
    "58": "cannot be read or written because the server reports an error of its disk",
    "XX": "is damaged: the server reports an error in its files",
}


def _sentence(name: str, error: object) -> str | None:
    code = getattr(error, "sqlite_errorcode", None)
    reason = _SENTENCES.get(code & 0xFF) if code is not None else _server_reason(error)
    if reason is None:
        return None
    return f"The ledger {name} {reason}; nothing was changed by this step."


def _server_reason(error: object) -> str | None:
    if not hasattr(error, "sqlstate"):
        return None
    state = error.sqlstate
    if state is None:  # no answer from the server at all
        return _SERVER_SENTENCES["08"] if type(error).__name__ == "OperationalError" else None
    return _SERVER_SENTENCES.get(state, _SERVER_SENTENCES.get(state[:2]))


@contextmanager
def in_one_sentence(name: Path | str) -> Iterator[None]:
    """Turn what can go wrong with a ledger into ``BadInput``; other errors pass unchanged."""
    try:
        yield
    except OSError as error:
        raise BadInput(
            f"The ledger {name} cannot be opened ({error.strerror or error})."
        ) from error
    except MemoryError as error:
        raise BadInput(
            f"The ledger {name} cannot be used because there is not enough memory; nothing was"
            " changed by this step."
        ) from error
    except Exception as error:  # the driver for encrypted files has errors of its own
        sentence = _sentence(str(name), error.orig if isinstance(error, DBAPIError) else error)
        if sentence is None:
            raise
        _log.debug("ledger trouble", exc_info=error)
        raise BadInput(sentence) from error
