"""One count while it is put together."""

from dataclasses import dataclass, field

from countersign.meaning.event import EventKind, Question
from countersign.meaning.numbers import split_run
from countersign.meaning.pieces import Piece
from countersign.meaning.scene import Scene

SHORTEST_SEQUENCE = 3
"""A run from one without an item is taken for a count from this length on."""

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
    place: str | None = None
    place_closes: bool = False
    """The place came after the numbers: the next number is of another place."""
    part: str | None = None
    """The part of the item that is counted."""
    before: str | None = None
    """``talk`` or ``stranger`` where that stood right before the clause."""
    after: str | None = None
    """What stands right after its last number: ``talk``, ``stranger`` or ``pause``."""
    talked: bool = False
    tried: bool = False
    """A number followed after talk: it was not taken, but the item was being counted."""
    cut_off: bool = False
    """Talk followed the last number at once."""
    questions: list[Question] = field(default_factory=list)
    displaced: "Clause | None" = None
    """The count before, as long as it is not sure that this item ended it."""
    end: int = 0
    counted: tuple[int, tuple["Number", ...]] = (0, ())
    """The numbers among so many entries, kept because they are asked for at every step."""

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


def clause_numbers(scene: Scene, clause: Clause | None) -> tuple[Number, ...]:
    """The numbers of a clause in order. Totals are left out.

    A number never spans a pause or talk.
    """
    if clause is None:
        return ()
    if clause.counted[0] != len(clause.entries):
        clause.counted = len(clause.entries), tuple(_numbers(scene, clause))
    return clause.counted[1]


def _numbers(scene: Scene, clause: Clause) -> list[Number]:
    words: list[str | None] = []
    sources: list[tuple[int, Piece]] = []
    fixed: set[int] = set()
    for entry in clause.entries:
        if entry.kind == "run" and entry.label != "total":
            for position in range(entry.start, entry.end):
                words.append(scene.doc[position]._.number)
                sources.append((position, entry))
            # two runs with only fillers between them are two numbers
            words.append(None)
            sources.append((entry.end, entry))
        elif entry.kind == "pack":
            fixed.add(len(words))
            words.append(entry.label.split()[1])
            sources.append((entry.start, entry))
            words.append(None)
            sources.append((entry.end, entry))
        else:
            words.append(None)
            sources.append((entry.start, entry))
    found = []
    for value, start, end in split_run(words):
        first, piece = sources[start]
        if start in fixed:
            found.append(Number(value, piece.start, piece.end, piece))
        else:
            found.append(Number(value, first, sources[end - 1][0] + 1, piece))
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
