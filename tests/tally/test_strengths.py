"""Strengths in different units, and strengths that the kit does not stock."""

from decimal import Decimal

import pytest

from countersign.chain import read
from countersign.kit import Kit
from countersign.meaning.event import QuestionCode, Strength
from countersign.tally.strengths import micrograms_per_ml, same_strength, written_strength


@pytest.mark.parametrize(
    ("text", "micrograms"),
    [
        # Percent weight in volume and ratio strength: USP General Notices, from memory.
        ("1 %", 10_000),
        ("0.25 %", 2_500),
        ("1:100,000", 10),
        ("1:200,000", 5),
        ("1:1,000", 1_000),
        ("10 mg/mL", 10_000),
        ("5 mcg/ml", 5),
    ],
)
def test_strengths_in_micrograms_per_millilitre(text: str, micrograms: int) -> None:
    strength = written_strength(text)
    assert strength is not None
    assert micrograms_per_ml(strength) == micrograms


@pytest.mark.parametrize("text", ["", "strong", "1:", "%", "1 % 2"])
def test_what_is_no_strength(text: str) -> None:
    assert written_strength(text) is None


def test_units_without_a_weight_are_compared_as_written() -> None:
    thousand = Strength(value=Decimal(1000), unit="[U]/mL")
    assert written_strength("1000 units/mL") == thousand
    assert same_strength(thousand, thousand)
    assert not same_strength(thousand, Strength(value=Decimal(1), unit="mg/mL"))


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("lidocaine one percent thirty milliliters", False),
        ("lidocaine ten milligrams per milliliter thirty milliliters", False),
        ("lidocaine five percent thirty milliliters", True),
        ("bupivacaine point two five percent thirty milliliters", False),
        ("bupivacaine two point five percent thirty milliliters", True),
        ("lidocaine one percent with epinephrine one to two hundred thousand", False),
        ("lidocaine one percent with epinephrine one to one thousand", True),
    ],
)
def test_a_strength_that_the_kit_does_not_stock_asks(kit: Kit, line: str, asks: bool) -> None:
    (only,) = read([line], kit).record.lines
    codes = {question.code for question in only.questions}
    assert (QuestionCode.STRENGTH_NOT_STOCKED in codes) is asks
