"""The medication account: what is on the field, what was drawn, what is left, what is asked."""

from datetime import date, time
from decimal import Decimal
from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from countersign.meaning.event import QuestionCode, Strength
from countersign.medication.concentration import Form
from countersign.medication.units import Amount


class LabelState(StrEnum):
    """What was heard of a container's label."""

    NONE = "none"
    INCOMPLETE = "incomplete"
    COMPLETE = "complete"


class Preparation(BaseModel):
    """One medication or solution in one kind of container on the sterile field.

    ``name``, ``additive`` and ``diluent`` are medication ids. Strengths are those in the container,
    after any dilution; ``form`` is how the strength was given. ``container`` is ``cup``, ``basin``,
    ``bowl``, ``pitcher``, ``syringe`` or ``None`` where none was said. ``drawn_up`` marks a syringe
    filled on the field: its ``received_ml`` is what was drawn into it, and what is given from it is
    not followed. Volumes are millilitres; ``drawn_ml`` is ``None`` where
    the volume of a draw is not known; ``remaining_ml`` is received less drawn and negative where
    more was drawn than there was. ``received``, ``drawn`` and ``remaining`` are amounts of
    the medication, ``additive_*`` of the additive, ``None`` where strength or volume is unknown.
    ``missing`` names what the label lacks. ``verification_due`` is true until the label is heard
    again or a person decides on the line that changed hands. ``lines`` are the line numbers all
    this rests on; ``confirmed`` says whether a person confirmed every one of them.
    """

    model_config = ConfigDict(frozen=True)

    name: str
    strength: Strength | None = None
    form: Form | None = None
    additive: str | None = None
    additive_strength: Strength | None = None
    diluent: str | None = None
    diluent_volume_ml: Decimal | None = None
    container: str | None = None
    drawn_up: bool = False
    received_ml: Decimal | None = None
    drawn_ml: Decimal | None = None
    remaining_ml: Decimal | None = None
    received: Amount | None = None
    drawn: Amount | None = None
    remaining: Amount | None = None
    additive_received: Amount | None = None
    additive_drawn: Amount | None = None
    additive_remaining: Amount | None = None
    expiry: date | None = None
    expiry_time: time | None = None
    expired: bool = False
    lots: tuple[str, ...] = ()
    received_by: str | None = None
    received_from: str | None = None
    read_back: bool = False
    label: LabelState = LabelState.NONE
    missing: tuple[str, ...] = ()
    verification_due: bool = False
    lines: tuple[int, ...] = ()
    confirmed: bool = False


class Drawn(BaseModel):
    """One draw, with the running amounts of its medication and its additive up to this line.

    ``strength`` is that of the preparation it was drawn from. ``None`` where a figure is not known.
    ``confirmed`` says whether this line and those that give the strength are confirmed.
    """

    model_config = ConfigDict(frozen=True)

    line: int
    name: str
    strength: Strength | None = None
    additive: str | None = None
    additive_strength: Strength | None = None
    volume_ml: Decimal | None = None
    dose: Amount | None = None
    running: Amount | None = None
    additive_dose: Amount | None = None
    additive_running: Amount | None = None
    confirmed: bool = False


class SubstanceTotal(BaseModel):
    """All of one substance, as a medication and as an additive together.

    ``received`` was given to the field, ``drawn`` was drawn up from it. ``confirmed_*`` come only
    from lines a person confirmed. Without ``complete`` some strength or volume is not known, and
    the true amount is larger. ``confirmed`` says whether every line behind it is confirmed.
    """

    model_config = ConfigDict(frozen=True)

    name: str
    as_additive: bool = False
    received: Amount | None = None
    drawn: Amount | None = None
    remaining: Amount | None = None
    confirmed_received: Amount | None = None
    confirmed_drawn: Amount | None = None
    complete: bool = True
    confirmed: bool = False


class Finding(BaseModel):
    """A question about a line; ``open`` until a person acts on that line."""

    model_config = ConfigDict(frozen=True)

    line: int
    code: QuestionCode
    sentence: str
    open: bool = True


class MedicationAccount(BaseModel):
    """Everything the record's lines say about medications and solutions on the field."""

    model_config = ConfigDict(frozen=True)

    preparations: tuple[Preparation, ...] = ()
    draws: tuple[Drawn, ...] = ()
    totals: tuple[SubstanceTotal, ...] = ()
    questions: tuple[Finding, ...] = ()
