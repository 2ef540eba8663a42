"""Questions from the other ways in which the same sound can be read."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from countersign.hearing.utterance import Alternative, Utterance
from countersign.kit.model import Kit
from countersign.meaning.event import Event, EventKind, Question, QuestionCode
from countersign.meaning.numbers import spell, teen_or_ten
from countersign.meaning.sequence import ask

GRAMMAR_SHARE = 0.05
"""A lower-ranked path of the grammar decoding counts from this share of the posterior on. The open
decoding is independent evidence and counts whatever its share. Tuned on recordings."""

_COUNTED = frozenset(
    {
        EventKind.COUNT,
        EventKind.ADDITION,
        EventKind.REMOVAL,
        EventKind.CORRECTION,
        EventKind.SET_UP,
        EventKind.DRAW,
        EventKind.RECEIPT,
        EventKind.LABEL,
    }
)


@dataclass(frozen=True)
class Doubt:
    """A question about a stretch of sound.

    ``quantity`` is what had been counted there when the doubt arose: a doubt about "three" is
    settled once "four" follows.
    """

    question: Question
    start_s: float
    end_s: float
    kind: EventKind
    item: str | None
    quantity: int | Decimal | None
    about_number: bool = False


def _overlap(event: Event, other: Event) -> float:
    """Seconds in common; written words have no length and share their line."""
    shared = min(event.end_s, other.end_s) - max(event.start_s, other.start_s)
    return shared if shared > 0 else (1e-6 if shared == 0 else 0.0)


def _number(value: int | Decimal | None) -> str:
    if value is None:
        return "no number"
    if value == int(value):
        return spell(int(value))
    return str(value)


def _name(kit: Kit, item: str | None) -> str:
    if item is None:
        return "no item"
    labels = {entry.id: entry.label for entry in kit.medications}
    labels |= {entry.id: entry.label for entry in kit.items}
    return labels.get(item, item)


def compare(heard: Event, other: Event | None, kit: Kit) -> list[tuple[bool, Question]]:
    """What to ask about an event when another reading of its sound gives ``other``.

    Each question comes with whether it is only about the number.
    """
    if other is None:
        what = _name(kit, heard.item) if heard.item else _number(heard.quantity)
        sentence = f"Another reading of this sound has nothing about {what}."
        return [(False, ask(QuestionCode.LOW_CONFIDENCE, sentence))]
    asked: list[tuple[bool, Question]] = []
    first, second = heard.quantity, other.quantity
    if first != second:
        alike = first is not None and second is not None and teen_or_ten(first, second)
        code = QuestionCode.TEEN_OR_TEN if alike else QuestionCode.OTHER_READING
        asked.append((True, _either(code, _number(first), _number(second))))
    if heard.item != other.item:
        names = _name(kit, heard.item), _name(kit, other.item)
        asked.append((False, _either(QuestionCode.OTHER_READING, *names)))
    if heard.kind != other.kind:
        kinds = f"as {_kind(heard.kind)}", _kind(other.kind)
        asked.append((False, _either(QuestionCode.OTHER_READING, *kinds)))
    if heard.medication is not None and other.medication is not None:
        for field, name in _DETAILS.items():
            if getattr(heard.medication, field) != getattr(other.medication, field):
                sentence = f"The {name} could be heard in two ways."
                asked.append((False, ask(QuestionCode.OTHER_READING, sentence)))
    return asked


_DETAILS = {
    "strength": "strength",
    "additive": "additive",
    "additive_strength": "strength of the additive",
    "expiry": "expiry",
    "lot": "lot",
}


def _either(code: QuestionCode, heard: str, other: str) -> Question:
    return ask(code, f"Heard {heard}; it could be {other}.")


def _kind(kind: EventKind) -> str:
    name = kind.value.replace("_", "-")
    return f"an {name}" if name[0] in "aeiou" else f"a {name}"


def doubts_of(
    heard: Sequence[Event],
    others: Sequence[tuple[Alternative, Sequence[Event]]],
    utterance: Utterance,
    kit: Kit,
) -> list[Doubt]:
    """The doubts that the alternatives of an utterance cast on the events heard in it."""
    doubts: list[Doubt] = []
    for event in heard:
        if event.kind not in _COUNTED or event.end_s < utterance.start_s:
            continue
        for alternative, events in others:
            if alternative.origin == "grammar" and alternative.confidence < GRAMMAR_SHARE:
                continue
            near = [e for e in events if e.kind in _COUNTED and _overlap(event, e) > 0]
            if near:
                other = max(
                    near,
                    key=lambda e: (
                        _overlap(event, e),
                        e.item == event.item,
                        e.quantity == event.quantity,
                    ),
                )
                same = [e for e in near if (e.item, e.quantity) == (event.item, event.quantity)]
                asked = compare(event, same[0] if same else other, kit)
            else:
                asked = compare(event, None, kit)
            doubts += [
                Doubt(
                    question,
                    event.start_s,
                    event.end_s,
                    event.kind,
                    event.item,
                    event.quantity,
                    about_number,
                )
                for about_number, question in asked
            ]
    return doubts


def attach(event: Event, doubts: Sequence[Doubt]) -> Event:
    """The event with the doubts about its sound that later numbers have not settled."""
    asked = list(event.questions)
    for doubt in doubts:
        if event.kind not in _COUNTED:
            continue
        apart = doubt.end_s < event.start_s or doubt.start_s > event.end_s
        if apart or (doubt.item is not None and doubt.item != event.item):
            continue
        settled = (
            doubt.quantity is not None
            and event.quantity != doubt.quantity
            and isinstance(doubt.quantity, int)
            and doubt.quantity + 1 in event.sequence
        )
        if settled and doubt.about_number and not event.questions:
            continue
        asked.append(doubt.question)
    unique = tuple({(q.code, q.sentence): q for q in asked}.values())
    if unique == event.questions:
        return event
    return event.model_copy(update={"questions": unique})


def drop_stale(doubts: Sequence[Doubt], start_s: float) -> list[Doubt]:
    """The doubts that reach into what is still being said."""
    return [doubt for doubt in doubts if doubt.end_s >= start_s]
