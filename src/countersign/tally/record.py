"""The count record: what was heard, what was expected, what a person confirmed, what is open."""

from decimal import Decimal
from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Question,
    Verdict,
)
from countersign.medication.values import MedicationAccount
from countersign.tally.acts import Act, Decision, Role, SignedException, StepDone
from countersign.tally.findings import (
    Broken,
    Discrepancy,
    Notice,
    NoticeCode,
    Packed,
    PhaseCount,
)

__all__ = [
    "Act",
    "Broken",
    "CountRecord",
    "CountedAt",
    "Decision",
    "Discrepancy",
    "Line",
    "LineState",
    "Notice",
    "NoticeCode",
    "Packed",
    "PhaseCount",
    "Role",
    "SignedException",
    "StepDone",
    "Total",
]


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
    carried on, as amended where a person amended the line that announced it. ``group`` is the
    event's, or as a person amended what a count was announced for (``None`` for all groups).
    ``acts_as``, ``item``, ``quantity``, ``place`` and ``part`` are what the line does to the record
    as heard: the event's own, except that a correction takes over from the line it strikes whatever
    it does not say itself (``acts_as`` is ``None`` where it only strikes).
    ``expected`` is the number that should be there for this item: for a count just before it, for
    an addition, removal or breakage just after it, ``None`` if unknown. ``questions`` are meaning's
    and the tally's together. ``struck_by`` is the number of the correcting line. ``waits`` marks a
    pack or bag that is set aside whole, outside every total, until a person decides.
    ``medication`` is all that a line about a medication says as best known, with what a correction
    takes over and what a person amended; its name and volume are also item and quantity.
    ``confirmed_*`` is what a person confirmed, ``None`` until then; ``decision`` is the act in
    force, also where it could not take effect (the line is then still ``heard`` and a question says
    why).
    """

    model_config = ConfigDict(frozen=True)

    number: int
    event: Event
    phase: Phase | None = None
    group: str | None = None
    acts_as: EventKind | None = None
    item: str | None = None
    quantity: int | Decimal | None = None
    place: str | None = None
    part: str | None = None
    expected: int | None = None
    state: LineState = LineState.HEARD
    questions: tuple[Question, ...] = ()
    struck_by: int | None = None
    waits: bool = False
    confirmed_item: str | None = None
    confirmed_quantity: int | Decimal | None = None
    confirmed_place: str | None = None
    confirmed_part: str | None = None
    medication: MedicationDetail | None = None
    decision: Decision | None = None

    @property
    def is_open(self) -> bool:
        """Whether a person still has to act on this line."""
        return self.state is LineState.HEARD


class CountedAt(BaseModel):
    """What was counted at one place and of one part; ``None`` stands for all of them."""

    model_config = ConfigDict(frozen=True)

    place: str | None
    part: str | None
    quantity: int


class Total(BaseModel):
    """One item's numbers: each side is initial count plus additions less documented removals.

    A breakage adds the pieces that one of the item became, less the one. ``*_expected`` starts from
    the kit's number until the item is counted initially. ``heard_*`` come from what was heard and
    is neither struck, set aside nor waiting for a person, ``confirmed_*`` only from lines a person
    confirmed (``None`` until there is one). ``*_last`` is the latest count of the item, over all
    places and parts of its phase, ``None`` if there was none; ``heard_at`` shows that count by
    place and part where it was counted so. Only items that some line names have a total.
    """

    model_config = ConfigDict(frozen=True)

    item: str
    heard_expected: int | None = None
    heard_last: int | None = None
    confirmed_expected: int | None = None
    confirmed_last: int | None = None
    heard_at: tuple[CountedAt, ...] = ()


class CountRecord(BaseModel):
    """The record of one case. ``verdict`` is the confirmed one, ``None`` until a person confirms.

    ``heard_verdict`` is what was said. ``questions`` are about the record as a whole, not one line.
    ``open_questions`` counts these and the questions on lines that nobody has acted on;
    ``confirmed`` is true only when every line was acted on and no question is open.

    ``discrepancies`` are open and resolved ones, in the order of their lines; ``packed`` and
    ``broken`` are what is in the wound and what is in pieces, as far as anyone said. ``notices``
    bar nothing. ``by_exception`` are the exceptions without which the verdict would not read
    ``correct``: wherever the verdict is shown, they are shown with it. ``medications`` is what is
    on the field, drawn and left; its questions are also on the lines.
    """

    model_config = ConfigDict(frozen=True)

    lines: tuple[Line, ...] = ()
    totals: tuple[Total, ...] = ()
    questions: tuple[Question, ...] = ()
    heard_verdict: Verdict | None = None
    verdict: Verdict | None = None
    open_questions: int = 0
    confirmed: bool = False
    discrepancies: tuple[Discrepancy, ...] = ()
    packed: tuple[Packed, ...] = ()
    broken: tuple[Broken, ...] = ()
    phases: tuple[PhaseCount, ...] = ()
    notices: tuple[Notice, ...] = ()
    by_exception: tuple[SignedException, ...] = ()
    medications: MedicationAccount = MedicationAccount()
