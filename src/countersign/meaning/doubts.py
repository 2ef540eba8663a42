"""Questions from the other ways in which the same sound can be read."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise

from countersign.hearing.utterance import TALK, Alternative, Utterance, Word
from countersign.kit.model import Kit
from countersign.meaning.agreement import GRAMMAR_SHARE, Reading, outvoted, settled
from countersign.meaning.event import Event, EventKind, Question, QuestionCode, Verdict
from countersign.meaning.numbers import teen_or_ten
from countersign.meaning.questions import ask
from countersign.number_words import spell

_COUNTED = frozenset(
    {
        EventKind.COUNT,
        EventKind.ADDITION,
        EventKind.REMOVAL,
        EventKind.BREAKAGE,
        EventKind.CORRECTION,
        EventKind.SET_UP,
        EventKind.DRAW,
        EventKind.RECEIPT,
        EventKind.LABEL,
    }
)


_STEERING = frozenset({EventKind.PHASE, EventKind.VERDICT})

VERDICT_SHARE = 0.02
"""The same for "correct", the verdict that ends a count."""

SURE_CUE = 0.9
"""A verb heard with this confidence is not asked about because the open decoding lacks it."""

MISSING_SHARE = 0.5
"""From this share of its posterior on, an open decoding that lacks a number of a sequence and has
its neighbours raises a question. To be tuned on recordings."""

NEXT_NUMBER_SHARE = 0.02
"""From this share on, another reading of talk right after a count that gives the count's next
number raises a question. To be tuned on recordings."""

NO_ROOM_S = 0.25
"""Between words that are no further apart no other word was said (to be tuned on recordings)."""

_VERBLESS = {
    EventKind.ADDITION: EventKind.COUNT,
    EventKind.REMOVAL: EventKind.COUNT,
    EventKind.CORRECTION: EventKind.COUNT,
    EventKind.SET_UP: EventKind.COUNT,
    EventKind.DRAW: EventKind.RECEIPT,
    EventKind.LABEL: EventKind.RECEIPT,
}
"""What the words of an event amount to without the verb that gave it its kind."""


@dataclass(frozen=True)
class Cue:
    """A cue phrase that was heard: when (seconds), and its weakest word's confidence (0..1)."""

    start_s: float
    end_s: float
    confidence: float


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


def _lacks_only_verb(event: Event, other: Event, cues: Sequence[Cue]) -> bool:
    """Whether the other reading differs only by a verb that was heard surely in this one."""
    if (event.item, event.quantity) != (other.item, other.quantity):
        return False
    if _VERBLESS.get(event.kind) is not other.kind:
        return False
    own = [c for c in cues if c.end_s >= event.start_s and c.start_s <= event.end_s]
    return bool(own) and min(cue.confidence for cue in own) >= SURE_CUE


def _only_moves_talk(utterance: Utterance, alternative: Alternative) -> bool:
    """Whether another reading has the same words, with talk elsewhere than where there is room.

    Where words stand apart, talk between them may be a word that was missed. "Needle" and
    "needles" are the same word here: with the "s" as talk it is said no differently.
    """
    words = [w for w in utterance.words if w.text != TALK]
    if _stems(alternative.words) != _stems(words):
        return False
    return all(b.start_s - a.end_s <= NO_ROOM_S for a, b in pairwise(utterance.words))


def _stems(words: Sequence[Word]) -> list[str]:
    return [word.text.removesuffix("s") for word in words if word.text != TALK]


def _says_number(event: Event, alternative: Alternative) -> bool:
    """Whether another reading has the number too, though not as one: its unit was lost."""
    if event.quantity is None or event.quantity != int(event.quantity) or event.unit == "each":
        return False
    inside = " ".join(
        word.text
        for word in alternative.words
        if word.start_s < event.end_s and word.end_s > event.start_s
    )
    return f" {spell(int(event.quantity)).replace('-', ' ')} " in f" {inside} "


def _number_missing(
    event: Event, other: Event, alternative: Alternative
) -> list[tuple[bool, Question]]:
    """A number of an unbroken sequence that the open decoding passed over.

    The grammar decoding knows the counting order and may fill in a number nobody said.
    """
    if alternative.origin != "open" or alternative.confidence < MISSING_SHARE:
        return []
    if (event.item, event.quantity) != (other.item, other.quantity):
        return []
    first, second = event.sequence, other.sequence
    if len(second) < 2 or first != tuple(range(first[0], first[-1] + 1) if first else ()):
        return []
    missing = [n for n in first if n not in second and second[0] < n < second[-1]]
    if not missing or [n for n in first if n not in missing] != list(second):
        return []
    return [(False, q) for q in other.questions if q.code is QuestionCode.NUMBER_SKIPPED]


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
    "diluent": "diluent",
    "diluent_volume_ml": "volume of the diluent",
    "expiry": "expiry",
    "expiry_time": "time of expiry",
    "lot": "lot",
    "container": "container",
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
    cues: Sequence[Cue] = (),
) -> list[Doubt]:
    """The doubts that the alternatives of an utterance cast on the events heard in it.

    ``cues`` are the cue phrases of the reading that the events were heard in.
    """
    doubts: list[Doubt] = []
    alike = [Reading(a) for a, _ in others if _only_moves_talk(utterance, a)]
    others = [(a, events) for a, events in others if not _only_moves_talk(utterance, a)]
    for event in heard:
        if event.kind in _STEERING:
            doubts += _about_steering(event, others, alike)
            continue
        if event.kind not in _COUNTED:
            continue
        if event.end_s < utterance.start_s:
            doubts += _may_go_on(event, others)
            continue
        readings, asked = list(alike), list[tuple[bool, Question]]()
        for alternative, events in others:
            if alternative.origin == "grammar" and alternative.confidence < GRAMMAR_SHARE:
                continue
            other = _counterpart(event, alternative, events)
            lacks_verb = (
                other is not None
                and alternative.origin == "open"
                and _lacks_only_verb(event, other, cues)
            )
            if other is not None and lacks_verb:
                other = other.model_copy(update={"kind": event.kind})
            found = compare(event, other, kit)
            if other is not None:
                found += _number_missing(event, other, alternative)
            other_item = other is None or other.item != event.item
            readings.append(Reading(alternative, bool(found) or lacks_verb, other_item))
            asked += found
        # a line that has no number and may have one is asked about however sure the second is
        lacks_number = event.quantity is None and any(about_number for about_number, _ in asked)
        if outvoted(readings) and not lacks_number:
            continue
        doubts += [
            _doubt(event, question, about_number=about_number) for about_number, question in asked
        ]
    return doubts


def _counterpart(event: Event, alternative: Alternative, events: Sequence[Event]) -> Event | None:
    """What another reading with ``events`` takes an event for, as far as it is to be weighed."""
    near = [e for e in events if e.kind in _COUNTED and _overlap(event, e) > 0]
    if not near:
        return None
    other = max(
        near,
        key=lambda e: (_overlap(event, e), e.item == event.item, e.quantity == event.quantity),
    )
    same = [e for e in near if (e.item, e.quantity) == (event.item, event.quantity)]
    chosen = same[0] if same else other
    if settled(event, chosen):
        update = {"quantity": event.quantity, "kind": event.kind}
        chosen = chosen.model_copy(update=update)
    if chosen.quantity is None and _says_number(event, alternative):
        chosen = chosen.model_copy(update={"quantity": event.quantity})
    return chosen


def _about_steering(
    event: Event,
    others: Sequence[tuple[Alternative, Sequence[Event]]],
    alike: Sequence[Reading],
) -> list[Doubt]:
    """Doubts about a phase or verdict that other readings take for another, or for none.

    ``alike`` are the readings with the same words.
    """
    correct = event.verdict is Verdict.CORRECT
    share = VERDICT_SHARE if correct else GRAMMAR_SHARE
    readings, doubts = [], []
    for alternative, events in others:
        if alternative.origin == "grammar" and alternative.confidence < share:
            continue
        near = [e for e in events if e.kind is event.kind and _overlap(event, e) > 0]
        same = any(
            (e.phase, e.verdict, e.group, e.item)
            == (event.phase, event.verdict, event.group, event.item)
            for e in near
        )
        readings.append(Reading(alternative, differs=not same))
        if same:
            continue
        if near:
            names = _steers(event), _steers(max(near, key=lambda e: _overlap(event, e)))
            question = _either(QuestionCode.OTHER_READING, *names)
        else:
            sentence = f"Another reading of this sound does not have {_steers(event)}."
            question = ask(QuestionCode.LOW_CONFIDENCE, sentence)
        doubts.append(_doubt(event, question, about_number=False))
    # "correct" ends a count: it may have been "not correct"
    return doubts if correct or not outvoted([*alike, *readings]) else []


def _steers(event: Event) -> str:
    name = (event.verdict or event.phase or "").replace("_", " ")
    group = event.group.replace("_", " ") if event.group else "everything"
    return f"“{name}” for {group}"


def _may_go_on(event: Event, others: Sequence[tuple[Alternative, Sequence[Event]]]) -> list[Doubt]:
    """Doubts about a count that was heard before, where talk after it could be its next number."""
    counted = event.sequence or (event.quantity,)
    doubts = []
    for alternative, events in others:
        if alternative.confidence < NEXT_NUMBER_SHARE:
            continue
        for other in events:
            same = (event.kind, event.item, event.start_s) == (
                other.kind,
                other.item,
                other.start_s,
            )
            if same and other.sequence[:-1] == counted and event.quantity == other.sequence[-1] - 1:
                code = QuestionCode.OTHER_READING
                question = _either(code, _number(event.quantity), _number(other.quantity))
                doubts.append(_doubt(event, question, about_number=True))
    return doubts


def _next(event: Event) -> int | Decimal:
    return (event.quantity or 0) + 1


def _doubt(event: Event, question: Question, *, about_number: bool) -> Doubt:
    return Doubt(
        question,
        event.start_s,
        event.end_s,
        event.kind,
        event.item,
        event.quantity,
        about_number,
    )


def attach(event: Event, doubts: Sequence[Doubt]) -> Event:
    """The event with the doubts about its sound that later numbers have not settled."""
    asked = list(event.questions)
    for doubt in doubts:
        if event.kind not in _COUNTED and (event.kind not in _STEERING or doubt.kind != event.kind):
            continue
        if event.kind in _COUNTED and doubt.kind in _STEERING:
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
