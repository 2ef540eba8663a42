"""What meaning gives: events, each with the words it came from and the questions it raises."""

from datetime import date, time
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Figure = Annotated[Decimal, Field(allow_inf_nan=False, max_digits=60, decimal_places=40)]
"""A number that somebody can have said. ``1E+9999999`` in a file from elsewhere is ten letters, and
ten million digits once it is written out.
"""


class EventKind(StrEnum):
    """What a stretch of speech does to the record."""

    COUNT = "count"
    ADDITION = "addition"
    REMOVAL = "removal"
    CORRECTION = "correction"
    PHASE = "phase"
    VERDICT = "verdict"
    RECEIPT = "receipt"
    LABEL = "label"
    DRAW = "draw"
    SET_UP = "set_up"
    BREAKAGE = "breakage"
    REMARK = "remark"


class Phase(StrEnum):
    """When in the case a count belongs."""

    INITIAL = "initial"
    RELIEF = "relief"
    CLOSING_CAVITY = "closing_cavity"
    CLOSING = "closing"
    FINAL = "final"
    REQUESTED = "requested"


class Verdict(StrEnum):
    """What the two people say at the end of a count."""

    CORRECT = "correct"
    NOT_CORRECT = "not_correct"
    RECOUNT = "recount"


class Spoken(StrEnum):
    """How a quantity was said."""

    SEQUENCE = "sequence"
    TOTAL = "total"
    PACK = "pack"


class QuestionCode(StrEnum):
    """Why a person is asked. The sentence beside it says it in words."""

    # raised by meaning: was it heard right?
    LOW_CONFIDENCE = "low_confidence"
    OTHER_READING = "other_reading"
    TEEN_OR_TEN = "teen_or_ten"
    NUMBER_SKIPPED = "number_skipped"
    NUMBER_REPEATED = "number_repeated"
    NUMBER_SWAPPED = "number_swapped"
    SEQUENCE_START = "sequence_start"
    SEQUENCE_CUT_OFF = "sequence_cut_off"
    TOTAL_DISAGREES = "total_disagrees"
    NO_ITEM = "no_item"
    NO_QUANTITY = "no_quantity"
    UNCLEAR_CORRECTION = "unclear_correction"
    STRENGTH_MISSING = "strength_missing"
    EXPIRY_PAST = "expiry_past"
    EXPIRY_UNREADABLE = "expiry_unreadable"
    LABEL_INCOMPLETE = "label_incomplete"
    READ_BACK_DISAGREES = "read_back_disagrees"
    SAID_AGAIN = "said_again"
    # raised by the tally: does it fit the kit and what was counted before?
    PACK_SHORT = "pack_short"
    PACK_OVER = "pack_over"
    NOT_EXPECTED = "not_expected"
    IMPLAUSIBLE = "implausible"
    COUNT_DISAGREES = "count_disagrees"
    NOTHING_TO_CORRECT = "nothing_to_correct"
    VERDICT_CONFLICT = "verdict_conflict"
    STRENGTH_NOT_STOCKED = "strength_not_stocked"
    # raised by the medication account: does it fit what is on the field?
    STRENGTH_DIFFERS = "strength_differs"
    MEDICATION_DIFFERS = "medication_differs"
    MORE_DRAWN = "more_drawn"
    CONTAINER_UNKNOWN = "container_unknown"
    CONTAINER_UNLABELLED = "container_unlabelled"
    LIKE_CONTAINERS = "like_containers"
    VERIFICATION_DUE = "verification_due"


class Question(BaseModel):
    """A machine-readable code and one sentence for people."""

    model_config = ConfigDict(frozen=True)

    code: QuestionCode
    sentence: str


class Strength(BaseModel):
    """A concentration as it was said.

    ``unit`` is a UCUM code (``%``, ``mg/mL``, ``ug/mL``, ``[U]/mL``, ``meq/mL``, ``g``, ``mg``,
    ``[U]``) or ``ratio``, where ``value`` is the second number of ``1:value``.
    """

    model_config = ConfigDict(frozen=True)

    value: Figure
    unit: str


class MedicationDetail(BaseModel):
    """What was said about a medication or solution; ``None`` where nothing was said.

    ``name``, ``additive`` and ``diluent`` are medication ids of the kit. ``volume_ml`` and
    ``diluent_volume_ml`` are millilitres. A month and year of expiry mean the last day of that
    month; ``expiry_time`` is said where something keeps for less than a day. ``container`` is
    ``cup``, ``basin``, ``bowl``, ``pitcher`` or ``syringe``. ``received_by`` and ``received_from``
    are roles as they were said (``scrub``, ``circulator``, ``anesthesia``, ``pharmacy``).
    ``read_back`` is true where the label was read back by a second person.
    """

    model_config = ConfigDict(frozen=True)

    name: str | None = None
    strength: Strength | None = None
    additive: str | None = None
    additive_strength: Strength | None = None
    volume_ml: Figure | None = None
    expiry: date | None = None
    expiry_time: time | None = None
    lot: str | None = None
    container: str | None = None
    diluent: str | None = None
    diluent_volume_ml: Figure | None = None
    received_by: str | None = None
    received_from: str | None = None
    read_back: bool = False


class Event(BaseModel):
    """One thing that was said.

    ``item`` is an item id of the kit, a medication id for receipt, label and draw, or ``None``
    where none was heard. ``unit`` is ``each`` for countable things and a UCUM code for volumes.
    ``sequence`` holds the spoken numbers in order where the quantity was counted one by one.
    ``group`` is the kit's count group for a phase or verdict about one group. A correction
    carries the item and quantity now meant (both ``None`` for "strike that"). ``place`` is
    where a set-up item was put or where what was counted lies: ``field``, ``wound`` (packed),
    ``mayo_stand``, ``back_table``, ``off_field`` (a bag or bucket); a count without a place is
    of all of them. ``part`` names the part of an item of several parts that was counted. A
    breakage says in how many pieces (``quantity``) one of the item now is. ``speaker`` is who
    spoke, where whoever gives the words knows it: hearing cannot tell voices apart and leaves it
    ``None``. Times are seconds from the start of the source; ``words`` are the words as heard;
    ``confidence`` is 0..1.
    """

    model_config = ConfigDict(frozen=True)

    kind: EventKind
    item: str | None = None
    quantity: int | Figure | None = None
    unit: str | None = None
    phase: Phase | None = None
    group: str | None = None
    verdict: Verdict | None = None
    spoken: Spoken | None = None
    sequence: tuple[int, ...] = ()
    medication: MedicationDetail | None = None
    place: str | None = None
    part: str | None = None
    speaker: str | None = None
    start_s: float
    end_s: float
    words: str
    confidence: float = 1.0
    questions: tuple[Question, ...] = ()
