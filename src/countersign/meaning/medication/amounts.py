"""Amounts: volumes and strengths as they are said."""

import re
from collections.abc import Sequence
from decimal import Decimal

from countersign.meaning.event import Strength
from countersign.meaning.numbers import MOST_FIGURES, decimal_at

# The units that people say, longest first, as UCUM codes.
_VOLUME_UNITS: tuple[tuple[str, ...], ...] = (
    ("m", "l", "s"),
    ("m", "l"),
    ("c", "c"),
    ("c", "cs"),
    ("milliliters",),
    ("milliliter",),
    ("millilitres",),
    ("millilitre",),
    ("mls",),
    ("ml",),
    ("ccs",),
    ("cc",),
    ("mils",),
    ("mil",),
)
_MASS_UNITS: dict[tuple[str, ...], str] = {
    ("milligrams",): "mg",
    ("milligram",): "mg",
    ("mg",): "mg",
    ("migs",): "mg",
    ("m", "g"): "mg",
    ("micrograms",): "ug",
    ("microgram",): "ug",
    ("mcg",): "ug",
    ("ug",): "ug",
    ("mics",): "ug",
    ("grams",): "g",
    ("gram",): "g",
    ("g",): "g",
    ("units",): "[U]",
    ("unit",): "[U]",
    ("international", "units"): "[U]",
    ("milliequivalents",): "meq",
    ("milliequivalent",): "meq",
    ("meq",): "meq",
}
_WRITTEN_UNITS = {
    "mg/ml": "mg/mL",
    "mcg/ml": "ug/mL",
    "ug/ml": "ug/mL",
    "units/ml": "[U]/mL",
    "u/ml": "[U]/mL",
    "meq/ml": "meq/mL",
}
UNITS_ALONE = frozenset({"mg", "ug", "g", "[U]", "meq"})
"""Units of an amount that may be said without a volume, as of a powder."""
_FINEST = 30
"""Places behind the point of a strength that is a quotient."""
_LITERS = ("liter", "liters", "litre", "litres")


def plain(value: Decimal) -> Decimal:
    """The same number without trailing zeros and without an exponent."""
    return Decimal(f"{value.normalize():f}") if value else Decimal(0)


def _starts(words: Sequence[str], at: int, phrase: tuple[str, ...]) -> bool:
    return tuple(words[at : at + len(phrase)]) == phrase


def volume_at(words: Sequence[str], start: int) -> tuple[Decimal, int] | None:
    """A volume in millilitres that begins at ``start`` and where it ends."""
    if start >= len(words):
        return None
    if words[start] in ("a", "one") and words[start + 1 : start + 2] in (["liter"], ["litre"]):
        return Decimal(1000), start + 2
    number = decimal_at(words, start)
    if number is None:
        return None
    value, end = number
    unit_end = unit_at(words, end)
    if unit_end is not None:
        return value, unit_end
    end += value < 1 and words[end : end + 1] == ["a"]  # "half a liter"
    if words[end : end + 1] and words[end] in _LITERS:
        return value * 1000, end + 1
    return None


def unit_at(words: Sequence[str], start: int) -> int | None:
    """Where a unit of volume (millilitres) that begins at ``start`` ends."""
    return next(
        (start + len(unit) for unit in _VOLUME_UNITS if _starts(words, start, unit)),
        None,
    )


def is_unit(words: Sequence[str], start: int) -> bool:
    """Whether a unit of volume, weight or strength begins at ``start``."""
    if unit_at(words, start) is not None:
        return True
    following = words[start : start + 1]
    return following[:1] in (["percent"], ["%"]) or (
        bool(following)
        and (
            following[0] in _LITERS
            or following[0] in _WRITTEN_UNITS
            or any(_starts(words, start, phrase) for phrase in _MASS_UNITS)
        )
    )


def _ratio_at(words: Sequence[str], start: int) -> tuple[Strength, int] | None:
    written = re.fullmatch(r"1:(\d+(?:,\d{3})*)", words[start])
    if written and len(written[1]) <= MOST_FIGURES:
        return Strength(value=Decimal(written[1].replace(",", "")), unit="ratio"), start + 1
    if words[start] not in ("one", "1"):
        return None
    if words[start + 1 : start + 2] not in (["to"], ["in"], ["per"]):
        return None
    # "one to two hundred thousand" is 1:200,000; a small second number is a range, not a ratio
    second = decimal_at(words, start + 2)
    if second is None or second[0] < 100 or second[0] != int(second[0]):
        return None
    thousands = next((at for at in range(start, second[1]) if words[at] == "thousand"), None)
    if thousands is not None and is_unit(words, second[1]):
        # "one to one thousand, four hundred milliliters"
        second = decimal_at(words[: thousands + 1], start + 2) or second
    return Strength(value=Decimal(int(second[0])), unit="ratio"), second[1]


def strength_at(words: Sequence[str], start: int) -> tuple[Strength, int] | None:
    """A strength that begins at ``start`` and where it ends.

    Percent, ratio ("one to two hundred thousand"), mass or units per millilitre, mass or units.
    """
    ratio = _ratio_at(words, start)
    if ratio is not None:
        return ratio
    number = decimal_at(words, start)
    if number is None:
        return None
    value, end = number
    if words[end : end + 2] == ["of", "a"] or words[end : end + 2] == ["a", "percent"]:
        end += 1 if words[end] == "a" else 2  # "half a percent", "half of a percent"
    if words[end : end + 1] in (["percent"], ["%"]):
        return Strength(value=value, unit="%"), end + 1
    if words[end : end + 2] == ["per", "cent"]:
        return Strength(value=value, unit="%"), end + 2
    if words[end : end + 1] and words[end] in _WRITTEN_UNITS:
        return Strength(value=value, unit=_WRITTEN_UNITS[words[end]]), end + 1
    for phrase, unit in sorted(_MASS_UNITS.items(), key=lambda entry: -len(entry[0])):
        if not _starts(words, end, phrase):
            continue
        after = end + len(phrase)
        if words[after : after + 1] in (["per"], ["/"], ["a"]):
            each = unit_at(words, after + 1)
            if each is not None:
                return Strength(value=value, unit=f"{unit}/mL"), each
            # "ten milligrams per five milliliters" is two milligrams in each
            shared = volume_at(words, after + 1) if words[after] != "a" else None
            if shared is not None and shared[0] > 0:
                each_has = plain(value / shared[0])
                if int(each_has.as_tuple().exponent) < -_FINEST:
                    each_has = plain(round(each_has, _FINEST))
                return Strength(value=each_has, unit=f"{unit}/mL"), shared[1]
        if unit in UNITS_ALONE:
            return Strength(value=value, unit=unit), after
    return None
