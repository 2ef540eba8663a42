"""Is a strength that was heard one that the kit stocks?"""

import re
from collections.abc import Iterator
from decimal import Decimal

from countersign.kit import Kit
from countersign.meaning.event import Event, Strength

_WRITTEN = re.compile(r"(?P<value>\d+(?:\.\d+)?)\s*(?P<unit>%|[a-zA-Zµ]+(?:/m[lL])?)")
_RATIO = re.compile(r"1:(?P<value>\d[\d,]*)")
_UNITS = {"ml": "mL", "µg": "ug", "mcg": "ug", "unit": "[U]", "units": "[U]"}


def micrograms_per_ml(strength: Strength) -> Decimal | None:
    """Micrograms in a millilitre, ``None`` for a unit that is no weight in a volume.

    Percent is weight in volume, 1 % = 1 g in 100 mL = 10 mg/mL; a ratio 1:n is 1 g in n mL (USP
    General Notices, from memory).
    """
    match strength.unit:
        case "%":
            return strength.value * 10_000
        case "ratio":
            return Decimal(1_000_000) / strength.value if strength.value else None
        case "mg/mL":
            return strength.value * 1_000
        case "ug/mL":
            return strength.value
    return None


def written_strength(text: str) -> Strength | None:
    """A strength as a kit writes it (``0.25 %``, ``1:200,000``, ``10 mg/mL``), if it is one."""
    ratio = _RATIO.fullmatch(text.strip())
    if ratio is not None:
        return Strength(value=Decimal(ratio["value"].replace(",", "")), unit="ratio")
    plain = _WRITTEN.fullmatch(text.strip())
    if plain is None:
        return None
    unit = "/".join(_UNITS.get(part.lower(), part) for part in plain["unit"].split("/"))
    return Strength(value=Decimal(plain["value"]), unit=unit)


def same_strength(first: Strength, second: Strength) -> bool:
    """Whether both are the same amount in the same volume, however they are written."""
    one, other = micrograms_per_ml(first), micrograms_per_ml(second)
    if one is None or other is None:
        return first == second
    return one == other


def strengths_not_stocked(kit: Kit, event: Event) -> Iterator[str]:
    """A sentence for each strength of an event that the kit does not list for its medication.

    Nothing is said about a medication without a list, or whose list holds what cannot be read.
    """
    detail = event.medication
    if detail is None:
        return
    known = {medication.id: medication for medication in kit.medications}
    for name, strength in (
        (detail.name, detail.strength),
        (detail.additive, detail.additive_strength),
    ):
        medication = known.get(name or "")
        if medication is None or strength is None:
            continue
        stocked = [written_strength(text) for text in medication.strengths]
        if not stocked or None in stocked:
            continue
        if not any(each is not None and same_strength(strength, each) for each in stocked):
            listed = " or ".join(medication.strengths)
            yield f"The kit has {medication.label} as {listed}; another strength was heard."
