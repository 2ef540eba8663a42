"""Where a pass over a document stands, and looking around in it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from countersign.meaning.event import Event, EventKind, Phase, Question
from countersign.meaning.medication.read_back import with_latest
from countersign.meaning.pieces import Piece
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import Clause
from countersign.meaning.scene import Scene

if TYPE_CHECKING:
    from spacy.tokens import Doc

    from countersign.kit.model import Kit


REPEAT_S = 3.0
"""A second voice repeats within so many seconds (to be tuned on recordings)."""


@dataclass(frozen=True)
class Carried:
    """What a clause that stays open has from words that are not kept with it.

    The kind from a verb before another clause, the ``talk`` or ``stranger`` right before it,
    whether its item came with a phase, whether nothing but a little talk was heard with it, and
    questions that the words before it raised.
    """

    verb: EventKind | None = None
    talk: str | None = None
    soft: bool = False
    half: bool = False
    place: str | None = None
    questions: tuple[Question, ...] = ()
    strangers: int = 0
    """How many unknown words its utterance had before it."""
    named: bool = False
    """Whether a count, a group or an item was named right before it."""
    sorry: bool = False
    """Whether only a short word of talk stood before it, right after a line about an item."""


@dataclass(frozen=True)
class Read:
    """An event and whether more speech may still belong to it.

    ``carry_from`` is the position of the first token to keep if so. ``event`` is ``None`` for what
    is no event yet but may become one.
    """

    event: Event | None
    open: bool
    carry_from: int
    carried: Carried = Carried()


@dataclass(frozen=True)
class Before:
    """What was said before the document: the count under way and the item counted last.

    ``placed`` if that count had a place, ``talked`` if talk was heard after it.
    """

    phase: Phase | None = None
    item: str | None = None
    placed: bool = False
    talked: bool = False
    recounting: bool = False
    """Whether a count was said to be off, or a recount was asked for, and not settled since."""
    carried: Carried = Carried()
    medications: tuple[Event, ...] = ()
    """The last events about medications, as they stand."""
    after_medication: bool = False
    """Whether the last event was one about a medication."""
    set_up: str | None = None
    """The item that was set up last, if nothing but remarks came since."""
    set_up_asked: bool = False
    """Whether it may have been counted."""
    after_verdict: bool = False
    """Whether the last event was a verdict."""
    missing: str | None = None
    """The item that the last verdict said was missing."""
    struck: bool = False
    """Whether the last event struck the one before."""
    at_places: tuple[Event, ...] = ()
    """The counts of one item at places, in a row, up to the last event."""
    unnamed: Event | None = None
    """The last event, if it was a number of which the item was not heard."""

    @property
    def counting(self) -> bool:
        """Whether people are counting, so that little else is said."""
        return self.phase is not None or self.recounting


@dataclass
class Verb:
    """A verb that the next clauses stand under, where it begins, and what stood before it.

    ``question`` is asked about every clause under it.
    """

    kind: EventKind
    start: int
    before: str | None = None
    question: Question | None = None
    used: bool = False
    place: str | None = None


@dataclass(frozen=True)
class Astray:
    """A place that was said beside talk, so that it is not sure what lies there.

    ``leads`` if it begins an utterance that goes on after the talk: "on the Mayo <talk> laps two".
    ``pauses`` were heard since.
    """

    place: str
    heard: str
    start: int
    leads: bool = False
    pauses: int = 0


@dataclass
class State:
    """One pass over one document: what was found so far and what is being put together."""

    scene: Scene
    pieces: list[Piece]
    done: list[Read]
    clause: Clause | None = None
    """The count being put together."""
    carried: Carried | None = None
    """For the first clause."""
    verb: Verb | None = None
    doubt: Question | None = None
    """For the clause that begins next."""
    astray: Astray | None = None
    """For the clause that begins next in the same utterance or the one after."""
    breath_from: int = 0
    """Counts that begin at this token or after it take a verb that comes after them."""
    last_item: str | None = None
    talk_before: bool = False
    """Whether talk was heard between the count before and the document."""
    last_placed: bool = False
    """Whether the count before had a place."""
    before: Before = Before()
    medication_end: int = 0
    """Tokens before this one were taken by a medication."""
    taken: set[int] = field(default_factory=set)
    """Tokens of numbers that stand in a line, or only repeat one."""
    waiting: set[int] = field(default_factory=set)
    """Tokens of numbers that may yet come to stand in one."""
    first_before: str | None = None
    """The ``talk`` or ``stranger`` right before the document, whose own words are not kept."""

    @property
    def medications(self) -> tuple[Event, ...]:
        """The last events about medications up to here, as they stand after corrections."""
        found = self.before.medications
        for reading in self.done:
            if reading.event is not None:
                found = with_latest(found, reading.event)
        return found

    @property
    def after_medication(self) -> bool:
        """Whether the last event was one about a medication."""
        events = [reading.event for reading in self.done if reading.event is not None]
        return events[-1].medication is not None if events else self.before.after_medication

    @property
    def doc(self) -> "Doc":
        """The document."""
        return self.scene.doc

    @property
    def kit(self) -> "Kit":
        """The kit."""
        return self.scene.kit


Rewrite = Callable[[State, int, int, bool], list[Piece]]
"""The pieces that stand for those of an utterance, from the first to the one after its last;
``True`` if it was said while people count."""


def rewrite_utterances(state: State, rewrite: Rewrite) -> None:
    """Put other pieces in the place of those of each utterance."""
    counting = state.scene.counting
    start = 0
    while start < len(state.pieces):
        end = start
        while not at_edge(state, end):
            end += 1
        labels = [piece.label for piece in state.pieces[start:end] if piece.kind == "cue"]
        counting = counting or begins_a_count(labels)
        new = rewrite(state, start, end, counting)
        state.pieces[start:end] = new
        counting = counting and ENDS_A_COUNT not in labels
        start += len(new) + 1


def begins_a_count(labels: Iterable[str]) -> bool:
    """Whether people count after these cues: no count is left that is off."""
    return any(label.startswith(_BEGINS_A_COUNT) for label in labels)


ENDS_A_COUNT = "VERDICT correct"
_BEGINS_A_COUNT = ("PHASE", "ALONE", "VERDICT recount", "VERDICT not_correct")


def piece_at(state: State, index: int) -> Piece | None:
    """The piece at an index, ``None`` outside the document."""
    return state.pieces[index] if 0 <= index < len(state.pieces) else None


def kind_at(state: State, index: int) -> str:
    """The kind of the piece at an index, ``end`` outside the document."""
    piece = piece_at(state, index)
    return piece.kind if piece is not None else "end"


def at_edge(state: State, index: int) -> bool:
    """Whether an utterance ends or begins at an index: a pause stands there, or nothing."""
    return kind_at(state, index) in ("end", "pause")


def is_alone(state: State, index: int) -> bool:
    """Whether the piece at an index is all of its utterance."""
    return at_edge(state, index - 1) and at_edge(state, index + 1)


def cue_at(state: State, index: int, *names: str) -> bool:
    """Whether a cue stands at an index whose label begins with one of the names."""
    piece = piece_at(state, index)
    return piece is not None and piece.kind == "cue" and piece.label.startswith(names)


def talk_before(state: State, index: int) -> str | None:
    """What stands directly before a piece in the same utterance, if it is talk."""
    if index == 0:
        return state.first_before
    kind = kind_at(state, index - 1)
    return kind if kind in ("talk", "stranger") else None


def item_before(state: State, start: int) -> str | None:
    """The item that was named last before a token, ``None`` where talk, a medication, a new count
    or a verdict stands between.
    """
    for piece in reversed(state.pieces):
        if piece.start >= start:
            continue
        if piece.kind == "item":
            return piece.label
        between = piece.kind in ("talk", "stranger", "medication", "group")
        if between or (piece.kind == "cue" and piece.label.startswith(_ENDS_AN_ITEM)):
            return None
    return None if state.before.talked else state.before.item


_ENDS_AN_ITEM = ("PHASE", "ALONE", "VERDICT", "QUERY", "RECEIPT", "LABEL", "DRAW", "PARTLY")
"""Cues after which a number is no longer of the item that was counted before."""


def no_item_named(state: State, item: str) -> Question:
    """What to ask where a line takes the item of the line before it."""
    return doubt(f"No item was named here; {state.kit.item(item).label} was taken.")


def counts_go_on(state: State) -> bool:
    """Whether the last thing said before, remarks aside, was the number of some item, or may have
    been: a set-up that asks.
    """
    for event in reversed(events_of(state)):
        if event.kind is EventKind.SET_UP:
            return bool(event.questions)
        if event.kind is not EventKind.REMARK:
            return event.item is not None and event.kind in OF_AN_ITEM
    return state.before.item is not None or state.before.set_up_asked


OF_AN_ITEM = frozenset(
    {
        EventKind.COUNT,
        EventKind.ADDITION,
        EventKind.REMOVAL,
        EventKind.BREAKAGE,
        EventKind.CORRECTION,
    }
)
"""What says a number of an item, and what "no, two" can be about."""


def events_of(state: State) -> list[Event]:
    """The events that are done, in order."""
    return [reading.event for reading in state.done if reading.event is not None]


def insert(state: State, found: Read) -> None:
    """Put an event among the others by where its words begin."""
    at = next(
        (n for n, other in enumerate(state.done) if other.carry_from > found.carry_from),
        len(state.done),
    )
    state.done.insert(at, found)
