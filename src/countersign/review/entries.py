"""What an educator adds to an attempt: comments, marks, corrections and verdicts; never erased."""

from enum import StrEnum
from typing import Self

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

from countersign.tally.record import Role

LONGEST_TEXT = 500


class EntryKind(StrEnum):
    """What an entry is."""

    COMMENT = "comment"
    MARK = "mark"
    CORRECTION = "correction"
    POINT = "point"


class Verdict(StrEnum):
    """How an educator judges a point of the checklist."""

    MET = "met"
    PARTLY = "partly"
    NOT_MET = "not met"
    NOT_SEEN = "not seen"


class Entry(BaseModel):
    """One entry. A later verdict on a point, or correction of a line, stands for an earlier one.

    ``at_s`` is the place in the recording, where there is one. A correction says in ``item`` and
    ``quantity`` what was truly said in ``line``. A point carries the id of the checklist's point in
    ``point`` and a ``verdict``. ``entry`` is its number in the file, from 1.
    """

    model_config = ConfigDict(frozen=True)

    kind: EntryKind
    role: Role
    initials: str = Field(min_length=1, max_length=6)
    made_at: AwareDatetime
    at_s: float | None = Field(default=None, ge=0)
    line: int | None = Field(default=None, ge=1)
    text: str = Field(default="", max_length=LONGEST_TEXT)
    item: str = Field(default="", max_length=60)
    quantity: int | None = Field(default=None, ge=0, le=999)
    point: str = Field(default="", max_length=40)
    verdict: Verdict | None = None
    entry: int | None = None

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        match self.kind:
            case EntryKind.COMMENT if not self.text.strip():
                raise ValueError("a comment needs words")
            case EntryKind.MARK if self.at_s is None:
                raise ValueError("a mark needs a time")
            case EntryKind.CORRECTION if self.line is None or not (
                self.item.strip() or self.quantity is not None
            ):
                raise ValueError("a correction needs a line and an item or a number")
            case EntryKind.POINT if not self.point or self.verdict is None:
                raise ValueError("a verdict needs a point of the checklist")
        return self
