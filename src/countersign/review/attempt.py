"""One attempt: a recording of practice, what was heard in it, and how it was counted."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

HESITATION_S = 2.0
"""A pause between two numbers of one item that is longer than this is a hesitation. Our own choice:
people part sponges for a second or two between numbers (common practice, no source)."""

VERSION = 1
"""Attempts measured by an older version are measured again."""


class Gap(BaseModel):
    """A stretch of time in seconds from the start of the recording."""

    model_config = ConfigDict(frozen=True)

    start_s: float
    end_s: float

    @property
    def length_s(self) -> float:
        """How long it is."""
        return self.end_s - self.start_s


class Moment(BaseModel):
    """Something that happened at a time; ``line`` is the line it is about, if any."""

    model_config = ConfigDict(frozen=True)

    at_s: float
    text: str
    line: int | None = None


class Shown(BaseModel):
    """One line of the draft record as it is shown beside the sound."""

    model_config = ConfigDict(frozen=True)

    number: int
    start_s: float
    end_s: float
    text: str
    heard: str
    should_be: str
    words: str
    confidence: float
    questions: tuple[str, ...] = ()
    struck: bool = False


class Said(BaseModel):
    """A stretch of speech between two pauses."""

    model_config = ConfigDict(frozen=True)

    start_s: float
    end_s: float
    text: str


class Sequence(BaseModel):
    """One item as it was counted.

    ``numbers`` are those said one after the other, empty where only a total was said. ``pace`` is
    numbers per minute from the first to the last, ``None`` below three numbers. ``hesitations`` are
    pauses longer than :data:`HESITATION_S` between two numbers; ``interrupted`` says whether other
    talk came between them; ``clean`` whether the numbers raised no question.
    """

    model_config = ConfigDict(frozen=True)

    line: int
    item: str
    group: str | None
    quantity: int
    numbers: tuple[int, ...] = ()
    start_s: float
    end_s: float
    pace: float | None = None
    hesitations: tuple[Gap, ...] = ()
    restarted: bool = False
    interrupted: bool = False
    clean: bool = True


class MedicationHeard(BaseModel):
    """One medication or solution: whether its label and its expiry were read aloud."""

    model_config = ConfigDict(frozen=True)

    name: str
    label_complete: bool
    missing: tuple[str, ...] = ()
    expiry_read: bool = False


class Attempt(BaseModel):
    """A measured recording.

    ``attempt_id`` is the beginning of the SHA-256 of the recording; ``made_with`` names kit, model
    and version, by which a later run knows whether to measure again. ``peaks`` are the least and
    the greatest sample (-1..1) of equal stretches of the whole recording. Times are seconds from
    its start. ``out_of_order`` are the sentences of the tally about the order of groups and places.
    """

    model_config = ConfigDict(frozen=True)

    attempt_id: str
    name: str
    learner: str
    measured_at: datetime
    made_with: str
    kit_title: str
    duration_s: float
    warnings: tuple[str, ...] = ()
    peaks: tuple[tuple[float, float], ...] = ()
    said: tuple[Said, ...] = ()
    lines: tuple[Shown, ...] = ()
    sequences: tuple[Sequence, ...] = ()
    medications: tuple[MedicationHeard, ...] = ()
    out_of_order: tuple[Moment, ...] = ()
    verdict: str | None = None

    @property
    def pace(self) -> float | None:
        """Numbers per minute over all sequences that have a pace, each as long as it was."""
        timed = [each for each in self.sequences if each.pace is not None]
        steps = sum(len(each.numbers) - 1 for each in timed)
        minutes = sum((len(each.numbers) - 1) / (each.pace or 1) for each in timed)
        return round(steps / minutes, 1) if minutes else None

    @property
    def hesitations(self) -> int:
        """How often somebody stopped between two numbers."""
        return sum(len(each.hesitations) for each in self.sequences)

    @property
    def restarts(self) -> int:
        """How many items were counted from the start again."""
        return sum(each.restarted for each in self.sequences)

    @property
    def slips(self) -> int:
        """How many counts had a number out of turn, and how often the order was left, as heard."""
        return sum(not each.clean for each in self.sequences) + len(self.out_of_order)

    @property
    def asked(self) -> int:
        """How many lines raised a question."""
        return sum(bool(line.questions) for line in self.lines)
