"""Arithmetic with units, against published definitions and pint's own list of units."""

from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from countersign.meaning.event import Strength
from countersign.medication.concentration import (
    Form,
    amount_in,
    diluted,
    dissolved,
    form_of,
    in_one_ml,
    same_strength,
    stock_volume_ml,
)
from countersign.medication.units import Amount, converted, plain, readable, rounded, total
from countersign.medication.words import amount_text, strength_text, volume_text

from .scenes import of, strength

REFERENCE = pint.UnitRegistry(non_int_type=Decimal)
"""pint with the units it ships, independent of the few that the program defines."""

MASSES = ("ug", "mg", "g")
PER_VOLUME = ("ug/mL", "mg/mL", "g/mL")
POSITIVE = st.decimals("0.001", "100000", places=3)
VOLUMES = st.decimals("0.1", "1000", places=1)
NEAR = Decimal("1e-20")


def near(one: Decimal, other: Decimal) -> bool:
    return abs(one - other) <= NEAR * max(abs(one), abs(other), Decimal(1))


@pytest.mark.parametrize(
    ("said", "amount", "unit"),
    [
        # USP General Notices (from memory): percent solutions are weight in volume, 1 % is 1 g in
        # 100 mL; a ratio strength 1:n is 1 g in n mL.
        ("1 %", "10000", "ug"),
        ("0.25 %", "2500", "ug"),
        ("0.9 %", "9000", "ug"),
        ("ratio 1000", "1000", "ug"),
        ("ratio 100000", "10", "ug"),
        ("ratio 200000", "5", "ug"),
        ("10 mg/mL", "10000", "ug"),
        ("5 ug/mL", "5", "ug"),
        ("1000 [U]/mL", "1000", "[U]"),
        ("2 meq/mL", "2", "meq"),
    ],
)
def test_amount_in_one_millilitre(said: str, amount: str, unit: str) -> None:
    assert of(in_one_ml(strength(said))) == (Decimal(amount), unit)


@pytest.mark.parametrize("said", ["1 g", "500 mg", "0 %", "ratio 0", "3 furlong", "5 mg/h", "1 mL"])
def test_what_says_nothing_of_a_millilitre(said: str) -> None:
    assert in_one_ml(strength(said)) is None
    assert amount_in(strength(said), Decimal(10)) is None


@pytest.mark.parametrize(
    ("said", "form"),
    [
        ("1 %", Form.PERCENT),
        ("ratio 1000", Form.RATIO),
        ("10 mg/mL", Form.MASS_PER_VOLUME),
        ("1000 [U]/mL", Form.UNITS_PER_VOLUME),
        ("2 meq/mL", Form.EQUIVALENTS_PER_VOLUME),
        ("1 g", Form.AMOUNT),
        ("5000 [U]", Form.AMOUNT),
        ("5 mg/h", None),
    ],
)
def test_forms(said: str, form: Form | None) -> None:
    assert form_of(strength(said)) is form


@pytest.mark.parametrize(
    ("said", "volume", "amount"),
    [
        # Worked examples of the kind in pharmacology textbooks for surgical technology (from
        # memory): 30 mL of 1 % are 300 mg, 20 mL of 0.5 % are 100 mg, 10 mL of 1:200,000 are
        # 50 micrograms, 5 mL of 1000 units/mL are 5000 units.
        ("1 %", "30", "300 mg"),
        ("0.5 %", "20", "100 mg"),
        ("0.25 %", "2.5", "6.25 mg"),
        ("ratio 200000", "10", "50 micrograms"),
        ("ratio 100000", "20", "200 micrograms"),
        ("ratio 1000", "1", "1 mg"),
        ("1000 [U]/mL", "5", "5000 units"),
        ("ratio 3000", "1", "333.333 micrograms"),
        ("0.001 %", "0.05", "0.5 micrograms"),
    ],
)
def test_dose_in_a_volume(said: str, volume: str, amount: str) -> None:
    assert amount_text(amount_in(strength(said), Decimal(volume))) == amount


@pytest.mark.parametrize(
    ("said", "volume", "diluent", "result"),
    [
        # C1 V1 = C2 V2, textbook examples (from memory): equal parts halve a strength; 10 mL of
        # 2 % with 30 mL of diluent are 0.5 %; 1 mL of 1:1,000 in 200 mL altogether is 1:200,000.
        ("1 %", "10", "10", "0.5 %"),
        ("2 %", "10", "30", "0.5 %"),
        ("ratio 1000", "1", "199", "1:200,000"),
        ("10 mg/mL", "5", "45", "1 mg/mL"),
        ("1 %", "10", "20", "0.333333 %"),
        ("1 %", "10", "0", "1 %"),
    ],
)
def test_dilution(said: str, volume: str, diluent: str, result: str) -> None:
    found = diluted(strength(said), Decimal(volume), Decimal(diluent))
    assert found is not None
    assert strength_text(found) == result


LOCAL = "Kapitanyan, How is concentration and dilution measured in local anesthetic toxicity?"
"""Medscape, updated 9 January 2019: text and table 1 (read for these checks)."""
COMPOUNDING = "Concentration and Dilution Calculation in Pharmacy"
"""pharmacalculation.com, October 2022: worked examples 1 to 4 (read for these checks)."""


@pytest.mark.parametrize(
    ("source", "said", "volume", "amount"),
    [
        (LOCAL, "0.25 %", "1", "2.5 mg"),
        (LOCAL, "1 %", "50", "500 mg"),
        (LOCAL, "ratio 100000", "50", "500 micrograms"),
        (LOCAL, "ratio 2000", "2", "1 mg"),
        (LOCAL, "ratio 20000", "20", "1 mg"),
        (LOCAL, "ratio 100000", "5", "50 micrograms"),
        (LOCAL, "ratio 200000", "5", "25 micrograms"),
        (LOCAL, "ratio 100000", "20", "200 micrograms"),
        (LOCAL, "ratio 200000", "20", "100 micrograms"),
        (COMPOUNDING, "ratio 1000", "10", "10 mg"),
        (COMPOUNDING, "0.5 %", "1", "5 mg"),
    ],
)
def test_published_worked_doses(source: str, said: str, volume: str, amount: str) -> None:
    assert amount_text(amount_in(strength(said), Decimal(volume))) == amount, source


def test_published_worked_dilutions() -> None:
    # LOCAL: 0.1 mL of 1:1,000 added to 9.9 mL is 1:100,000, or 0.01 mg/mL
    weak = diluted(strength("ratio 1000"), Decimal("0.1"), Decimal("9.9"))
    assert weak is not None and strength_text(weak) == "1:100,000"
    assert same_strength(weak, strength("0.01 mg/mL"))
    # COMPOUNDING: 24 mL of 5 mg/mL from a vial of 100 mg in 2 mL take 2.4 mL as they print it;
    # 50 mg/mL into 24 mL of 5 mg/mL is 24 x 5 / 50 = 2.4
    vial = dissolved(strength("100 mg"), Decimal(2))
    assert vial is not None
    assert stock_volume_ml(vial, strength("5 mg/mL"), Decimal(24)) == Decimal("2.4")
    # COMPOUNDING: 5 L of 1:2,000 from a 1:400 stock (0.25 % to 0.05 %) take 1,000 mL
    needed = stock_volume_ml(strength("ratio 400"), strength("ratio 2000"), Decimal(5000))
    assert needed == Decimal(1000)
    for ratio, percent in (("ratio 400", "0.25 %"), ("ratio 2000", "0.05 %")):
        assert same_strength(strength(ratio), strength(percent))
    # LOCAL: 1:1,000 is 0.1 %, 1:10,000 is 0.01 %, 1:2,000 is 0.05 %, 1:20,000 is 0.005 %
    for ratio, percent in ((1000, "0.1"), (10_000, "0.01"), (2000, "0.05"), (20_000, "0.005")):
        assert same_strength(strength(f"ratio {ratio}"), strength(f"{percent} %"))


@pytest.mark.parametrize(
    ("stock", "wanted", "total_ml", "needed"),
    [
        # V1 = C2 V2 / C1, textbook examples (from memory).
        ("2 %", "0.5 %", "40", "10"),
        ("1 %", "5 mg/mL", "20", "10"),
        ("ratio 1000", "ratio 200000", "200", "1"),
    ],
)
def test_stock_for_a_dilution(stock: str, wanted: str, total_ml: str, needed: str) -> None:
    assert stock_volume_ml(strength(stock), strength(wanted), Decimal(total_ml)) == Decimal(needed)


def test_no_stock_is_strong_enough_or_alike() -> None:
    assert stock_volume_ml(strength("0.5 %"), strength("1 %"), Decimal(10)) is None
    assert stock_volume_ml(strength("1 %"), strength("10 [U]/mL"), Decimal(10)) is None
    assert diluted(strength("1 g"), Decimal(1), Decimal(1)) is None
    assert diluted(strength("1 %"), Decimal(0), Decimal(1)) is None


def test_a_powder_dissolved() -> None:
    # Worked example (from memory): 1 g made up to 10 mL is 100 mg/mL.
    assert dissolved(strength("1 g"), Decimal(10)) == strength("100 mg/mL")
    assert dissolved(strength("5000 [U]"), Decimal(5)) == strength("1000 [U]/mL")
    assert dissolved(strength("1 %"), Decimal(5)) is None


def test_same_strength_in_other_words() -> None:
    assert same_strength(strength("1 %"), strength("10 mg/mL"))
    assert same_strength(strength("ratio 1000"), strength("0.1 %"))
    assert same_strength(strength("1 g"), strength("1000 mg"))
    assert not same_strength(strength("1 g"), strength("1000 [U]"))
    assert not same_strength(strength("1 %"), strength("1 g"))
    assert not same_strength(strength("1 %"), strength("1 [U]/mL"))


@given(POSITIVE, st.sampled_from(MASSES), st.sampled_from(MASSES))
def test_masses_agree_with_pint(value: Decimal, unit: str, wanted: str) -> None:
    reference = REFERENCE.Quantity(value, unit).to(wanted).magnitude
    assert near(converted(value, unit, wanted), reference)


@given(POSITIVE, st.sampled_from(PER_VOLUME), VOLUMES)
def test_doses_agree_with_pint(value: Decimal, unit: str, volume: Decimal) -> None:
    reference = (REFERENCE.Quantity(value, unit) * REFERENCE.Quantity(volume, "mL")).to("ug")
    found = amount_in(Strength(value=value, unit=unit), volume)
    assert found is not None and near(found.value, reference.magnitude)


@given(POSITIVE, VOLUMES)
def test_percent_agrees_with_grams_in_a_decilitre_of_pint(value: Decimal, volume: Decimal) -> None:
    reference = (REFERENCE.Quantity(value, "g/dL") * REFERENCE.Quantity(volume, "mL")).to("ug")
    found = amount_in(Strength(value=value, unit="%"), volume)
    assert found is not None and near(found.value, reference.magnitude)


@given(st.integers(10, 1_000_000), VOLUMES)
def test_a_ratio_agrees_with_a_gram_in_so_many_millilitres_of_pint(n: int, volume: Decimal) -> None:
    one_gram = REFERENCE.Quantity(Decimal(1), "g") / REFERENCE.Quantity(Decimal(n), "mL")
    reference = (one_gram * REFERENCE.Quantity(volume, "mL")).to("ug")
    found = amount_in(Strength(value=Decimal(n), unit="ratio"), volume)
    assert found is not None and near(found.value, reference.magnitude)


@given(POSITIVE, st.sampled_from(PER_VOLUME), VOLUMES, VOLUMES)
def test_a_dilution_agrees_with_pint(
    value: Decimal, unit: str, volume: Decimal, diluent: Decimal
) -> None:
    """C2 = C1 V1 / (V1 + V2), every step with pint's own units, litres among them."""
    taken, added = REFERENCE.Quantity(volume, "mL"), REFERENCE.Quantity(diluent / 1000, "L")
    reference = REFERENCE.Quantity(value, unit) * taken / (taken + added)
    weaker = diluted(Strength(value=value, unit=unit), volume, diluent)
    assert weaker is not None and weaker.unit == unit
    assert near(weaker.value, reference.to(unit).magnitude)


@given(POSITIVE, st.sampled_from((*PER_VOLUME, "%")), st.sampled_from((*PER_VOLUME, "%")))
def test_units_there_and_back(value: Decimal, unit: str, other: str) -> None:
    assert near(converted(converted(value, unit, other), other, unit), value)


@given(POSITIVE, st.sampled_from(("%", "ratio", "mg/mL", "[U]/mL")), VOLUMES, VOLUMES)
def test_what_is_in_it_stays_in_it(
    value: Decimal, unit: str, volume: Decimal, diluent: Decimal
) -> None:
    """C1 V1 = C2 V2 in both directions."""
    stock = Strength(value=value, unit=unit)
    weaker = diluted(stock, volume, diluent)
    assert weaker is not None
    before, after = amount_in(stock, volume), amount_in(weaker, volume + diluent)
    assert before is not None and after is not None
    assert near(before.value, after.value)
    needed = stock_volume_ml(stock, weaker, volume + diluent)
    assert needed is not None and near(needed, volume)


@given(st.lists(st.tuples(POSITIVE, st.sampled_from(MASSES)), min_size=1, max_size=6))
def test_totals_agree_with_pint(amounts: list[tuple[Decimal, str]]) -> None:
    found = total([Amount(value=value, unit=unit) for value, unit in amounts])
    reference = sum((REFERENCE.Quantity(v, u) for v, u in amounts), REFERENCE.Quantity(0, "ug"))
    assert found is not None and near(found.value, Decimal(reference.to("ug").magnitude))


@pytest.mark.parametrize(("unit", "wanted"), [("mg", "[U]"), ("%", "mL"), ("grain", "mg")])
def test_different_things_are_never_mixed(unit: str, wanted: str) -> None:
    with pytest.raises(ValueError, match="cannot be given in"):
        converted(Decimal(1), unit, wanted)
    assert total([]) is None


@given(st.decimals("0.000001", "1000000", places=6))
def test_figures_have_no_trailing_and_no_missing_zero(value: Decimal) -> None:
    """ISMP list of error-prone abbreviations (from memory): no trailing zero, always a leading
    one; "units" and "micrograms" in words."""
    text = volume_text(value)
    number = text.removesuffix(" mL")
    assert number[0].isdigit() and "E" not in number
    assert "." not in number or number[-1] != "0"
    assert Decimal(number) == value
    assert not {"µg", "ug", "U", "IU"} & set(amount_text(Amount(value=value, unit="ug")).split())


def test_readable_amounts() -> None:
    assert of(readable(Amount(value=Decimal("999"), unit="ug"))) == (Decimal(999), "ug")
    assert of(readable(Amount(value=Decimal("1000"), unit="ug"))) == (Decimal(1), "mg")
    assert of(readable(Amount(value=Decimal("1"), unit="g"))) == (Decimal(1000), "mg")
    assert f"{plain(Decimal('1E+3')):f} {plain(Decimal('0.50')):f} {plain(Decimal('0E-8'))}" == (
        "1000 0.5 0"
    )
    assert rounded(Decimal(1) / Decimal(3)) == Decimal("0.333333")
    assert rounded(Decimal("1234567.89")) == Decimal("1234567.89")


def test_an_amount_beyond_all_digits_is_no_error() -> None:
    """Only a file from elsewhere has such a number; it stays with its exponent."""
    assert str(plain(Decimal("12E+3"))) == "12000"
    assert str(plain(Decimal("1E+33"))) == "1" + "0" * 33
    assert plain(Decimal("9E+58")) == Decimal("9E+58")
    assert amount_in(Strength(value=Decimal("1E+19"), unit="%"), Decimal("1E+19")) is not None
