"""What people do: decisions on lines, steps of a search, and exceptions that two of them sign."""

from datetime import datetime
from enum import StrEnum
from typing import Literal, Self

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

from countersign.kit import Group
from countersign.meaning.event import Figure, MedicationDetail, Phase


class Act(StrEnum):
    """What a person does with a line."""

    ACCEPT = "accept"
    AMEND = "amend"
    SET_ASIDE = "set_aside"
    UNDO = "undo"


class Role(StrEnum):
    """Who acts."""

    SCRUB = "scrub"
    CIRCULATOR = "circulator"
    RELIEF = "relief"
    EDUCATOR = "educator"


class Decision(BaseModel):
    """One human act on one line. Undoing is another decision; nothing is erased.

    ``line`` is the number of the event in the case, counted from 1. ``item`` and ``quantity`` are
    the amended values, ``None`` where they stay as heard; so are ``place`` and ``part``, where an
    empty text means that the whole was counted. ``medication`` is all that a line about a
    medication says as amended, name and volume included, ``None`` where only these change or
    nothing. ``phase`` is the count that a line announced as amended, which every line after it then
    belongs to, and ``group`` the count group that it was announced for, an empty text for all of
    them. ``at`` is timezone-aware. ``entry`` is the number of the decision's entry in the ledger,
    ``None`` while it is not kept there.
    """

    model_config = ConfigDict(frozen=True)

    line: int
    act: Act
    role: Role
    initials: str
    at: datetime
    item: str | None = None
    quantity: int | Figure | None = None
    reason: str | None = None
    place: str | None = None
    part: str | None = None
    medication: MedicationDetail | None = None
    phase: Phase | None = None
    group: Group | Literal[""] | None = None
    entry: int | None = None


class StepDone(BaseModel):
    """One step of the search for what a count is missing or has over, done by a person.

    ``item`` and ``line`` name the discrepancy: its item, and the line of the count that opened it.
    ``step`` is the id that the facility's policy gives the step, ``text`` what the policy said at
    that moment. ``done`` is false where the entry takes an earlier one back. ``at`` is
    timezone-aware.
    """

    model_config = ConfigDict(frozen=True)

    item: str
    line: int
    step: str = Field(min_length=1)
    role: Role
    initials: str = Field(min_length=1)
    at: AwareDatetime
    text: str = ""
    remark: str | None = None
    done: bool = True


class SignedException(BaseModel):
    """Two people say, with a reason, that "correct" may stand although something is open.

    ``item``, ``line`` and ``difference`` name exactly what they signed for: the item, the line that
    opened it, and counted less expected (or, for what is packed or in pieces, how many). Anything
    else that comes up later is not covered. ``scrub`` and ``circulator`` are the initials of two
    different people. ``withdrawn`` takes an earlier exception back.
    """

    model_config = ConfigDict(frozen=True)

    item: str
    line: int
    difference: int
    reason: str
    scrub: str
    circulator: str
    at: AwareDatetime
    withdrawn: bool = False

    @model_validator(mode="after")
    def _two_people_and_a_reason(self) -> Self:
        if not self.reason.strip():
            raise ValueError("an exception needs a reason")
        names = [name.strip().upper() for name in (self.scrub, self.circulator)]
        if not all(names) or names[0] == names[1]:
            raise ValueError("an exception needs the initials of two different people")
        return self
