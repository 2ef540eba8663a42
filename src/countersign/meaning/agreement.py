"""Where the readings of a sound differ in a word and agree on what was meant.

A word loses confidence to every reading that has another there, also to "milliliter" for
"milliliters". Where all of them come to the same event, its words are as sure as the surest of
their utterance: what is left to doubt is then the utterance as a whole.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from countersign.hearing.utterance import TALK, Alternative, Utterance
from countersign.meaning.event import Event, EventKind, QuestionCode
from countersign.meaning.numbers import teen_or_ten
from countersign.meaning.words import Token
from countersign.number_words import spell

SURE_SECOND = 0.7
"""From this share of its own readings on, the open decoding is sure. It is independent evidence:
it does not know the counting order. Chosen on half of the recordings of two models, held on the
other half: of wrong lines that it agreed with it was sure of one, and there the paths against it
had 0.42 (recordings of ``python -m tests.benchmarks.lines``)."""

RIVAL_SHARE = 0.3
"""Lower-ranked paths of the grammar with less than this together stand against no reading that the
open decoding is sure of as well, unless they name another item: of two that sound alike both
decodings may be sure."""

GRAMMAR_SHARE = 0.05
"""A lower-ranked path of the grammar decoding counts from this share of the posterior on. The open
decoding is independent evidence and counts whatever its share. Tuned on recordings."""

_CONTENT = (
    "kind", "item", "quantity", "unit", "phase", "group", "verdict", "spoken", "sequence",
    "medication", "place", "part",
)  # fmt: skip


@dataclass(frozen=True)
class Reading:
    """Another reading held against an event: whether it comes to something else, and whether it has
    another item there, or none.
    """

    alternative: Alternative
    differs: bool = False
    other_item: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it is of the open decoding."""
        return self.alternative.origin == "open"


def outvoted(readings: Sequence[Reading]) -> bool:
    """Whether the readings that differ are only lower-ranked ones of the grammar, and too weak."""
    second = [r for r in readings if r.is_open and r.alternative.confidence >= SURE_SECOND]
    if not second or any(r.differs if r.is_open else r.other_item for r in readings):
        return False
    return _against(readings) < RIVAL_SHARE


def _against(readings: Sequence[Reading]) -> float:
    return sum(r.alternative.confidence for r in readings if r.differs and not r.is_open)


def as_sure_as_meant(
    heard: Sequence[Token],
    utterance: Utterance,
    events: Sequence[Event],
    others: Sequence[tuple[Alternative, Sequence[Event]]],
) -> tuple[Token, ...]:
    """The tokens, those of ``utterance`` as sure as what they mean.

    ``events`` are those of the tokens, ``others`` the other readings with the events of each.
    """
    surest = max((w.confidence for w in utterance.words if w.text != TALK), default=0.0)
    agreed = [event for event in events if _agreed(event, others)]
    return tuple(
        replace(token, confidence=surest)
        if token.text != TALK
        and token.start_s >= utterance.start_s
        and token.confidence < surest
        and any(token.start_s < each.end_s and token.end_s > each.start_s for each in agreed)
        else token
        for token in heard
    )


def _agreed(event: Event, others: Sequence[tuple[Alternative, Sequence[Event]]]) -> bool:
    """Whether the readings come to the same event, of which the open one must be among them."""
    if event.kind is EventKind.REMARK:
        return False
    readings = [_held(event, alternative, events) for alternative, events in others]
    if outvoted(readings):
        return True
    second = [reading for reading in readings if reading.is_open]
    return (
        bool(second) and not any(r.differs for r in second) and _against(readings) < GRAMMAR_SHARE
    )


def _held(event: Event, alternative: Alternative, events: Sequence[Event]) -> Reading:
    there = [other for other in events if meet(event, other)]
    return Reading(
        alternative,
        differs=not any(_same(event, other) for other in there),
        other_item=all(other.item != event.item for other in there),
    )


def meet(event: Event, other: Event) -> bool:
    """Whether two events are of the same sound, at least in part."""
    return event.start_s < other.end_s and other.start_s < event.end_s


def _same(event: Event, other: Event) -> bool:
    """Whether two readings of a sound come to the same event and to no more to ask about."""
    if (event.kind, event.item) == (other.kind, other.item) and settled(event, other):
        return True
    if any(getattr(event, name) != getattr(other, name) for name in _CONTENT):
        return False
    asked = {question.code for question in event.questions} | {QuestionCode.LOW_CONFIDENCE}
    return asked >= {question.code for question in other.questions}


def settled(event: Event, other: Event) -> bool:
    """Whether the count itself decides against another reading of its number."""
    return _settled_by_order(event, other) or _settled_by_total(event, other)


def _settled_by_order(event: Event, other: Event) -> bool:
    """Whether the counting order decides between two last numbers: "twelve thirteen", "thirty"."""
    first, second = event.sequence, other.sequence
    if len(first) < 3 or first != tuple(range(1, len(first) + 1)) or first[:-1] != second[:-1]:
        return False
    return teen_or_ten(first[-1], second[-1])


_TOTALS = frozenset({"total", "makes", "that's", "equals", "all", "altogether"})


def _settled_by_total(event: Event, other: Event) -> bool:
    """Whether a count that its closing total agrees with stands against a reading that is askew."""
    first = event.sequence
    if len(first) < 2 or first != tuple(range(1, len(first) + 1)) or event.questions:
        return False
    last, words = spell(first[-1]).replace("-", " "), event.words.lower()
    twice = words.endswith(f" {last}") and f" {last} " in words
    return twice and bool(_TOTALS.intersection(words.split())) and bool(other.questions)
