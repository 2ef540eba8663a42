"""Events and numbers in words for people."""

import json
from datetime import date
from decimal import Decimal

import pytest

from countersign.kit import demo_kit_path, read_kit
from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Strength,
    Verdict,
)
from countersign.plain_json import json_text
from countersign.screen import ranges
from countersign.wording import clock_text, event_text, number_text, strength_text


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        ("1", "%", "1 %"),
        ("0.50", "%", "0.5 %"),
        ("200000", "ratio", "1:200,000"),
        ("1000", "ratio", "1:1,000"),
        ("10", "mg/mL", "10 mg/mL"),
        ("5", "ug/mL", "5 micrograms/mL"),
        ("1000", "[U]/mL", "1000 units/mL"),
    ],
)
def test_strengths(value: str, unit: str, text: str) -> None:
    """No trailing zeros, a zero before the point, units in words where misread (ISMP, from
    memory); ratio strength with thousands separated (USP, from memory)."""
    assert strength_text(Strength(value=Decimal(value), unit=unit)) == text


@pytest.mark.parametrize(
    ("quantity", "unit", "text"),
    [
        (10, "each", "10"),
        (0, None, "0"),
        (None, "each", "-"),
        (Decimal("30.00"), "mL", "30 mL"),
        (Decimal("100"), "mL", "100 mL"),
        (Decimal("2.50"), "mL", "2.5 mL"),
        (Decimal("1E+2"), "mL", "100 mL"),
    ],
)
def test_numbers(quantity: int | Decimal | None, unit: str | None, text: str) -> None:
    assert number_text(quantity, unit) == text


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(0, "0:00.0"), (4.04, "0:04.0"), (59.96, "1:00.0"), (61.25, "1:01.2"), (3725.5, "1:02:05.5")],
)
def test_times(seconds: float, text: str) -> None:
    assert clock_text(seconds) == text


def test_ranges_of_lines() -> None:
    assert ranges([1, 2, 3, 5, 7, 8]) == "1-3, 5, 7-8"
    assert ranges([]) == ""


def test_every_kind_of_event_has_words_of_its_own() -> None:
    kit = read_kit(demo_kit_path())
    medication = MedicationDetail(
        name=kit.medications[0].id,
        strength=Strength(value=Decimal(1), unit="%"),
        volume_ml=Decimal(30),
        expiry=date(2027, 6, 30),
        container="cup",
    )
    texts = {
        kind: event_text(
            Event(
                kind=kind,
                item=kit.items[0].id,
                quantity=2,
                phase=Phase.CLOSING,
                verdict=Verdict.CORRECT,
                group="sponges",
                medication=medication,
                place="mayo_stand",
                start_s=1,
                end_s=2,
                words="x",
            ),
            kit,
        )
        for kind in EventKind
    }
    assert len(set(texts.values())) == len(EventKind)
    label = kit.medications[0].label
    assert texts[EventKind.RECEIPT] == f"received: {label} 1 %, 30 mL, expires 2027-06-30, in cup"
    assert texts[EventKind.PHASE] == "begins: closing count, sponges"
    assert texts[EventKind.SET_UP] == f"set up: {kit.items[0].label}, on the Mayo stand"


def test_json_has_no_binary_fractions() -> None:
    value = {"a": 0.1 + 0.2, "b": Decimal("1.50"), "c": 3, "d": float("nan"), "e": (1e-9, 1e9)}
    assert json.loads(json_text(value)) == {
        "a": "0.3",
        "b": "1.50",
        "c": 3,
        "d": None,
        "e": ["0.0", "1000000000.0"],
    }
    with pytest.raises(TypeError):
        json_text({"a": object()})
