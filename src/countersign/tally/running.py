"""Running numbers of one item: what should be there, and what was counted last."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from countersign.kit import Item
from countersign.meaning.event import EventKind, Phase, Spoken

TALLIED = frozenset({EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL})
"""The kinds of line that change an item's numbers."""


@dataclass(frozen=True)
class Step:
    """One count, addition or removal of a known item, whole and not negative."""

    kind: EventKind
    item: str
    quantity: int
    phase: Phase | None
    spoken: Spoken | None = None


@dataclass
class Running:
    """One item's numbers so far.

    ``base`` is the initial count, or what the kit says until there is one; ``change`` is additions
    less removals since. ``counts`` holds the latest count of each phase, with ``change`` as it was
    then, so that a later count of the same phase can be compared.
    """

    base: int | None
    counted: bool = False
    moved: bool = False
    change: int = 0
    last: int | None = None
    counts: dict[Phase | None, tuple[int, int]] = field(default_factory=dict)

    @property
    def expected(self) -> int | None:
        """Initial count plus additions less removals, ``None`` if there is nothing to go by."""
        if self.base is None and not self.moved:
            return None
        return (self.base or 0) + self.change

    @property
    def differs(self) -> bool:
        """Whether the latest count is not the number that should be there."""
        return self.last is not None and self.last != self.expected

    def earlier(self, phase: Phase | None) -> int | None:
        """What an earlier count of this phase says should be there now."""
        if phase not in self.counts:
            return None
        count, change_then = self.counts[phase]
        return count + self.change - change_then

    def take(self, step: Step) -> None:
        """Apply one step."""
        if step.kind is EventKind.COUNT:
            self._count(step)
        else:
            self.moved = True
            self.change += step.quantity if step.kind is EventKind.ADDITION else -step.quantity

    def _count(self, step: Step) -> None:
        # The initial count sets what should be there: it takes in everything that was added before
        # it. A second initial count replaces the first, but only while nothing was added or taken
        # off in between: after that, counts are checked against the sum and never rewrite it.
        nothing_known = self.base is None and not self.moved
        if nothing_known or (opens(step.phase) and (not self.counted or not self.moved)):
            self.base, self.change, self.moved = step.quantity, 0, False
            self.counts.clear()
            self.counted = True
        self.last = step.quantity
        self.counts[step.phase] = (step.quantity, self.change)


def opens(phase: Phase | None) -> bool:
    """Whether a count of this phase sets the numbers: the initial one, or before any was named."""
    return phase is None or phase is Phase.INITIAL


def start(item: Item) -> Running:
    """The numbers of an item before anything was said about it."""
    return Running(base=item.expected)


def run(items: dict[str, Item], steps: Iterable[Step]) -> dict[str, Running]:
    """The numbers of every item named by the steps."""
    numbers: dict[str, Running] = {}
    for step in steps:
        numbers.setdefault(step.item, start(items[step.item])).take(step)
    return numbers
