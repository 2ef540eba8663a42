"""Amounts with units: UCUM codes at the border, pint inside, decimal arithmetic throughout."""

from decimal import Context, Decimal, localcontext
from functools import cache
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel, ConfigDict

if TYPE_CHECKING:
    from pint import UnitRegistry

_DEFINITIONS = (
    "micro- = 1e-6 = u-",
    "milli- = 1e-3 = m-",
    "kilo- = 1e3 = k-",
    "gram = [mass] = g",
    "liter = [volume] = L",
    "arbitrary_unit = [arbitrary_activity]",
    "equivalent = [charge_amount] = eq",
    # Percent is weight in volume: 1 g in 100 mL (USP General Notices, from memory).
    "percent_weight_in_volume = 0.01 * gram / milliliter",
)
_PINT_NAMES = (("[U]", "arbitrary_unit"), ("%", "percent_weight_in_volume"))
_MEASURES = {"ug": "ug", "mg": "ug", "g": "ug", "[U]": "[U]", "meq": "meq"}
EXACT = Context(prec=34)
"""As many digits as IEEE 754 decimal128 has, so that no step of a calculation can be seen."""
_LONGEST = 12
_SHOWN = Context(prec=6)
"""Figures that do not end within twelve digits are rounded to six, far finer than any syringe."""


class Amount(BaseModel):
    """How much of a substance; ``unit`` is a UCUM code: ``ug``, ``mg``, ``g``, ``[U]``, ``meq``."""

    model_config = ConfigDict(frozen=True)

    value: Decimal
    unit: str


@cache
def _registry() -> "UnitRegistry[Decimal]":
    # Imported on first use: pint takes half a second, and most commands need no units. Only these
    # few units are defined, because pint's own list takes longer still and lacks two of them.
    import pint

    registry: UnitRegistry[Decimal] = pint.UnitRegistry(None, non_int_type=Decimal)
    for definition in _DEFINITIONS:
        registry.define(definition)
    return registry


def converted(value: Decimal, unit: str, wanted: str) -> Decimal:
    """``value`` in another unit; both are UCUM codes.

    Raises ``ValueError`` where one is not known or they measure different things.
    """
    with localcontext(EXACT):
        return plain(value * _factor(unit, wanted))


@cache
def _factor(unit: str, wanted: str) -> Decimal:
    """How many of ``wanted`` one of ``unit`` is; every unit here begins at zero."""
    import pint

    with localcontext(EXACT):
        try:
            one: Any = _registry().Quantity(Decimal(1), _pint_name(unit))
            return Decimal(one.to(_pint_name(wanted)).magnitude)
        except (pint.UndefinedUnitError, pint.DimensionalityError, AttributeError) as error:
            raise ValueError(f"{unit} cannot be given in {wanted}") from error


def measure(unit: str) -> str | None:
    """The unit in which amounts of this kind are added up, ``None`` for what is no amount.

    ``ug`` for masses, ``[U]`` for units of activity, ``meq`` for milliequivalents.
    """
    return _MEASURES.get(unit)


def total(amounts: list[Amount]) -> Amount | None:
    """The sum of amounts of one kind, ``None`` for none; ``ValueError`` for different kinds."""
    if not amounts:
        return None
    unit = measure(amounts[0].unit) or amounts[0].unit
    with localcontext(EXACT):
        value = sum((converted(each.value, each.unit, unit) for each in amounts), Decimal(0))
    return Amount(value=plain(value), unit=unit)


def readable(amount: Amount) -> Amount:
    """The same amount as people write it: milligrams from one milligram on, else micrograms."""
    unit = amount.unit
    if measure(unit) == "ug":
        micrograms = converted(amount.value, unit, "ug")
        unit = "mg" if abs(micrograms) >= 1000 else "ug"
    return Amount(value=rounded(converted(amount.value, amount.unit, unit)), unit=unit)


def rounded(value: Decimal) -> Decimal:
    """A figure for people: six significant digits where it does not end by itself."""
    value = plain(value)
    return plain(_SHOWN.plus(value)) if len(value.as_tuple().digits) > _LONGEST else value


def plain(value: Decimal) -> Decimal:
    """The same number without trailing zeros and, up to its digits, without an exponent."""
    if not value:
        return Decimal(0)
    with localcontext(EXACT):
        value = value.normalize()
        exponent = value.as_tuple().exponent
        # What is larger comes from a file of elsewhere, and is no amount of anything.
        whole = isinstance(exponent, int) and exponent > 0 and value.adjusted() < EXACT.prec
        return value.quantize(Decimal(1)) if whole else value


def _pint_name(code: str) -> str:
    for ucum, name in _PINT_NAMES:
        code = code.replace(ucum, name)
    return code
