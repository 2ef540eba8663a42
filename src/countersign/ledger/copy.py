"""The running copy: every row a second time, in a plain file, as soon as it is kept.

SQLite keeps a committed row through a crash and a power cut, but not through a page that the disk
gives back wrong, nor a write-ahead log that was cut. The copy is read when the ledger is opened.
Rows that the ledger lost at its end are put back from it; whatever else differs is said, and
``countersign ledger restore`` makes a new ledger of it. Beside the ledger it does not help against
the loss of the disk: ``COUNTERSIGN_LEDGER_COPY`` puts it on another one.
"""

import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout
from sqlalchemy import Connection

from countersign.ledger.chain import Head, hash_at, head, links
from countersign.ledger.keeping import keep_row
from countersign.ledger.lines import (
    Line,
    Unreadable,
    as_line,
    checked,
    last_line,
    write_lines,
)
from countersign.ledger.sealing import Seal

_log = logging.getLogger(__name__)


class CopyTrouble(Exception):
    """The copy cannot be used; the message says why in words."""


class Damaged(CopyTrouble):
    """The copy itself is not as it was written."""


class Differs(CopyTrouble):
    """Ledger and copy are not of one history."""


@dataclass(frozen=True)
class Copy:
    """Where the copy is, how its lines are sealed, and how long to wait for other writers."""

    path: Path
    seal: Seal | None = None
    patience_s: float = 5.0


@contextmanager
def locked(copy: Copy) -> Iterator[None]:
    """Hold the copy, so that no other process writes it."""
    try:
        with FileLock(f"{copy.path}.lock", timeout=copy.patience_s, mode=0o600):
            yield
    except Timeout:
        raise CopyTrouble("another program holds it") from None
    except OSError as error:
        raise CopyTrouble(error.strerror or str(error)) from error


def newest(copy: Copy) -> Head | None:
    """The newest link in the copy, ``None`` where there is none.

    Raises ``Damaged``, or ``CopyTrouble`` where it cannot be read.
    """
    try:
        with copy.path.open("rb") as file:
            return last_line(file, copy.seal)[0]
    except FileNotFoundError:
        return None
    except Unreadable as trouble:
        raise Damaged(str(trouble)) from None
    except OSError as error:
        raise CopyTrouble(error.strerror or str(error)) from error


def bring_up(copy: Copy, connection: Connection) -> None:
    """Add the rows that the ledger has and the copy does not; they are on disk when it returns.

    Raises ``Differs`` where the copy is of another history or has more, ``CopyTrouble`` where it
    cannot be written.
    """
    with locked(copy):
        _bring_up(copy, connection)


def _bring_up(copy: Copy, connection: Connection) -> None:
    if not copy.path.exists():
        copy.path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        write_lines(copy.path, links(connection), copy.seal)
        return
    try:
        with copy.path.open("r+b", buffering=0) as file:
            at, whole = last_line(file, copy.seal)
            if hash_at(connection, at.place) != at.hash:
                raise Differs("it is not of the same history as the ledger")
            file.truncate(whole)
            try:
                end = whole
                for link in links(connection, after=at.place):
                    end = _write_at(file.fileno(), as_line(link, copy.seal), end)
                if end > whole:
                    os.fsync(file.fileno())
            except OSError:
                file.truncate(whole)  # no half lines on a full disk
                raise
    except Unreadable as trouble:
        raise Damaged(str(trouble)) from None


def _write_at(handle: int, data: bytes, at: int) -> int:
    while data:
        written = os.pwrite(handle, data, at)
        data, at = data[written:], at + written
    return at


def behind_copy(copy: Copy, connection: Connection) -> tuple[Line, ...]:
    """The rows that the copy has and the ledger lost at its end, each checked against the chain.

    Raises ``Differs`` where ledger and copy are not of one history.
    """
    at = head(connection)
    missing = []
    with copy.path.open("rb") as file:
        try:
            for line in checked(file, copy.seal):
                if line.place <= at.place:
                    if hash_at(connection, line.place) != line.hash:
                        raise Differs(f"they differ at {line.name}")
                else:
                    missing.append(line)
        except Unreadable as trouble:
            raise Damaged(str(trouble)) from None
    return tuple(missing)


def put_back(copy: Copy, connection: Connection) -> int:
    """Keep again the rows that the ledger lost at its end; returns how many there were."""
    missing = behind_copy(copy, connection)
    for line in missing:
        keep_row(connection, line.row)
    return len(missing)


def move_aside(path: Path) -> Path:
    """Give a damaged file another name, with the time; returns it. Nothing is ever removed."""
    aside = path.with_name(f"{path.name}.damaged-{datetime.now(UTC):%Y%m%dT%H%M%S.%f}")
    path.rename(aside)
    return aside
