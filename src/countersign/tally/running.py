"""Running numbers of one item: what should be there, and what was counted last."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from countersign.kit import Item
from countersign.meaning.event import EventKind, Phase, Spoken
from countersign.tally.places import OFF_FIELD, WHOLE, WOUND, Cell, Cells

TALLIED = frozenset({EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL, EventKind.BREAKAGE})
"""The kinds of line that change an item's numbers."""

Sitting = tuple[int, int, Phase | None]
"""One going through of an item: how many phases and recounts were announced, and the phase."""


@dataclass(frozen=True)
class Step:
    """One count, addition, removal or breakage of a known item, whole and not negative.

    ``line`` is the number of its line, ``verdicts`` how many verdicts about the item stand before
    it. ``unsure`` if what was heard is asked about, and nobody has confirmed it yet.
    """

    kind: EventKind
    item: str
    quantity: int
    phase: Phase | None
    spoken: Spoken | None = None
    place: str | None = None
    part: str | None = None
    line: int = 0
    sitting: Sitting = (0, 0, None)
    verdicts: int = 0
    unsure: bool = False

    @property
    def cell(self) -> Cell:
        """Where and of which part."""
        return self.place, self.part

    @property
    def by_pieces(self) -> bool:
        """Whether this count is one of several that add up: of a place, a part or a pack."""
        return self.cell != WHOLE or (self.spoken is Spoken.PACK and not opens(self.phase))


@dataclass
class Running:
    """One item's numbers so far.

    ``base`` is the initial count, or what the kit says until there is one; ``change`` is additions
    less removals, and pieces beyond the one that broke, since. ``counts`` holds the latest whole
    count of each phase, with ``change`` as it was then, so that a later count of the same phase can
    be compared. ``cells`` are the numbers of the present ``sitting``, ``against`` what they were to
    add up to when it began, ``verdicts`` those said before the last of them; ``added_up`` says that
    they came to it, ``sets_base`` that they gave the base. ``bagged`` are removals into bags,
    ``packed`` what is in the wound since ``packed_line``, ``pieces`` the pieces by line that no
    count accounts for yet.
    ``recount_line`` asked for a recount that has not come.
    """

    item: Item
    base: int | None
    counted: bool = False
    moved: bool = False
    change: int = 0
    last: int | None = None
    counts: dict[Phase | None, tuple[int, int]] = field(default_factory=dict)
    cells: Cells = field(default_factory=Cells)
    sitting: Sitting | None = None
    verdicts: int = 0
    added_up: bool = False
    sets_base: bool = False
    against: int | None = None
    against_change: int = 0
    part_change: dict[str, int] = field(default_factory=dict)
    bagged: int = 0
    packed: int = 0
    packed_line: int = 0
    pieces: dict[int, int] = field(default_factory=dict)
    recount_line: int | None = None

    @property
    def expected(self) -> int | None:
        """Initial count plus additions less removals, ``None`` if there is nothing to go by."""
        if self.base is None and not self.moved:
            return None
        return (self.base or 0) + self.change

    @property
    def differs(self) -> bool:
        """Whether the latest count is not the number that should be there, or a part lacks."""
        return self.last is not None and (self.last != self.expected or bool(self.missing_parts))

    @property
    def expected_now(self) -> int | None:
        """What the counts of this sitting should add up to."""
        if self.against is None:
            return None
        return self.against + self.change - self.against_change

    @property
    def missing_parts(self) -> tuple[str, ...]:
        """The parts of which fewer were counted than of the others in this sitting."""
        counted = self.cells.of_parts()
        if not counted:
            return ()
        whole = {
            part: counted.get(part, 0) - self.part_change.get(part, 0) for part in self.item.parts
        }
        most = max(whole.values(), default=0)
        return tuple(part for part, number in whole.items() if number < most)

    def earlier(self, phase: Phase | None) -> int | None:
        """What an earlier whole count of this phase says should be there now."""
        if phase not in self.counts:
            return None
        count, change_then = self.counts[phase]
        return count + self.change - change_then

    def earlier_there(self, step: Step) -> int | None:
        """The number counted before in this sitting at the same place, of the same part.

        ``None`` too where something was added or taken off since: then it need not be the same.
        """
        if not self.goes_on(step) or step.cell not in self.cells.numbers:
            return None
        if self.cells.changes[step.cell] != self.change:
            return None
        return self.cells.numbers[step.cell]

    def goes_on(self, step: Step) -> bool:
        """Whether a count belongs to the going through of its item that was last heard.

        One that had come to the right number is over once a verdict was said, or something was
        added or taken off, even where no new phase was announced.
        """
        if step.sitting != self.sitting:
            return False
        over = step.verdicts != self.verdicts or self.change not in self.cells.changes.values()
        return not (self.added_up and over)

    def relocates(self, step: Step) -> bool:
        """Whether a number for the wound only says where some of what was counted are now."""
        return step.place == WOUND and (
            opens(step.phase)
            or (self.goes_on(step) and (WHOLE in self.cells.numbers or self.added_up))
        )

    def may_be_among(self, step: Step) -> bool:
        """Whether a number for the wound came while its item was being counted place by place.

        These may be some of those already counted, packed since, or more of them.
        """
        counted_there = self.cells.by_place_outside and self.goes_on(step)
        return bool(
            step.quantity and counted_there and self.relocates(step) and not opens(step.phase)
        )

    def continues(self, step: Step) -> bool:
        """Whether a count adds to what was counted in this sitting, rather than begin anew."""
        if step.cell == WHOLE or WHOLE in self.cells.numbers or not self.cells.numbers:
            return self.is_another_pack(step)
        return self.goes_on(step) or self.is_another_pack(step)

    def is_another_pack(self, step: Step) -> bool:
        """Whether this is one more pack where some of the item was counted in this sitting."""
        return (
            step.spoken is Spoken.PACK
            and step.sitting == self.sitting
            and step.cell in self.cells.numbers
        )

    def after(self, step: Step) -> tuple["Running", int | None]:
        """A copy with one step applied, and what :meth:`take` gives."""
        other = Running.__new__(Running)  # copy.copy takes as long as all the rest
        other.__dict__.update(self.__dict__)
        other.counts = dict(self.counts)
        other.cells = Cells(dict(self.cells.numbers), dict(self.cells.changes))
        other.part_change = dict(self.part_change)
        other.pieces = dict(self.pieces)
        return other, other.take(step)

    def take(self, step: Step) -> int | None:
        """Apply one step; gives what the item was counted as, for a count that says so."""
        match step.kind:
            case EventKind.COUNT:
                return self._count(step)
            case EventKind.ADDITION:
                self._move(step, step.quantity)
                if step.place == WOUND:
                    self._pack(self.packed + step.quantity, step.line)
            case EventKind.REMOVAL if step.place == WOUND:
                # Out of the wound is not off the count: the item is counted with the others again.
                self._pack(max(0, self.packed - step.quantity), step.line)
                if self.cells.only_wound:
                    self.cells.take_out(step.quantity)
            case EventKind.REMOVAL:
                self._move(step, -step.quantity)
                if step.place == OFF_FIELD:
                    self.bagged += step.quantity
            case EventKind.BREAKAGE:
                self._move(step, step.quantity - 1)
                self.pieces[step.line] = step.quantity
        return None

    def _move(self, step: Step, change: int) -> None:
        self.moved = True
        self.change += change
        if step.part is not None:
            self.part_change[step.part] = self.part_change.get(step.part, 0) + change

    def _pack(self, quantity: int, line: int) -> None:
        self.packed, self.packed_line = quantity, line

    def _count(self, step: Step) -> int | None:
        if step.place == WOUND:
            self._pack(step.quantity, step.line)
            if self.relocates(step):
                return None
        another = self.is_another_pack(step)
        goes_on = self.continues(step)
        if not goes_on:
            self.cells, self.sets_base, self.added_up = Cells(), False, False
            again = self.counted and not self.moved and self._opens_with(step)
            # What opens the case is held against the kit, also where it is counted once more.
            self.against = self.item.expected if again else self.expected
            self.against_change = self.change
        self.sitting, self.verdicts = step.sitting, step.verdicts
        self.cells.put(step.cell, step.quantity, self.change, another=another)
        if self.cells.only_wound:
            return None
        number = self.cells.sum(self.bagged)
        self._set_base(step, number, goes_on=goes_on)
        self.last = number
        self.recount_line = None
        if step.cell == WHOLE:
            self.counts[step.phase] = (number, self.change)
        self.added_up = not self.differs
        if self.added_up:
            self.pieces.clear()
            if self.cells.by_place_outside:  # all of it was seen elsewhere
                self.packed = 0
        return number

    def _opens_with(self, step: Step) -> bool:
        """Whether a count by itself sets what should be there from the beginning.

        One that is not sure does not take away what another said: its item may be a wrong one, and
        what is missing later would be hidden.
        """
        if not opens(step.phase):
            return False
        fewer = self.base is not None and step.quantity < self.base
        again = not self.moved and not step.by_pieces and not (step.unsure and fewer)
        return not self.counted or again

    def _set_base(self, step: Step, number: int, *, goes_on: bool) -> None:
        # The initial count sets what should be there: it takes in everything that was added before
        # it. A second initial count replaces the first, but only while nothing was added or taken
        # off in between: after that, counts are checked against the sum and never rewrite it. One
        # place or part never replaces a count of the whole.
        nothing_known = self.base is None and not self.moved
        more_of_the_same = goes_on and self.sets_base and not self.moved
        initial = self._opens_with(step)
        if nothing_known or more_of_the_same or initial:
            if self.against is not None:
                self.against += self.change - self.against_change
            self.base, self.change, self.moved = number, 0, False
            self.against_change = self.bagged = 0
            self.counts.clear()
            self.part_change.clear()
            self.cells.changes = dict.fromkeys(self.cells.changes, 0)
            self.counted = self.sets_base = True


def opens(phase: Phase | None) -> bool:
    """Whether a count of this phase sets the numbers: the initial one, or before any was named."""
    return phase is None or phase is Phase.INITIAL


def start(item: Item) -> Running:
    """The numbers of an item before anything was said about it."""
    return Running(item=item, base=item.expected)


def run(items: Mapping[str, Item], steps: Iterable[Step]) -> dict[str, Running]:
    """The numbers of every item named by the steps."""
    numbers: dict[str, Running] = {}
    for step in steps:
        if step.item not in numbers:
            numbers[step.item] = start(items[step.item])
        numbers[step.item].take(step)
    return numbers
