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
from countersign.meaning.understand import OnOpen, understand

__all__ = [
    "Event",
    "EventKind",
    "MedicationDetail",
    "OnOpen",
    "Phase",
    "Question",
    "QuestionCode",
    "Spoken",
    "Strength",
    "Verdict",
    "understand",
]
