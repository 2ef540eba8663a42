"""The state of the whole count, arranged as it is called: group by group, item by item."""

from decimal import Decimal

from pydantic import BaseModel, ConfigDict

from countersign.kit import Group, Kit
from countersign.ledger import CaseHistory
from countersign.meaning import EventKind
from countersign.tally.record import CountRecord, Line, Total
from countersign.tally.running import TALLIED
from countersign.wording import GROUPS, item_label

STANDING = {
    "agrees": "= agrees",
    "differs": "≠ differs",
    "open": "… open",
    "not counted": "– not signed",
}
"""The state of a row in words, each with a sign of its own."""


def has_number(line: Line) -> bool:
    """Whether a line is about a number at all, heard or missing."""
    if line.quantity is not None or line.event.quantity is not None:
        return True
    return line.acts_as in TALLIED


class BoardRow(BaseModel):
    """One item: what should be there, what was counted last, and whether both sides agree.

    ``state`` is ``agrees``, ``differs``, ``open`` (lines wait for a person) or ``not counted``.
    ``asked`` is a number that was heard and is counted only once a person has answered.
    """

    model_config = ConfigDict(frozen=True)

    item: str
    label: str
    expected: int | None
    counted: int | None
    asked: int | None
    confirmed_expected: int | None
    confirmed: int | None
    state: str


class BoardGroup(BaseModel):
    """The rows of one count group."""

    model_config = ConfigDict(frozen=True)

    name: str
    rows: tuple[BoardRow, ...]


class Board(BaseModel):
    """What is at hand: the groups, the line to look at first, how many wait, ask and differ."""

    model_config = ConfigDict(frozen=True)

    groups: tuple[BoardGroup, ...]
    at_hand: Line | None
    waiting: int
    asking: int
    differing: int


def board(history: CaseHistory, record: CountRecord) -> Board:
    """The board of a record. The line at hand is the oldest open one."""
    waiting = [line for line in record.lines if line.is_open]
    differing = {found.item for found in record.discrepancies if found.is_open}
    totals = {total.item: total for total in record.totals}
    groups = [
        BoardGroup(name=GROUPS[group], rows=rows)
        for group in Group
        if (rows := _rows(history.kit, group, totals, waiting, differing))
    ]
    return Board(
        groups=tuple(groups),
        at_hand=waiting[0] if waiting else None,
        waiting=len(waiting),
        asking=sum(bool(line.questions) for line in waiting),
        differing=sum(found.is_open for found in record.discrepancies),
    )


def _rows(
    kit: Kit,
    group: Group,
    totals: dict[str, Total],
    waiting: list[Line],
    differing: set[str],
) -> tuple[BoardRow, ...]:
    open_items = {line.item for line in waiting}
    counts = {line.item: line.quantity for line in waiting if line.acts_as is EventKind.COUNT}
    return tuple(
        _row(kit, totals[item.id], item.id in open_items, item.id in differing, counts.get(item.id))
        for item in kit.items
        if item.group is group and item.id in totals
    )


def expected_of(record: CountRecord, kit: Kit, item: str) -> int | None:
    """What should be there of an item that is being counted, as far as was heard."""
    known = [total.heard_expected for total in record.totals if total.item == item]
    return known[0] if known else next((i.expected for i in kit.items if i.id == item), None)


def _row(
    kit: Kit, total: Total, is_open: bool, differs: bool, waits: int | Decimal | None
) -> BoardRow:
    if differs:
        state = "differs"
    elif is_open:
        state = "open"
    elif total.confirmed_last is None:
        state = "not counted"
    elif total.confirmed_last == total.confirmed_expected:
        state = "agrees"
    else:
        state = "differs"
    return BoardRow(
        item=total.item,
        label=item_label(total.item, kit),
        expected=total.heard_expected,
        counted=total.heard_last,
        asked=waits if total.heard_last is None and isinstance(waits, int) else None,
        confirmed_expected=total.confirmed_expected,
        confirmed=total.confirmed_last,
        state=state,
    )
