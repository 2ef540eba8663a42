"""The state of the whole count, arranged as it is called: group by group, item by item."""

from pydantic import BaseModel, ConfigDict

from countersign.kit import Group, Kit
from countersign.ledger import CaseHistory
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
    """

    model_config = ConfigDict(frozen=True)

    item: str
    label: str
    expected: int | None
    counted: int | None
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
    return tuple(
        _row(kit, totals[item.id], item.id in open_items, item.id in differing)
        for item in kit.items
        if item.group is group and item.id in totals
    )


def _row(kit: Kit, total: Total, is_open: bool, differs: bool) -> BoardRow:
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
        confirmed_expected=total.confirmed_expected,
        confirmed=total.confirmed_last,
        state=state,
    )
