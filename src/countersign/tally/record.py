"""The count record: what was heard, what was expected, what a person confirmed, what is open."""

from datetime import datetime
from decimal import Decimal
from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from countersign.meaning.event import Event, EventKind, Phase, Question, Verdict


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
    the amended values, ``None`` where they stay as heard. ``at`` is timezone-aware.
    """

    model_config = ConfigDict(frozen=True)

    line: int
    act: Act
    role: Role
    initials: str
    at: datetime
    item: str | None = None
    quantity: int | Decimal | None = None
    reason: str | None = None


class LineState(StrEnum):
    """Where a line stands. Only ``accepted`` and ``amended`` lines count as confirmed."""

    HEARD = "heard"
    ACCEPTED = "accepted"
    AMENDED = "amended"
    SET_ASIDE = "set_aside"
    STRUCK = "struck"


class Line(BaseModel):
    """One event as the record shows it.

    ``number`` counts events of the case from 1. ``phase`` is the phase the line falls in, said or
    carried on. ``acts_as``, ``item`` and ``quantity`` are what the line does to the record as
    heard: the event's own, except that a correction takes over from the line it strikes whatever
    it does not say itself (``acts_as`` is ``None`` where it only strikes). ``expected`` is the
    number that should be there for this item: for a count just before it, for an addition or
    removal just after it, ``None`` if unknown. ``questions`` are meaning's and the tally's
    together. ``struck_by`` is the number of the correcting line. ``confirmed_*`` is what a person
    confirmed, ``None`` until then; ``decision`` is the act in force, also where it could not take
    effect (the line is then still ``heard`` and a question says why).
    """

    model_config = ConfigDict(frozen=True)

    number: int
    event: Event
    phase: Phase | None = None
    acts_as: EventKind | None = None
    item: str | None = None
    quantity: int | Decimal | None = None
    expected: int | None = None
    state: LineState = LineState.HEARD
    questions: tuple[Question, ...] = ()
    struck_by: int | None = None
    confirmed_item: str | None = None
    confirmed_quantity: int | Decimal | None = None
    decision: Decision | None = None

    @property
    def is_open(self) -> bool:
        """Whether a person still has to act on this line."""
        return self.state is LineState.HEARD


class Total(BaseModel):
    """One item's numbers: each side is initial count plus additions less documented removals.

    ``*_expected`` starts from the kit's number until the item is counted initially. ``heard_*``
    come from what was heard and is neither struck nor set aside, ``confirmed_*`` only from lines a
    person confirmed (``None`` until there is one). ``*_last`` is the latest count of the item,
    ``None`` if there was none. Only items that some line names have a total.
    """

    model_config = ConfigDict(frozen=True)

    item: str
    heard_expected: int | None = None
    heard_last: int | None = None
    confirmed_expected: int | None = None
    confirmed_last: int | None = None


class CountRecord(BaseModel):
    """The record of one case. ``verdict`` is the confirmed one, ``None`` until a person confirms.

    ``heard_verdict`` is what was said. ``questions`` are about the record as a whole, not one line.
    ``open_questions`` counts these and the questions on lines that nobody has acted on;
    ``confirmed`` is true only when every line was acted on and no question is open.
    """

    model_config = ConfigDict(frozen=True)

    lines: tuple[Line, ...] = ()
    totals: tuple[Total, ...] = ()
    questions: tuple[Question, ...] = ()
    heard_verdict: Verdict | None = None
    verdict: Verdict | None = None
    open_questions: int = 0
    confirmed: bool = False
