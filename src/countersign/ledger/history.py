"""What the ledger gives back: the history of a case, from which its record is rebuilt."""

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict

from countersign.kit.model import Kit
from countersign.meaning.event import Event
from countersign.policy.model import Policy
from countersign.tally.record import Decision, Role, SignedException, StepDone

WRITTEN_WORDS = "written words"
"""The source of a case that was not heard but read."""


class SoundFile(BaseModel):
    """A kept file by its name, its length in bytes and the SHA-256 of what was in it."""

    model_config = ConfigDict(frozen=True)

    name: str
    size_bytes: int
    sha256: str


class SoundAct(BaseModel):
    """What a person ordered about the kept sound of a case.

    ``hold`` keeps it from being deleted, ``release`` ends that, ``delete`` deleted ``files``.
    """

    model_config = ConfigDict(frozen=True)

    act: Literal["hold", "release", "delete"]
    role: Role
    initials: str
    at: datetime
    reason: str = ""
    files: tuple[SoundFile, ...] = ()


class Note(BaseModel):
    """Something kept beside events and decisions.

    ``listening_ended`` says that the source was heard to its end; ``duration_s`` is its length in
    seconds and ``model`` the name and version of the acoustic model. ``remark`` is free text.
    ``step_done`` keeps a ``step`` that someone did about a discrepancy, ``exception`` what two
    people signed, ``policy`` the facility's policy that holds from here on, whole, ``sound`` what
    became of the kept sound.
    """

    model_config = ConfigDict(frozen=True)

    topic: Literal["listening_ended", "remark", "step_done", "exception", "policy", "sound"]
    text: str = ""
    duration_s: float | None = None
    model: str | None = None
    warnings: tuple[str, ...] = ()
    step: StepDone | None = None
    exception: SignedException | None = None
    policy: Policy | None = None
    sound: SoundAct | None = None


class CaseSummary(BaseModel):
    """One row of the list of cases. ``opened_at`` is UTC; ``heard_to_the_end`` as in a history."""

    model_config = ConfigDict(frozen=True)

    case_id: str
    opened_at: datetime
    source: str
    kit_title: str
    events: int
    decisions: int
    heard_to_the_end: bool = False


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

    @property
    def sound_acts(self) -> tuple[SoundAct, ...]:
        """What people ordered about the kept sound, in the order they were kept."""
        return tuple(note.sound for note in self.notes if note.sound is not None)

    @property
    def sound_deleted(self) -> SoundAct | None:
        """Who deleted the kept sound and when, ``None`` while nobody did."""
        deleted = [act for act in self.sound_acts if act.act == "delete"]
        return deleted[-1] if deleted else None

    @property
    def sound_held(self) -> SoundAct | None:
        """Who keeps the sound from being deleted, ``None`` where nobody does."""
        acts = self.sound_acts
        return acts[-1] if acts and acts[-1].act == "hold" else None
