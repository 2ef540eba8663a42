"""Read-backs: a second voice says the label again, and it has to say the same."""

from collections.abc import Iterable, Sequence

from countersign.meaning.event import Event, EventKind, MedicationDetail, QuestionCode
from countersign.meaning.questions import ask

READ_BACK_S = 30.0
"""A second voice that says the same within this time reads it back (to be tuned on recordings)."""

_KEPT = 6
_COMPARED = {
    "name": "name",
    "strength": "strength",
    "additive": "additive",
    "additive_strength": "strength of the additive",
    "volume_ml": "volume",
    "diluent": "diluent",
    "diluent_volume_ml": "volume of the diluent",
    "expiry": "expiry",
    "expiry_time": "time of expiry",
    "lot": "lot",
    "container": "container",
}
_LABEL = ("name", "strength", "additive", "additive_strength", "volume_ml")
"""What a read-back may not leave out of what was said first."""


def with_latest(before: Sequence[Event], event: Event) -> tuple[Event, ...]:
    """The last events about medications with one more, as they stand after corrections."""
    detail = event.medication
    if detail is None:
        return tuple(before)
    if detail.read_back and (
        any(q.code is QuestionCode.READ_BACK_DISAGREES for q in event.questions)
        or any(_agree(event, each, _LABEL) for each in before)
    ):
        return tuple(before)
    if event.kind is EventKind.CORRECTION and before:
        own = {
            name: value
            for name in MedicationDetail.model_fields
            if (value := getattr(detail, name)) not in (None, False)
        }
        last = before[-1]
        standing = (last.medication or MedicationDetail()).model_copy(update=own)
        changed = last.model_copy(update={"medication": standing, "end_s": event.end_s})
        return (*before[:-1], changed)
    return (*before[-_KEPT:], event)


def compared(event: Event, before: Sequence[Event]) -> Event:
    """A read-back with its questions: whether it says the same as what it repeats."""
    detail = event.medication
    if detail is None:
        return event
    first = _repeated(detail, before)
    if first is None:
        sentence = "A read-back was heard, but nothing before it that it could repeat."
        return _asking(event, sentence)
    said = first.medication or MedicationDetail()
    differs = [
        label
        for name, label in _COMPARED.items()
        if getattr(detail, name) is not None and getattr(detail, name) != getattr(said, name)
    ]
    lacks = [
        _COMPARED[name]
        for name in _LABEL
        if getattr(detail, name) is None and getattr(said, name) is not None
    ]
    if differs:
        return _asking(event, f"The read-back says another {_listed(differs)} than was said first.")
    if lacks:
        return _asking(event, f"The read-back leaves out the {_listed(lacks)}.")
    kept = tuple(q for q in event.questions if q.code is not QuestionCode.EXPIRY_PAST)
    return event.model_copy(update={"questions": kept})


def said_again(event: Event, before: Sequence[Event]) -> bool:
    """Whether a receipt is the last one again, from another voice, within :data:`READ_BACK_S`."""
    if not before or event.kind is not EventKind.RECEIPT:
        return False
    last = before[-1]
    voices = {event.speaker, last.speaker}
    if last.kind is not EventKind.RECEIPT or None in voices or len(voices) < 2:
        return False
    if not 0 <= event.start_s - last.end_s <= READ_BACK_S:
        return False
    return _agree(last, event)


def received_before(event: Event, before: Sequence[Event]) -> bool:
    """Whether the same was received before, word for word."""
    return any(each.kind is EventKind.RECEIPT and _agree(each, event) for each in before)


def _two_receipts(
    event: Event, before: Sequence[Event]
) -> tuple[MedicationDetail, MedicationDetail] | None:
    """What the receipt right before said, which has a name, and what this one says."""
    if event.kind is not EventKind.RECEIPT or not before:
        return None
    last = before[-1]
    one, other = last.medication, event.medication
    if last.kind is not EventKind.RECEIPT or one is None or other is None or one.name is None:
        return None
    return one, other


def fuller_before(event: Event, before: Sequence[Event]) -> bool:
    """Whether the receipt right before says part of the same, or the same and more."""
    both = _two_receipts(event, before)
    if both is None or _agree(before[-1], event):
        return False
    one, other = both
    pairs = [(getattr(one, name), getattr(other, name)) for name in _COMPARED]
    return all(a == b for a, b in pairs if a is not None and b is not None) and (
        all(a is None for a, b in pairs if a != b) or all(b is None for a, b in pairs if a != b)
    )


def differs_before(event: Event, before: Sequence[Event]) -> str | None:
    """In what one thing a receipt differs from the one right before it, within
    :data:`READ_BACK_S`; ``None`` if that is not all.
    """
    both = _two_receipts(event, before)
    if both is None or not 0 <= event.start_s - before[-1].end_s <= READ_BACK_S:
        return None
    one, other = both
    if one.name != other.name:
        return None
    differs = [
        label
        for name, label in _COMPARED.items()
        if None not in (getattr(one, name), getattr(other, name))
        and getattr(one, name) != getattr(other, name)
    ]
    return differs[0] if len(differs) == 1 else None


def _agree(first: Event, second: Event, fields: Iterable[str] = _COMPARED) -> bool:
    one, other = first.medication, second.medication
    return (
        one is not None
        and other is not None
        and all(getattr(one, name) == getattr(other, name) for name in fields)
    )


def _repeated(detail: MedicationDetail, before: Sequence[Event]) -> Event | None:
    """The event that a read-back is about: the last of the same name, else the last."""
    named = [e for e in before if e.medication is not None and e.medication.name == detail.name]
    candidates = named or before
    return candidates[-1] if candidates else None


def _asking(event: Event, sentence: str) -> Event:
    question = ask(QuestionCode.READ_BACK_DISAGREES, sentence)
    return event.model_copy(update={"questions": (*event.questions, question)})


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
