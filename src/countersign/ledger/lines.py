"""The rows of a ledger as lines of a text file: the form of copies and backups.

The first line names the form. Every other one is a JSON object with the ``place`` of a link, the
``row`` that it stands for (a case or an entry) and its ``hash``; with a key each of them is sealed.
"""

import json
import os
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import BinaryIO, NamedTuple

from countersign.ledger.chain import START, Head, Link, Row, link_hash
from countersign.ledger.sealing import Seal

FORM = "countersign ledger lines 1"
_PIECE = 65_536


class Line(NamedTuple):
    """One line: a row and its link."""

    place: int
    row: Row
    hash: str

    @property
    def name(self) -> str:
        """What it stands for, in words."""
        if "case_id" in self.row:
            return f"entry {self.row['seq']} of case {self.row['case_id']}"
        return f"case {self.row['id']}"


class Unreadable(Exception):
    """A file of lines, or one line of it, is not as it was written; the message says what."""


def first_line(seal: Seal | None) -> bytes:
    """The line that names the form."""
    return json.dumps({"form": FORM, "sealed": seal is not None}).encode() + b"\n"


def as_line(link: Link, seal: Seal | None) -> bytes:
    """The line of a link."""
    value = {"place": link.place, "row": link.row, "hash": link.hash}
    text = json.dumps(value, separators=(",", ":"), ensure_ascii=True).encode()
    return (text if seal is None else seal.seal(text)) + b"\n"


def read_line(line: bytes, seal: Seal | None) -> Line:
    """The opposite of ``as_line``; ``Unreadable`` where it is none."""
    try:
        value = json.loads(line if seal is None else seal.open(line.strip()))
        found = Line(int(value["place"]), dict(value["row"]), str(value["hash"]))
        found.name  # noqa: B018 - every row has the columns that name it
    except (ValueError, KeyError, TypeError, RecursionError):
        raise Unreadable("a line cannot be read") from None
    return found


def checked(file: BinaryIO, seal: Seal | None, before: Head | None = None) -> Iterator[Line]:
    """The lines of a file, each checked against the chain; the first line names the form.

    A last line without its end, which a power cut left, is left out. Raises ``Unreadable`` at the
    first line that is not as it was written.
    """
    read_first(file, seal)
    at = before or Head(0, START)
    for line in file:
        if not line.endswith(b"\n"):
            return
        try:
            found = read_line(line, seal)
        except Unreadable:
            raise Unreadable(f"its line for place {at.place + 1} cannot be read") from None
        if found.place != at.place + 1:
            raise Unreadable(f"its line for place {at.place + 1} is missing")
        if link_hash(at.hash, found.row) != found.hash:
            raise Unreadable(f"{found.name} is not what was written")
        at = Head(found.place, found.hash)
        yield found


def read_first(file: BinaryIO, seal: Seal | None) -> None:
    """Read the line that names the form; ``Unreadable`` where it is another, or the key is."""
    try:
        first = json.loads(file.readline(_PIECE))
        if first["form"] != FORM:
            raise ValueError
    except (ValueError, KeyError, TypeError, RecursionError):
        raise Unreadable("it is not a copy or a backup of a ledger") from None
    if first.get("sealed") and seal is None:
        raise Unreadable("it is encrypted, and no key was given (COUNTERSIGN_KEY)")
    if not first.get("sealed") and seal is not None:
        raise Unreadable("it is not encrypted, although a key was given (COUNTERSIGN_KEY)")


def last_line(file: BinaryIO, seal: Seal | None) -> tuple[Head, int]:
    """The newest link in the file, and how many bytes are whole lines (a power cut leaves more).

    ``Unreadable`` where the last whole line cannot be read.
    """
    file.seek(0)
    read_first(file, seal)
    start = file.tell()
    end = file.seek(0, os.SEEK_END)
    held, at = b"", end
    while at > start:
        step = min(_PIECE, at - start)
        at -= step
        file.seek(at)
        held = file.read(step) + held
        whole = held.rfind(b"\n") + 1
        begin = held.rfind(b"\n", 0, whole - 1) + 1 if whole else 0
        if whole and (begin or at == start):
            found = read_line(held[begin:whole], seal)
            return Head(found.place, found.hash), at + whole
    return Head(0, START), start


def write_lines(path: Path, links: Iterable[Link], seal: Seal | None) -> Head:
    """Write a whole new file and put it on disk; ``OSError`` where that fails (nothing is left).

    A file of that name is replaced at the end, in one step.
    """
    newest = Head(0, START)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(first_line(seal))
            for link in links:
                file.write(as_line(link, seal))
                newest = Head(link.place, link.hash)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    sync_folder(path.parent)
    return newest


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
