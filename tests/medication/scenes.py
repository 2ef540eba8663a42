"""Short ways to write lines about medications."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from countersign.kit import Group, Item, Kit, Medication
from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Question,
    QuestionCode,
    Strength,
)
from countersign.medication import Amount, MedicationAccount, Preparation, medication_account
from countersign.tally import Act, Decision, Role, build_record

KIT = Kit(
    title="Test kit",
    procedure="Test",
    items=(Item(id="lap", label="Lap", group=Group.SPONGES, spoken=("lap",)),),
    medications=(
        Medication(
            id="lidocaine", label="Lidocaine", spoken=("lidocaine",), strengths=("1 %", "2 %")
        ),
        Medication(
            id="bupivacaine", label="Bupivacaine", spoken=("marc",), strengths=("0.25 %", "0.5 %")
        ),
        Medication(
            id="epinephrine",
            label="Epinephrine",
            spoken=("epi",),
            strengths=("1:1,000", "1:100,000", "1:200,000"),
        ),
        Medication(
            id="sodium_chloride",
            label="Sodium chloride 0.9 %",
            spoken=("saline",),
            strengths=("0.9 %",),
        ),
        Medication(
            id="heparin", label="Heparin", spoken=("heparin",), strengths=("1000 units/mL",)
        ),
        Medication(
            id="cefazolin",
            label="Cefazolin",
            spoken=("cefazolin",),
            strengths=("1 g",),
            diluent="sodium_chloride",
        ),
        Medication(
            id="thrombin",
            label="Thrombin",
            spoken=("thrombin",),
            strengths=("1000 units/mL",),
            keeps_hours=6,
        ),
    ),
)
BEGIN = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)


def strength(text: str) -> Strength:
    """``1 %``, ``ratio 200000``, ``10 mg/mL``."""
    first, second = text.split(" ", 1)
    if first == "ratio":
        return Strength(value=Decimal(second), unit="ratio")
    return Strength(value=Decimal(first), unit=second)


def _line(kind: EventKind, name: str | None, ml: object, given: str | None, **more: Any) -> Event:
    questions = more.pop("questions", ())
    additive_strength = more.pop("additive_strength", None)
    volume = None if ml is None else Decimal(str(ml))
    diluent_ml = more.pop("diluent_ml", None)
    return Event(
        kind=kind,
        item=name,
        quantity=volume,
        unit="mL" if volume is not None else None,
        medication=MedicationDetail(
            name=name,
            strength=None if given is None else strength(given),
            additive_strength=None if additive_strength is None else strength(additive_strength),
            volume_ml=volume,
            diluent_volume_ml=None if diluent_ml is None else Decimal(str(diluent_ml)),
            **more,
        ),
        start_s=0,
        end_s=1,
        words=kind,
        questions=questions,
    )


def receipt(name: str | None, given: str | None, ml: object = None, **more: Any) -> Event:
    return _line(EventKind.RECEIPT, name, ml, given, **more)


def label(name: str | None, given: str | None, ml: object = None, **more: Any) -> Event:
    return _line(EventKind.LABEL, name, ml, given, **more)


def draw(name: str | None, ml: object, given: str | None = None, **more: Any) -> Event:
    return _line(EventKind.DRAW, name, ml, given, **more)


def relief() -> Event:
    return Event(kind=EventKind.PHASE, phase=Phase.RELIEF, start_s=0, end_s=1, words="relief")


def correction(**fields: Any) -> Event:
    return Event(kind=EventKind.CORRECTION, start_s=0, end_s=1, words="correction", **fields)


def expired() -> tuple[Question, ...]:
    return (Question(code=QuestionCode.EXPIRY_PAST, sentence="The expiry has passed."),)


def decide(line: int, act: Act = Act.ACCEPT, second: int = 0, **fields: Any) -> Decision:
    return Decision(
        line=line,
        act=act,
        role=Role.CIRCULATOR,
        initials="AB",
        at=BEGIN + timedelta(seconds=second),
        **fields,
    )


def account(
    events: Sequence[Event], decisions: Sequence[Decision] = (), kit: Kit = KIT
) -> MedicationAccount:
    return medication_account(kit, build_record(kit, events, decisions).lines)


def only(found: MedicationAccount) -> Preparation:
    (preparation,) = found.preparations
    return preparation


def asked(found: MedicationAccount) -> list[tuple[int, QuestionCode]]:
    return [(question.line, question.code) for question in found.questions]


def of(amount: Amount | None) -> tuple[Decimal, str] | None:
    return None if amount is None else (amount.value, amount.unit)
