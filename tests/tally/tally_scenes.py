"""Short ways to write events and decisions for the tally's tests."""

from datetime import UTC, datetime, timedelta
from typing import Any

from countersign.kit import Group, Item, Kit
from countersign.meaning.event import Event, EventKind, Phase, QuestionCode, Verdict
from countersign.tally import (
    Act,
    CountRecord,
    Decision,
    Line,
    Role,
    SignedException,
    StepDone,
    Total,
)

KIT = Kit(
    title="Test kit",
    procedure="Test",
    items=(
        Item(
            id="raytec",
            label="X-ray detectable sponge",
            group=Group.SPONGES,
            spoken=("raytec", "raytecs"),
            pack=10,
            most=60,
        ),
        Item(
            id="lap", label="Lap", group=Group.SPONGES, spoken=("lap", "laps"), pack=5, expected=5
        ),
        Item(id="needle", label="Needle", group=Group.SHARPS, spoken=("needle", "needles")),
        Item(
            id="bulb_syringe",
            label="Bulb syringe",
            group=Group.SMALL_ITEMS,
            spoken=("bulb syringe", "bulb syringes"),
            parts=("barrel", "bulb"),
        ),
        Item(id="kelly", label="Kelly", group=Group.INSTRUMENTS, spoken=("kelly", "kellys")),
    ),
)
BEGIN = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)


def event(kind: EventKind, **fields: Any) -> Event:
    return Event(
        **{"kind": kind, "start_s": 0.0, "end_s": 1.0, "words": fields.pop("words", kind), **fields}
    )


def count(item: str | None, quantity: Any, **fields: Any) -> Event:
    return event(EventKind.COUNT, item=item, quantity=quantity, unit="each", **fields)


def addition(item: str, quantity: int, **fields: Any) -> Event:
    return event(EventKind.ADDITION, item=item, quantity=quantity, unit="each", **fields)


def removal(item: str, quantity: int, **fields: Any) -> Event:
    return event(EventKind.REMOVAL, item=item, quantity=quantity, unit="each", **fields)


def correction(item: str | None = None, quantity: int | None = None, **fields: Any) -> Event:
    return event(EventKind.CORRECTION, item=item, quantity=quantity, **fields)


def phase(name: Phase, **fields: Any) -> Event:
    return event(EventKind.PHASE, phase=name, **fields)


def breakage(item: str, pieces: int | None, **fields: Any) -> Event:
    return event(EventKind.BREAKAGE, item=item, quantity=pieces, unit="each", **fields)


def verdict(said: Verdict = Verdict.CORRECT, **fields: Any) -> Event:
    return event(EventKind.VERDICT, verdict=said, **fields)


def decide(line: int, act: Act = Act.ACCEPT, *, second: int = 0, **fields: Any) -> Decision:
    return Decision(
        line=line,
        act=act,
        role=Role.CIRCULATOR,
        initials="AB",
        at=BEGIN + timedelta(seconds=second),
        **fields,
    )


def accept_all(events: list[Event]) -> list[Decision]:
    return [decide(number, second=number) for number in range(1, len(events) + 1)]


def signed(item: str, line: int, difference: int, **fields: Any) -> SignedException:
    return SignedException(
        **{
            "item": item,
            "line": line,
            "difference": difference,
            "reason": "image clear",
            "scrub": "AB",
            "circulator": "CD",
            "at": BEGIN,
            **fields,
        }
    )


def step(item: str, line: int, name: str, **fields: Any) -> StepDone:
    return StepDone(
        **{
            "item": item,
            "line": line,
            "step": name,
            "role": Role.CIRCULATOR,
            "initials": "CD",
            "at": BEGIN,
            **fields,
        }
    )


def codes(line: Line) -> list[QuestionCode]:
    return [question.code for question in line.questions]


def total(record: CountRecord, item: str) -> Total:
    return next(total for total in record.totals if total.item == item)
