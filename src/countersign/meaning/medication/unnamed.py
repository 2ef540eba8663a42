"""A medication whose name was not heard: its strength, volume or expiry must not vanish."""

from collections.abc import Sequence
from datetime import date

from countersign.hearing.utterance import TALK, Utterance
from countersign.meaning.event import Event, EventKind, Question, QuestionCode
from countersign.meaning.medication.detail import read_medication


def unnamed_receipt(utterance: Utterance, events: Sequence[Event], today: date) -> Event | None:
    """A receipt, label or draw that asks which medication was meant, ``None`` where there is no
    need of one.

    One amount alone is common in other talk ("two percent milk"); an expiry, a strength in a
    volume or together with one, or an amount after "label" or "drawing" is not.
    """
    if any(e.medication is not None and e.end_s >= utterance.start_s for e in events):
        return None
    words = [word.text for word in utterance.words]
    said = read_medication(words, {}, today)
    detail = said.detail
    expires = detail.expiry is not None or detail.expiry_time is not None
    of_a_lot = detail.lot is not None and detail.volume_ml is not None
    kind = _kind(words)
    amount = detail.strength is not None or detail.volume_ml is not None
    stands = expires or of_a_lot or (kind is not EventKind.RECEIPT and amount)
    in_volume = detail.strength is not None and detail.strength.unit in _IN_VOLUME
    both = detail.strength is not None and detail.volume_ml is not None
    if not (stands or in_volume or both):
        return None
    if expires and detail.strength is None and detail.volume_ml is None:
        sentence = "An expiry was heard, but not of which medication."
    else:
        sentence = "The amounts of a medication were heard, but not its name."
    spoken = [word for word in utterance.words if word.text != TALK]
    return Event(
        kind=kind,
        quantity=detail.volume_ml,
        unit="mL" if detail.volume_ml is not None else None,
        medication=detail,
        speaker=utterance.speaker,
        start_s=spoken[0].start_s,
        end_s=spoken[-1].end_s,
        words=utterance.text,
        confidence=min(word.confidence for word in spoken),
        questions=(Question(code=QuestionCode.NO_ITEM, sentence=sentence), *said.questions),
    )


_IN_VOLUME = frozenset({"mg/mL", "ug/mL", "g/mL", "[U]/mL", "meq/mL"})
"""Strengths that are said of nothing but medications."""
_KINDS = {
    EventKind.LABEL: frozenset({"label", "labels", "labeled", "labeling", "labelled", "labelling"}),
    EventKind.DRAW: frozenset({"draw", "drawing", "drew", "drawn"}),
}


def _kind(words: Sequence[str]) -> EventKind:
    """What an utterance begins with, other talk left aside."""
    first = next((word.lower() for word in words if word != TALK), "")
    return next((kind for kind, said in _KINDS.items() if first in said), EventKind.RECEIPT)
