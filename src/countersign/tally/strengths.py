"""Is a strength that was heard one that the kit stocks?"""

from collections.abc import Iterator
from decimal import Decimal

from countersign.kit import Kit
from countersign.kit.written import read_strength
from countersign.meaning.event import MedicationDetail, Strength
from countersign.medication.concentration import in_one_ml, same_strength

__all__ = ["micrograms_per_ml", "same_strength", "strengths_not_stocked", "written_strength"]


def micrograms_per_ml(strength: Strength) -> Decimal | None:
    """Micrograms in a millilitre, ``None`` for a unit that is no weight in a volume."""
    one = in_one_ml(strength)
    return one.value if one is not None and one.unit == "ug" else None


def written_strength(text: str) -> Strength | None:
    """A strength as a kit writes it (``0.25 %``, ``1:200,000``, ``10 mg/mL``), if it is one."""
    read = read_strength(text)
    return None if read is None else Strength(value=read[0], unit=read[1])


def strengths_not_stocked(kit: Kit, detail: MedicationDetail | None) -> Iterator[str]:
    """A sentence for each strength said that the kit does not list for its medication.

    Nothing is said about a medication without a list, or whose list holds what cannot be read.
    """
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
