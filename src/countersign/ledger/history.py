"""What the ledger gives back: the history of a case, from which its record is rebuilt."""

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict

from countersign.kit.model import Kit
from countersign.meaning.event import Event
from countersign.policy.model import Policy
from countersign.tally.record import Decision, SignedException, StepDone

WRITTEN_WORDS = "written words"
"""The source of a case that was not heard but read."""


class Note(BaseModel):
    """Something kept beside events and decisions.

    ``listening_ended`` says that the source was heard to its end; ``duration_s`` is its length in
    seconds and ``model`` the name and version of the acoustic model. ``remark`` is free text.
    ``step_done`` keeps a ``step`` that someone did about a discrepancy, ``exception`` what two
    people signed, ``policy`` the facility's policy that holds from here on, whole.
    """

    model_config = ConfigDict(frozen=True)

    topic: Literal["listening_ended", "remark", "step_done", "exception", "policy"]
    text: str = ""
    duration_s: float | None = None
    model: str | None = None
    warnings: tuple[str, ...] = ()
    step: StepDone | None = None
    exception: SignedException | None = None
    policy: Policy | None = None


class CaseSummary(BaseModel):
    """One row of the list of cases. ``opened_at`` is UTC."""

    model_config = ConfigDict(frozen=True)

    case_id: str
    opened_at: datetime
    source: str
    kit_title: str
    events: int
    decisions: int


class CaseHistory(BaseModel):
    """Everything kept about one case, in the order it was written.

    ``source`` is the absolute path of the recording, or a word for what was heard instead
    (``microphone``, ``written words``). ``last_entry`` is the number of the newest entry, 0 if
    there is none.
    """

    model_config = ConfigDict(frozen=True)

    case_id: str
    opened_at: datetime
    source: str
    kit: Kit
    kit_hash: str
    events: tuple[Event, ...] = ()
    decisions: tuple[Decision, ...] = ()
    notes: tuple[Note, ...] = ()
    last_entry: int = 0

    @property
    def heard_to_the_end(self) -> bool:
        """Whether listening reached the end of the source before it stopped."""
        return any(note.topic == "listening_ended" for note in self.notes)

    @property
    def has_sound(self) -> bool:
        """Whether lines have times in a recording; those of written words only look like it."""
        return self.source != WRITTEN_WORDS

    @property
    def steps(self) -> tuple[StepDone, ...]:
        """The steps that people entered about discrepancies, in the order they were kept."""
        return tuple(note.step for note in self.notes if note.step is not None)

    @property
    def exceptions(self) -> tuple[SignedException, ...]:
        """The exceptions that people signed or withdrew, in the order they were kept."""
        return tuple(note.exception for note in self.notes if note.exception is not None)

    @property
    def policy(self) -> Policy | None:
        """The policy in force when the newest step was entered, ``None`` before any was."""
        kept = [note.policy for note in self.notes if note.policy is not None]
        return kept[-1] if kept else None
