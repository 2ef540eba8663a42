"""Lines that only another reading of the same sound has.

The best reading of "seven needles" may be "seventy" and talk, which is no line. Where another
reading has a whole line and the best one only a number that went into none, a person is asked.
"""

from collections.abc import Sequence

from countersign.hearing.utterance import TALK, Alternative, Utterance
from countersign.meaning.agreement import meet
from countersign.meaning.event import Event, EventKind, QuestionCode
from countersign.meaning.numbers import is_number_word
from countersign.meaning.questions import ask

MISSED_SHARE = 0.1
"""A lower-ranked path of the grammar decoding counts from this share of the posterior on."""

EDGE_S = 0.3
"""Readings begin and end together where their edges are no further apart."""

SHORT_S = 1.2
"""An utterance of the count that was heard as nothing but talk is no longer than this: talk that
others hear as a line ("eighty kilos", "eighty kellys") is mostly longer."""

_WHOLE = frozenset(
    {EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL, EventKind.CORRECTION, EventKind.DRAW}
)


def missed_lines(
    heard: Sequence[Event],
    others: Sequence[tuple[Alternative, Sequence[Event]]],
    utterance: Utterance,
    *,
    counting: bool = False,
) -> list[Event]:
    """The lines with item and number of other readings, where the best reading has no event.

    Each carries a question. Of readings that have a line in the same place the surest gives it. An
    utterance that is nothing but talk stays talk, unless it is a short one while a count goes on
    (``counting``). A receipt needs a volume, and "strike that" nothing but its words.
    """
    talk = all(word.text == TALK for word in utterance.words)
    length_s = utterance.words[-1].end_s - utterance.words[0].start_s if utterance.words else 0.0
    if talk and not (counting and length_s <= SHORT_S):
        return []
    found: list[Event] = []
    for alternative, events in sorted(others, key=lambda other: -other[0].confidence):
        if alternative.origin == "grammar" and alternative.confidence < MISSED_SHARE:
            continue
        if not _explains(alternative, utterance):
            continue
        for event in events:
            if not _is_whole(event) or event.start_s < utterance.start_s:
                continue
            if any(meet(event, other) for other in (*heard, *found)):
                continue
            if not talk and not _instead(event, utterance):
                continue
            sentence = f"“{event.words}” was heard in one reading of this sound and not in another."
            question = ask(QuestionCode.LOW_CONFIDENCE, sentence)
            found.append(event.model_copy(update={"questions": (*event.questions, question)}))
    return found


def _is_whole(event: Event) -> bool:
    if event.kind is EventKind.RECEIPT:
        return event.medication is not None and event.medication.volume_ml is not None
    named = event.item is not None and event.quantity is not None
    return _is_strike(event) or (event.kind in _WHOLE and named)


def _is_strike(event: Event) -> bool:
    """Whether it only takes something back: "cancel that"."""
    said = (event.item, event.quantity, event.medication, event.verdict)
    return event.kind is EventKind.CORRECTION and said == (None, None, None, None)


def _explains(alternative: Alternative, utterance: Utterance) -> bool:
    """Whether the reading has words of counting from the beginning to the end, and no talk."""
    words = alternative.words
    if not words or any(word.text == TALK for word in words):
        return False
    return (
        words[0].start_s - utterance.start_s < EDGE_S and utterance.end_s - words[-1].end_s < EDGE_S
    )


def _instead(event: Event, utterance: Utterance) -> bool:
    """Whether the best reading has a number there: an item alone is often only talked about.

    Where "cancel that" was said, it has the first word of it.
    """
    there = [
        word.text
        for word in utterance.words
        if word.start_s < event.end_s and word.end_s > event.start_s
    ]
    if _is_strike(event):
        return there[:1] == event.words.lower().split()[:1]
    return any(is_number_word(word) for word in there)
