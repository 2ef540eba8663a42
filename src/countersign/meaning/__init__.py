"""The meaning room: words in, events out."""

from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Question,
    QuestionCode,
    Spoken,
    Strength,
    Verdict,
)
from countersign.meaning.understand import understand

__all__ = [
    "Event",
    "EventKind",
    "MedicationDetail",
    "Phase",
    "Question",
    "QuestionCode",
    "Spoken",
    "Strength",
    "Verdict",
    "understand",
]
