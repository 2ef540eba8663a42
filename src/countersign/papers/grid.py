"""The count as a grid: item by item, what each line did in each phase. Plain values, no layout."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from countersign.kit.model import Group, Kit
from countersign.meaning.event import EventKind, Phase
from countersign.tally.record import CountRecord, Line, LineState, PhaseCount, Total
from countersign.wording import PHASES


@dataclass(frozen=True)
class Column:
    """A count: the phase and the line that announced it, ``None`` where nobody did."""

    phase: Phase | None
    line: int | None

    @property
    def title(self) -> str:
        """The name of the count as the head of a column."""
        name = PHASES[self.phase] if self.phase else "count, phase not said"
        words = f"{name[0].upper()}{name[1:]}"
        return words if self.line is None else f"{words} (line {self.line})"


@dataclass
class Row:
    """One item: the lines that counted it by column, and those that changed its number."""

    item: str
    total: Total | None
    initial: list[Line] = field(default_factory=list)
    added: list[Line] = field(default_factory=list)
    removed: list[Line] = field(default_factory=list)
    counts: dict[Column, list[Line]] = field(default_factory=dict)


@dataclass(frozen=True)
class GroupGrid:
    """One count group: its rows in the kit's order, and the later counts in which one was made."""

    group: Group
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]


def group_grids(record: CountRecord, kit: Kit) -> tuple[GroupGrid, ...]:
    """Every group of which something was said, in the kit's order of groups and items.

    A line that was struck or set aside, or waits outside the totals, has no place in the grid.
    ``added`` has additions and breakages, ``removed`` what left the field or came out of the wound.
    """
    totals = {total.item: total for total in record.totals}
    rows = {item.id: Row(item.id, totals.get(item.id)) for item in kit.items}
    columns: list[Column] = []
    for line, column in _with_columns(record):
        row = rows.get(_item(line) or "")
        if row is None:
            continue
        match line.acts_as:
            case EventKind.COUNT if column.phase is Phase.INITIAL:
                row.initial.append(line)
            case EventKind.COUNT:
                row.counts.setdefault(column, []).append(line)
                if column not in columns:
                    columns.append(column)
            case EventKind.ADDITION | EventKind.BREAKAGE:
                row.added.append(line)
            case EventKind.REMOVAL:
                row.removed.append(line)
    said = [row for row in rows.values() if _says_something(row)]
    grids = []
    for group in Group:
        mine = tuple(row for row in said if kit.item(row.item).group is group)
        if mine:
            used = tuple(each for each in columns if any(each in row.counts for row in mine))
            grids.append(GroupGrid(group, used, mine))
    return tuple(grids)


def lines_without_item(record: CountRecord) -> tuple[Line, ...]:
    """Standing lines that count or change something, but nobody heard what."""
    counting = (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL, EventKind.BREAKAGE)
    return tuple(
        line
        for line in record.lines
        if stands(line) and line.acts_as in counting and _item(line) is None
    )


def stands(line: Line) -> bool:
    """Whether a line is part of the count, confirmed or not."""
    return line.state not in (LineState.STRUCK, LineState.SET_ASIDE) and not line.waits


def _item(line: Line) -> str | None:
    return line.confirmed_item or line.item


def _says_something(row: Row) -> bool:
    return bool(row.initial or row.added or row.removed or row.counts)


def _with_columns(record: CountRecord) -> list[tuple[Line, Column]]:
    """Each standing line with the count in which it was said."""
    phases: Sequence[PhaseCount] = record.phases
    at = -1
    found = []
    for line in record.lines:
        announced = [n for n, each in enumerate(phases) if each.line == line.number]
        if announced:
            at = announced[0]
        if not stands(line):
            continue
        if at < 0 or phases[at].phase is not line.phase:
            # A phase that nobody announced begins with the first line that is counted in it.
            later = (
                n
                for n in range(at + 1, len(phases))
                if phases[n].line is None and phases[n].phase is line.phase
            )
            at = next(later, at) if line.acts_as is EventKind.COUNT else at
        going = phases[at] if at >= 0 else None
        fits = going is not None and going.phase is line.phase
        found.append((line, Column(line.phase, going.line if fits and going else None)))
    return found
