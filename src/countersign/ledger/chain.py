"""The hash chain through the whole ledger: every row names everything that was written before it.

A link's hash is the SHA-256 of the canonical JSON (RFC 8785) of ``[before, row]``: the hash of the
link before it (an empty text for the first) and the row it stands for. A row that was changed,
exchanged, removed or slipped in is found, and so is everything behind it. What the chain cannot
show by itself is that its newest rows are missing, or that somebody wrote it anew from some place
on: that takes something kept elsewhere (the copy, a backup, a printed hash).
"""

import json
from collections.abc import Iterator, Sequence
from hashlib import sha256
from itertools import zip_longest
from typing import Any, NamedTuple

from sqlalchemy import Connection, and_, func, select

from countersign.ledger.tables import case_table, entry_table, link_table

START = ""
"""What the first link has in place of the hash before it."""

_CASE_NAMES = ("id", "opened_at", "source", "kit_title", "kit_hash", "kit_text")
_ENTRY_NAMES = ("case_id", "seq", "at", "kind", "body")

Row = dict[str, Any]
"""The columns of a case or of an entry, by name."""


class Head(NamedTuple):
    """The newest link: its place (0 where there is none) and hash."""

    place: int
    hash: str


class Link(NamedTuple):
    """One link with the row that it stands for; ``seq`` is 0 for a case."""

    place: int
    case_id: str
    seq: int
    row: Row | None
    hash: str

    @property
    def name(self) -> str:
        """What it stands for, in words."""
        return f"entry {self.seq} of case {self.case_id}" if self.seq else f"case {self.case_id}"


class Broken(Exception):
    """The chain does not hold; the message says in words what is not as it was written."""


def hash_of(value: object) -> str:
    """SHA-256 of the canonical JSON of a value made of objects, arrays, texts and whole numbers.

    For values without fractions and with ASCII names, sorted names without spaces are the form of
    RFC 8785.
    """
    text = json.dumps(
        value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def link_hash(before: str, row: Row) -> str:
    """The hash of the link that stands for ``row``, behind the link with the hash ``before``."""
    return hash_of([before, row])


def _fits(before: str, row: Row, known: str) -> bool:
    try:
        return link_hash(before, row) == known
    except (TypeError, ValueError):  # a damaged page may hold a value of another type
        return False


def head(connection: Connection) -> Head:
    """The newest link."""
    newest = connection.execute(
        select(link_table.c.place, link_table.c.hash).order_by(link_table.c.place.desc()).limit(1)
    ).first()
    return Head(newest.place, newest.hash) if newest is not None else Head(0, START)


def hash_at(connection: Connection, place: int) -> str | None:
    """The hash of the link at ``place``, ``None`` where there is none."""
    if place == 0:
        return START
    found = connection.execute(select(link_table.c.hash).where(link_table.c.place == place))
    return found.scalar()


def links(connection: Connection, after: int = 0) -> Iterator[Link]:
    """The links behind ``after`` with their rows, in order; ``row`` is ``None`` if it is gone."""
    wanted = (
        select(
            link_table.c.place,
            link_table.c.case_id.label("link_case"),
            link_table.c.seq.label("link_seq"),
            link_table.c.hash,
            *(case_table.c[name].label(f"case_{name}") for name in _CASE_NAMES),
            *(entry_table.c[name] for name in _ENTRY_NAMES),
        )
        .select_from(
            link_table.outerjoin(
                case_table,
                and_(case_table.c.id == link_table.c.case_id, link_table.c.seq == 0),
            ).outerjoin(
                entry_table,
                and_(
                    entry_table.c.case_id == link_table.c.case_id,
                    entry_table.c.seq == link_table.c.seq,
                ),
            )
        )
        .where(link_table.c.place > after)
        .order_by(link_table.c.place)
    )
    with connection.execute(wanted.execution_options(yield_per=500)) as found:
        for place, case_id, seq, known, *values in found:
            row: Row | None
            if seq == 0:
                row = dict(zip(_CASE_NAMES, values[: len(_CASE_NAMES)], strict=True))
                row = row if row["id"] is not None else None
            else:
                row = dict(zip(_ENTRY_NAMES, values[len(_CASE_NAMES) :], strict=True))
                row = row if row["case_id"] is not None else None
            yield Link(place, case_id, seq, row, known)


def verify(connection: Connection) -> Head:
    """Check every row against the chain; returns the newest link.

    Raises ``Broken`` naming the first case and entry that is not as it was written.
    """
    at = Head(0, START)
    cases = entries = 0
    for link in links(connection):
        if link.place != at.place + 1:
            raise Broken(f"its chain has no link {at.place + 1}")
        if link.row is None:
            raise Broken(f"{link.name} is missing")
        if not _fits(at.hash, link.row, link.hash):
            raise Broken(f"{link.name} is not what was written")
        at = Head(link.place, link.hash)
        cases, entries = cases + (link.seq == 0), entries + (link.seq > 0)
    for table, linked in ((case_table, cases), (entry_table, entries)):
        if connection.execute(select(func.count()).select_from(table)).scalar_one() != linked:
            raise Broken(f"{_unlinked(connection)} was added around the chain")
    return at


def verify_case(connection: Connection, case_id: str, rows: Sequence[Row]) -> None:
    """Check the rows of one case (itself, then its entries in order) against the chain.

    Raises ``Broken`` as ``verify`` does.
    """
    here, before = link_table.alias(), link_table.alias()
    found = connection.execute(
        select(here.c.seq, here.c.hash, before.c.hash.label("before"))
        .select_from(here.outerjoin(before, before.c.place == here.c.place - 1))
        .where(here.c.case_id == case_id)
        .order_by(here.c.seq)
    ).all()
    for number, (row, link) in enumerate(zip_longest(rows, found)):
        name = f"entry {number} of case {case_id}" if number else f"case {case_id}"
        if row is None or link is None or row.get("seq", 0) != number or link.seq != number:
            raise Broken(f"{name} is missing")
        if not _fits(link.before or START, row, link.hash):
            raise Broken(f"{name} is not what was written")


def _unlinked(connection: Connection) -> str:
    entry = connection.execute(
        select(entry_table.c.case_id, entry_table.c.seq)
        .where(
            ~select(link_table.c.place)
            .where(
                link_table.c.case_id == entry_table.c.case_id, link_table.c.seq == entry_table.c.seq
            )
            .exists()
        )
        .limit(1)
    ).first()
    return f"entry {entry.seq} of case {entry.case_id}" if entry is not None else "a case"
