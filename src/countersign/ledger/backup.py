"""Backups of a whole ledger, checks against them, and making a ledger of them again."""

import logging
import os
from collections.abc import Iterator
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy.exc import SQLAlchemyError

from countersign.ledger import sqlite
from countersign.ledger.chain import START, Head, Row, hash_at, head, link_hash, links
from countersign.ledger.copy import Copy, CopyTrouble, locked, move_aside
from countersign.ledger.file import PATIENCE_S, open_ledger
from countersign.ledger.keeping import keep_row
from countersign.ledger.lines import Line, Unreadable, checked, write_lines
from countersign.ledger.opened import Ledger, reading, writing
from countersign.ledger.sealing import Seal, current_key
from countersign.problems import BadInput
from countersign.settings import LedgerPlace, copy_path, ledger_place

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Restored:
    """What a restored ledger has: its name, newest link, and where the damaged file was moved."""

    name: str
    newest: Head
    moved: tuple[Path, ...] = ()


def back_up(ledger: Ledger, path: Path, *, replace: bool = False) -> Head:
    """Write every row to a new file, sealed where there is a key; returns the newest link.

    ``BadInput`` where the file is there already (without ``replace``) or cannot be written.
    """
    if path.exists() and not replace:
        raise BadInput(f"The file {path} is there already; nothing was written.")
    try:
        with reading(ledger) as connection:
            return write_lines(path, links(connection), _seal())
    except OSError as error:
        raise BadInput(f"The backup {path} cannot be written ({error.strerror}).") from error


def check_against(ledger: Ledger, path: Path) -> tuple[Head, str | None]:
    """Whether the ledger still has everything that a backup or copy has, as it was.

    Returns the newest link of the file, and in words the first row that the ledger has otherwise or
    not at all (``None`` if there is none). ``BadInput`` where the file is damaged or no backup.
    """
    newest, differs = Head(0, START), None
    with reading(ledger) as connection:
        for line in _lines(path):
            newest = Head(line.place, line.hash)
            if differs is None and hash_at(connection, line.place) != line.hash:
                differs = line.name
    return newest, differs


def restore(place: LedgerPlace | None = None, backup: Path | None = None) -> Restored:
    """Make the ledger anew of a backup, or of its running copy when ``backup`` is ``None``.

    What the copy, or the part of a damaged file that can still be read, has beyond the backup is
    added where it fits the chain. A damaged file is moved aside, never removed. ``BadInput`` where
    the ledger is whole (it is not replaced), or the backup is not.
    """
    place = ledger_place(place)
    _refuse_if_whole(place)
    copied = copy_path(place)
    if backup is None and (copied is None or not copied.is_file()):
        raise BadInput("There is no running copy of this ledger; name a backup.")
    rows, at = _Rows(), Head(0, START)
    first = backup or copied
    assert first is not None
    at = rows.add(_lines(first), at)
    if backup is not None and copied is not None and copied.is_file():
        with suppress(BadInput):  # a copy that is damaged too gives what it has before the damage
            at = rows.add(_lines(copied), at)
    if isinstance(place, str):
        return _restore_server(place, rows.kept)
    if place.is_file():
        at = rows.add(_readable(place), at)
    return _restore_file(place, rows.kept, at, copied)


class _Rows:
    """Rows of one history, gathered from several sources."""

    def __init__(self) -> None:
        self.kept: list[Row] = []

    def add(self, lines: Iterator[Line], at: Head) -> Head:
        """Add the lines behind ``at`` as long as they fit the chain; returns the newest link."""
        for line in lines:
            if line.place <= at.place:
                continue
            if line.place != at.place + 1 or link_hash(at.hash, line.row) != line.hash:
                break
            self.kept.append(line.row)
            at = Head(line.place, line.hash)
        return at


def _refuse_if_whole(place: LedgerPlace) -> None:
    try:
        with closing(open_ledger(place, create=False)) as ledger, reading(ledger) as connection:
            empty = head(connection).place == 0
    except BadInput as problem:
        if isinstance(place, str) and "There is no ledger" not in str(problem):
            raise
        return
    if not empty:
        raise BadInput(f"The ledger {ledger.name} is whole; nothing was changed.")


def _lines(path: Path) -> Iterator[Line]:
    try:
        with path.open("rb") as file:
            yield from checked(file, _seal())
    except Unreadable as trouble:
        raise BadInput(f"The file {path} cannot be used: {trouble}.") from None
    except OSError as error:
        raise BadInput(f"The file {path} cannot be read ({error.strerror}).") from error


def _readable(path: Path) -> Iterator[Line]:
    """The rows of a damaged file in their order, as far as they can be read."""
    engine = sqlite.sqlite_engine(path, PATIENCE_S, current_key())
    try:
        with engine.connect() as connection:
            for link in links(connection):
                if link.row is None:
                    return
                yield Line(link.place, link.row, link.hash)
    except (SQLAlchemyError, ValueError, TypeError, OSError):
        return
    finally:
        engine.dispose()


def _restore_file(path: Path, rows: list[Row], at: Head, copied: Path | None) -> Restored:
    part = path.with_name(f"{path.name}.{os.getpid()}.restored")
    try:
        _fill(part, rows)
        moved = []
        for damaged in (path, *(path.with_name(path.name + end) for end in ("-wal", "-shm"))):
            if damaged.exists():
                moved.append(move_aside(damaged))
        if copied is not None and copied.exists() and not _is_part_of(copied, at, rows):
            with locked(Copy(copied)):
                moved.append(move_aside(copied))
        part.replace(path)
    except CopyTrouble as trouble:
        raise BadInput(f"The copy {copied} cannot be moved aside: {trouble}.") from None
    except OSError as error:
        raise BadInput(f"The ledger {path} cannot be restored ({error.strerror}).") from error
    finally:
        for name in (part.name, f"{part.name}-wal", f"{part.name}-shm"):
            part.with_name(name).unlink(missing_ok=True)
    with closing(open_ledger(path, create=False)) as ledger:
        return Restored(ledger.name, at, tuple(moved))


def _fill(path: Path, rows: list[Row]) -> None:
    key = current_key()
    sqlite.prepare_file(path, create=True, key=key)
    engine = sqlite.sqlite_engine(path, PATIENCE_S, key)
    try:
        sqlite.prepare_tables(path, engine, PATIENCE_S)
        with writing(Ledger(str(path), engine)) as connection:
            for row in rows:
                keep_row(connection, row)
        with engine.connect() as connection:
            connection.rollback()  # a checkpoint cannot run in a transaction
            raw = connection.connection.driver_connection
            assert raw is not None
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        engine.dispose()


def _is_part_of(copied: Path, at: Head, rows: list[Row]) -> bool:
    """Whether a copy can go on behind the restored rows."""
    newest = Head(0, START)
    try:
        for line in _lines(copied):
            newest = Head(line.place, line.hash)
            if line.place <= len(rows) and rows[line.place - 1] != line.row:
                return False
    except BadInput:
        return False
    return newest.place <= at.place


def _restore_server(address: str, rows: list[Row]) -> Restored:
    with closing(open_ledger(address)) as ledger:
        with writing(ledger) as connection:
            if head(connection).place:
                raise BadInput(f"The ledger {ledger.name} has rows already; nothing was changed.")
            for row in rows:
                keep_row(connection, row)
            newest = head(connection)
        return Restored(ledger.name, newest)


def _seal() -> Seal | None:
    key = current_key()
    return Seal(key) if key is not None else None
