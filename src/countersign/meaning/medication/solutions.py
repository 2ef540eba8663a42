"""Solutions: what needs no strength, and what others are mixed with."""

from countersign.kit.model import Kit


def needs_no_strength(kit: Kit, medication: str | None) -> bool:
    """A solution without stocked strengths, or whose one strength is part of its name."""
    if medication is None:
        return False
    entry = kit.medication(medication)
    return not entry.strengths or (len(entry.strengths) == 1 and entry.strengths[0] in entry.label)


def solutions(kit: Kit) -> frozenset[str]:
    """The ids of the medications that others are diluted with."""
    named = {medication.diluent for medication in kit.medications if medication.diluent}
    return frozenset(
        medication.id
        for medication in kit.medications
        if medication.id in named or needs_no_strength(kit, medication.id)
    )
