"""Which line a correction strikes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from countersign.meaning.event import Event, EventKind, Spoken
from countersign.tally.running import TALLIED

_MEDICATION = frozenset({EventKind.RECEIPT, EventKind.LABEL, EventKind.DRAW})
_EFFECTIVE = TALLIED | _MEDICATION | {EventKind.SET_UP, EventKind.VERDICT}


@dataclass
class Heard:
    """What a line does to the record, as heard.

    ``strikes`` and ``struck_by`` are line numbers. ``passed_over`` is the number of a later line
    that the correction may have meant instead. ``in_vain`` marks a correction that found nothing.
    """

    kind: EventKind | None
    item: str | None
    quantity: int | Decimal | None
    spoken: Spoken | None
    strikes: int | None = None
    struck_by: int | None = None
    passed_over: int | None = None
    in_vain: bool = False


@dataclass
class _Stacks:
    """Effective lines by what a correction can name, latest last."""

    every: list[int] = field(default_factory=list)
    by_item: dict[str, list[int]] = field(default_factory=dict)
    by_kind: dict[EventKind, list[int]] = field(default_factory=dict)

    def push(self, number: int, line: Heard) -> None:
        self.every.append(number)
        if line.item is not None:
            self.by_item.setdefault(line.item, []).append(number)
        if line.kind is not None:
            self.by_kind.setdefault(line.kind, []).append(number)


def follow_corrections(events: Sequence[Event], ignored: frozenset[int]) -> list[Heard]:
    """What every line does, with corrections carried out; ``ignored`` corrections never happened.

    A correction that names an item strikes the last line of that item; one with only a quantity
    strikes the last count, addition or removal (for a volume, the last medication line); a bare
    one strikes the last line that has any effect. With a quantity it then stands in for the line
    it strikes. Struck lines are passed over, so that "strike that" said twice goes back two lines.
    ``ignored`` are the numbers of corrections a person set aside.
    """
    lines: list[Heard] = []
    stacks = _Stacks()

    def latest(stack: list[int]) -> int | None:
        while stack and lines[stack[-1] - 1].struck_by is not None:
            stack.pop()
        return stack[-1] if stack else None

    for number, event in enumerate(events, start=1):
        line = Heard(event.kind, event.item, event.quantity, event.spoken)
        lines.append(line)
        if event.kind is EventKind.CORRECTION:
            line.kind = None
            if number in ignored:
                continue
            _correct(number, line, event, lines, stacks, latest)
        if line.kind in _EFFECTIVE:
            stacks.push(number, line)
    return lines


def _correct(
    number: int,
    line: Heard,
    event: Event,
    lines: list[Heard],
    stacks: _Stacks,
    latest: Callable[[list[int]], int | None],
) -> None:
    last = latest(stacks.every)
    if event.item is not None:
        target = latest(stacks.by_item.get(event.item, []))
    elif event.verdict is not None:
        target = latest(stacks.by_kind.get(EventKind.VERDICT, []))
    elif event.quantity is not None:
        kinds = TALLIED if event.unit in (None, "each") else _MEDICATION
        found = (latest(stacks.by_kind.get(kind, [])) for kind in kinds)
        target = max((at for at in found if at is not None), default=None)
    else:
        target = last
    if target is None:
        line.in_vain = True
        if event.item is not None and event.quantity is not None:
            line.kind = EventKind.COUNT
        return
    struck = lines[target - 1]
    struck.struck_by = number
    line.strikes = target
    if target != last:
        line.passed_over = last
    if event.quantity is not None or event.verdict is not None:
        line.kind = struck.kind
        line.item = event.item or struck.item
        line.spoken = event.spoken or struck.spoken
