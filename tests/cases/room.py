"""The operating room, simulated: the exact truth after every act.

This is the oracle. It knows the rules that people count by, not how the program does it:

* what should be there is the first count (the kit's number before it), plus what was added, less
  what left the field, plus the pieces that something broke into beyond the one that it was;
* an item is counted once in every count that is announced, as a whole, or place by place and part
  by part, which add up; a recount begins it anew;
* what is in counter bags has left the field: a count that takes the bags in has them on top;
* what is packed in the wound is still on the count;
* a count that is not what should be there opens a discrepancy, which a later count that agrees
  closes;
* "correct" holds as long as the last count of everything is what should be there now.

Rules: AORN and AST guidance on counts (from memory).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from tests.cases.acts import (
    EFFECTIVE,
    TALLIED,
    Act,
    Add,
    Amend,
    Announce,
    Break,
    Count,
    Pack,
    Recount,
    Remove,
    Say,
    Strike,
    Unpack,
)
from tests.cases.medicines import Held, Tray

BAG = "off_field"


@dataclass(frozen=True)
class Fact:
    """What is true of one item. ``counted`` is by phase, then by place and part."""

    initial: int | None
    added: int
    removed: int
    pieces: int
    expected: int | None
    counted: Mapping[str, Mapping[tuple[str | None, str | None], int]]
    last: int | None
    in_wound: int
    in_pieces: bool


@dataclass(frozen=True)
class Open:
    """An item whose last complete count is not what should be there."""

    item: str
    counted: int
    expected: int
    unequal_parts: bool = False


@dataclass(frozen=True)
class Truth:
    """Everything that is true after an act.

    ``half_counted`` are items of which only some places or parts have been counted so far; what is
    open is said of complete counts only. ``verdict`` is what may stand as the verdict once people
    have confirmed every line: the last one said, and ``correct`` only where it is.
    """

    items: Mapping[str, Fact]
    discrepancies: tuple[Open, ...]
    half_counted: frozenset[str]
    verdict: str | None
    medications: tuple[Held, ...]


@dataclass
class _Item:
    parts: tuple[str, ...]
    kit: int | None
    initial: int | None = None
    added: int = 0
    removed: int = 0
    pieces: int = 0
    bagged: int = 0
    in_wound: int = 0
    in_pieces: bool = False
    counted: dict[str, dict[tuple[str | None, str | None], int]] = field(default_factory=dict)
    cells: dict[tuple[str | None, str | None], int] = field(default_factory=dict)
    last: int | None = None
    open: Open | None = None
    half: bool = False

    @property
    def moved_since(self) -> bool:
        """Whether something came or went that its last count has not seen."""
        return self.last is not None and self.last != self.expected

    @property
    def expected(self) -> int | None:
        start = self.kit if self.initial is None else self.initial
        moved = self.added - self.removed + self.pieces
        return moved if start is None and moved else None if start is None else start + moved


class Room:
    """One operating room. :meth:`do` carries out an act, :meth:`truth` says what is then true."""

    def __init__(self, kit: Mapping[str, tuple[int | None, tuple[str, ...], str]]) -> None:
        """``kit`` gives the opening number, the parts and the group of every item id."""
        self.groups = {item: group for item, (_, _, group) in kit.items()}
        self.items = {item: _Item(parts, number) for item, (number, parts, _) in kit.items()}
        self.tray = Tray()
        self.phase = "initial"
        self.said: list[tuple[str, Say]] = []
        self.spoken_of: dict[str, set[str]] = {}
        self.touched: set[str] = set()

    def do(self, act: Act) -> None:
        """Carry out one act that holds; corrections are carried out by :func:`standing`."""
        self.tray.do(act)
        match act:
            case Announce(phase):
                self._settle()
                self.phase = phase
                for each in self.items.values():
                    each.cells = {}
            case Recount(item):
                self._settle()
                self.items[item].cells = {}
                self.said.append((self.phase, Say("recount")))
            case Say():
                self._settle()
                self.said.append((self.phase, act))
            case Count():
                self._count(act)
            case Add(item, quantity):
                self._touch(item).added += quantity
            case Remove(item, quantity, bagged):
                self._touch(item).removed += quantity
                self.items[item].bagged += quantity if bagged else 0
            case Pack(item, quantity):
                self._touch(item).in_wound = quantity
            case Unpack(item, quantity):
                each = self._touch(item)
                each.in_wound = max(0, each.in_wound - quantity)
            case Break(item, pieces):
                self._touch(item).pieces += pieces - 1
                self.items[item].in_pieces = True

    def _touch(self, item: str) -> _Item:
        self.touched.add(item)
        self.spoken_of.setdefault(self.phase, set()).add(self.groups[item])
        return self.items[item]

    def _count(self, act: Count) -> None:
        each = self._touch(act.item)
        cell = (act.place, act.part)
        whole = cell == (None, None)
        each.cells = {cell: act.quantity} if whole else {**each.cells, cell: act.quantity}
        each.counted[self.phase] = dict(each.cells)
        documented = each.bagged if any(place == BAG for place, _ in each.cells) else 0
        number = sum(each.cells.values()) - documented
        if self.phase == "initial":
            each.initial = number
        each.last = number
        each.half = not whole
        if whole:
            self._judge(act.item)

    def _settle(self) -> None:
        for item, each in self.items.items():
            if each.half:
                each.half = False
                self._judge(item)

    def _judge(self, item: str) -> None:
        each = self.items[item]
        by_part = dict.fromkeys(each.parts, 0)
        for (_, part), number in each.cells.items():
            if part is not None:
                by_part[part] += number
        unequal = len(set(by_part.values())) > 1
        assert each.last is not None and each.expected is not None
        if each.last != each.expected or unequal:
            each.open = Open(item, each.last, each.expected, unequal)
        else:
            each.open, each.in_pieces = None, False

    def truth(self) -> Truth:
        """What is true now. Items that nobody spoke of are left out."""
        facts = {
            item: Fact(
                initial=each.initial,
                added=each.added,
                removed=each.removed,
                pieces=each.pieces,
                expected=each.expected,
                counted={phase: dict(cells) for phase, cells in each.counted.items()},
                last=each.last,
                in_wound=each.in_wound,
                in_pieces=each.in_pieces,
            )
            for item, each in self.items.items()
            if item in self.touched
        }
        return Truth(
            items=facts,
            discrepancies=tuple(each.open for each in self.items.values() if each.open),
            half_counted=frozenset(item for item, each in self.items.items() if each.half),
            verdict=self._verdict(),
            medications=tuple(self.tray.held.values()),
        )

    def _verdict(self) -> str | None:
        if not self.said:
            return None
        phase, last = self.said[-1]
        if last.verdict != "correct":
            return last.verdict
        each = self.items.values()
        if any(one.open or one.in_pieces or one.moved_since for one in each):
            return None
        if phase in ("closing", "final") and any(one.in_wound for one in each):
            return None
        correct = {s.group for p, s in self.said if p == phase and s.verdict == "correct"}
        all_groups = None in correct or self.spoken_of.get(phase, set()) <= correct
        return "correct" if last.group is None or all_groups else None


def standing(acts: Sequence[Act], set_aside: Iterable[int] = ()) -> list[Act]:
    """The acts that hold, with corrections carried out.

    ``set_aside`` are positions of acts that people set aside. A correction is about the line before
    it: whoever makes a case sees to that.
    """
    aside = frozenset(set_aside)
    kept: list[Act] = []
    for position, act in enumerate(acts):
        if position in aside:
            continue
        if isinstance(act, Strike | Amend):
            kinds = EFFECTIVE if isinstance(act, Strike) else TALLIED
            at = max(i for i, each in enumerate(kept) if isinstance(each, kinds))
            struck = kept.pop(at)
            if isinstance(act, Amend):
                number = (
                    {"pieces": act.quantity}
                    if isinstance(struck, Break)
                    else {"quantity": act.quantity}
                )
                kept.insert(at, replace(struck, item=act.item, **number))  # type: ignore[type-var]
        else:
            kept.append(act)
    return kept
