"""Strengths: how much is in a volume, and what dilution makes of them."""

from decimal import Decimal, localcontext
from enum import StrEnum

from countersign.meaning.event import Strength
from countersign.medication.units import EXACT, Amount, converted, measure, plain


class Form(StrEnum):
    """How a strength is given."""

    PERCENT = "percent"
    RATIO = "ratio"
    MASS_PER_VOLUME = "mass_per_volume"
    UNITS_PER_VOLUME = "units_per_volume"
    EQUIVALENTS_PER_VOLUME = "equivalents_per_volume"
    AMOUNT = "amount"


_FORMS = {
    "%": Form.PERCENT,
    "ratio": Form.RATIO,
    "[U]/mL": Form.UNITS_PER_VOLUME,
    "meq/mL": Form.EQUIVALENTS_PER_VOLUME,
}


def form_of(strength: Strength) -> Form | None:
    """The form of a strength; ``AMOUNT`` is a weight or units alone, as of a powder."""
    if strength.unit in _FORMS:
        return _FORMS[strength.unit]
    if measure(strength.unit) is not None:
        return Form.AMOUNT
    top, slash, bottom = strength.unit.partition("/")
    return Form.MASS_PER_VOLUME if slash and bottom == "mL" and measure(top) == "ug" else None


def in_one_ml(strength: Strength) -> Amount | None:
    """How much one millilitre holds: micrograms, units or milliequivalents.

    Percent is weight in volume, 1 % = 1 g in 100 mL = 10 mg/mL; a ratio 1:n is 1 g in n mL (USP
    General Notices, from memory). ``None`` for an amount without a volume, an unknown unit, or a
    strength of nothing.
    """
    form = form_of(strength)
    if form in (None, Form.AMOUNT) or strength.value <= 0:
        return None
    if form is Form.RATIO:
        with localcontext(EXACT):
            return Amount(value=plain(converted(Decimal(1), "g", "ug") / strength.value), unit="ug")
    top = "ug" if form is Form.PERCENT else strength.unit.partition("/")[0]
    unit = measure(top) or top
    return Amount(value=converted(strength.value, strength.unit, f"{unit}/mL"), unit=unit)


def same_strength(first: Strength, second: Strength) -> bool:
    """Whether both are the same amount in the same volume, however they are written."""
    one, other = in_one_ml(first), in_one_ml(second)
    if one is not None and other is not None:
        return one == other
    if form_of(first) is form_of(second) is Form.AMOUNT and (
        measure(first.unit) == measure(second.unit)
    ):
        return converted(first.value, first.unit, second.unit) == second.value
    return first == second


def amount_in(strength: Strength, volume_ml: Decimal) -> Amount | None:
    """The amount in a volume of this strength, ``None`` where the strength gives none."""
    one = in_one_ml(strength)
    if one is None:
        return None
    with localcontext(EXACT):
        return Amount(value=plain(one.value * volume_ml), unit=one.unit)


def diluted(strength: Strength, volume_ml: Decimal, diluent_ml: Decimal) -> Strength | None:
    """The strength after a volume of it was mixed with diluent: C1 V1 = C2 V2, V2 = V1 + diluent.

    It keeps its unit; the second number of a ratio grows instead. ``None`` for an amount without a
    volume or for no volume at all.
    """
    if in_one_ml(strength) is None or volume_ml <= 0 or diluent_ml < 0:
        return None
    with localcontext(EXACT):
        grown = (volume_ml + diluent_ml) / volume_ml
        value = (
            strength.value * grown
            if strength.unit == "ratio"
            else strength.value * volume_ml / (volume_ml + diluent_ml)
        )
        return Strength(value=plain(value), unit=strength.unit)


def stock_volume_ml(stock: Strength, wanted: Strength, total_ml: Decimal) -> Decimal | None:
    """How many millilitres of stock make ``total_ml`` of the wanted strength: V1 = C2 V2 / C1.

    ``None`` where the two cannot be compared or the stock is weaker than what is wanted.
    """
    have, want = in_one_ml(stock), in_one_ml(wanted)
    if have is None or want is None or have.unit != want.unit or want.value > have.value:
        return None
    with localcontext(EXACT):
        return plain(want.value * total_ml / have.value)


def dissolved(amount: Strength, total_ml: Decimal) -> Strength | None:
    """The strength of an amount made up to a volume: 1 g in 10 mL is 100 mg/mL."""
    unit = measure(amount.unit)
    if unit is None or total_ml <= 0:
        return None
    shown = "mg" if unit == "ug" else unit
    with localcontext(EXACT):
        value = converted(amount.value, amount.unit, shown) / total_ml
        return Strength(value=plain(value), unit=f"{shown}/mL")
