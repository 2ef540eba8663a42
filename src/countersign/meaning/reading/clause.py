"""One count while it is put together."""

from dataclasses import dataclass, field

from countersign.meaning.event import EventKind, Question
from countersign.meaning.numbers import Cuts, Readings, likeliest, nothing_read, read_on
from countersign.meaning.pieces import Piece
from countersign.meaning.scene import Scene

SHORTEST_SEQUENCE = 3
"""A run from one without an item is taken for a count from this length on."""

MOVED = (EventKind.ADDITION, EventKind.REMOVAL)

AT_ONCE_S = 0.6
"""Talk this soon after a number may hide the next one. Numbers counted aloud while items are parted
follow each other within about a second (to be tuned on recordings)."""


@dataclass
class Clause:
    """The count being put together."""

    start: int
    carry: int
    """The first token to keep while the clause is open."""
    kind: EventKind = EventKind.COUNT
    item: Piece | None = None
    inherited: str | None = None
    """The item of the count that a correction without an item is about."""
    entries: list[Piece] = field(default_factory=list)
    """Numbers (``run``, ``pack``), and what parts them (``pause``, ``restart``). Only added to."""
    number_first: bool = False
    total_next: bool = False
    verb: bool = False
    outside: EventKind | None = None
    """The kind, where the verb that gave it stands before another clause."""
    more: bool = False
    """It was said to come on top: "more", "another"."""
    soft: bool = False
    """The item came after a phase: no number is needed."""
    half: bool = False
    """Its utterance was the item and a little talk, in which the number may have been."""
    place: str | None = None
    place_closes: bool = False
    """The place came after the numbers: the next number is of another place."""
    astray: str | None = None
    """The words of a place right before it that was said beside talk."""
    amid_counts: bool = False
    """Items were counted right before, and nothing says that this one is set up."""
    part: str | None = None
    """The part of the item that is counted."""
    elsewhere: int = 0
    """How many of it were counted at other places right before, where a total was said."""
    before: str | None = None
    """``talk`` or ``stranger`` where that stood right before the clause."""
    after: str | None = None
    """What stands right after its last number: ``talk``, ``stranger`` or ``pause``."""
    talked: bool = False
    renumbers: bool = False
    """A correction that names what it corrects, so that its number is what was wrong."""
    tried: bool = False
    """A number followed after talk: it was not taken, but the item was being counted."""
    cut_off: bool = False
    """Talk followed the last number at once."""
    questions: list[Question] = field(default_factory=list)
    displaced: "Clause | None" = None
    """The count before, as long as it is not sure that this item ended it."""
    end: int = 0
    counted: "_Counted" = field(default_factory=lambda: _Counted())
    """The numbers among the entries so far: they are asked for at every step."""

    @property
    def item_id(self) -> str | None:
        """The item that was named, or taken over from the line before."""
        return self.item.label if self.item is not None else self.inherited

    @property
    def has_numbers(self) -> bool:
        """Whether any number was said."""
        return any(entry.kind in ("run", "pack") for entry in self.entries)


@dataclass(frozen=True)
class Number:
    """A number of a clause, its first and last token, and the piece that it came from."""

    value: int
    start: int
    end: int
    piece: Piece


@dataclass
class _Counted:
    """The numbers among the first ``entries`` of a clause, and what is needed to go on from there.

    ``sources`` says for each word where it stands and in which piece, ``fixed`` which words are a
    pack; ``known`` has the numbers up to each cut, by its identity.
    """

    entries: int = 0
    sources: list[tuple[int, Piece]] = field(default_factory=list)
    fixed: set[int] = field(default_factory=set)
    readings: Readings = field(default_factory=nothing_read)
    known: dict[int, tuple[Cuts, tuple[Number, ...]]] = field(default_factory=dict)


def clause_numbers(scene: Scene, clause: Clause | None) -> tuple[Number, ...]:
    """The numbers of a clause in order. Totals are left out.

    A number never spans a pause or talk.
    """
    if clause is None:
        return ()
    counted = clause.counted
    for entry in clause.entries[counted.entries :]:
        _count_on(scene, counted, entry)
    return _numbers(counted, likeliest(counted.readings))


def _count_on(scene: Scene, counted: _Counted, entry: Piece) -> None:
    begin = len(counted.sources)
    words: list[str | None] = []
    if entry.kind == "run" and entry.label != "total":
        for position in range(entry.start, entry.end):
            words.append(scene.doc[position]._.number)
            counted.sources.append((position, entry))
    elif entry.kind == "pack":
        counted.fixed.add(begin)
        words.append(entry.label.split()[1])
        counted.sources.append((entry.start, entry))
    # two runs with only fillers between them are two numbers
    words.append(None)
    counted.sources.append((entry.end if words[:-1] else entry.start, entry))
    counted.readings = read_on(counted.readings, words, begin)
    counted.entries += 1


def _numbers(counted: _Counted, cuts: Cuts | None) -> tuple[Number, ...]:
    new: list[Cuts] = []
    while cuts is not None and id(cuts) not in counted.known:
        new.append(cuts)
        cuts = cuts[1]
    found = counted.known[id(cuts)][1] if cuts is not None else ()
    for cuts in reversed(new):
        value, start, end = cuts[0]
        first, piece = counted.sources[start]
        if start in counted.fixed:
            number = Number(value, piece.start, piece.end, piece)
        else:
            number = Number(value, first, counted.sources[end - 1][0] + 1, piece)
        found = (*found, number)
        counted.known[id(cuts)] = (cuts, found)
    return found


def last_number(scene: Scene, clause: Clause | None) -> int | None:
    """The last number of a clause; totals are left out."""
    numbers = clause_numbers(scene, clause)
    return numbers[-1].value if numbers else None


def follows_at_once(scene: Scene, clause: Clause, piece: Piece) -> bool:
    """Whether a piece stands directly behind the last number of a clause, also in time."""
    if not clause.has_numbers or clause.number_first or clause.end != piece.start:
        return False
    return scene.heard[piece.start].start_s - scene.heard[clause.end - 1].end_s <= AT_ONCE_S
