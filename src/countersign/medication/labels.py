"""What a label on the sterile field must say, and what one lacks."""

from countersign.kit import Kit, Medication
from countersign.meaning.event import MedicationDetail
from countersign.medication.concentration import Form, form_of

_DAY_HOURS = 24


def missing_elements(
    kit: Kit, label: MedicationDetail, contents: MedicationDetail
) -> tuple[str, ...]:
    """The required elements that a label lacks for what is in its container.

    The Joint Commission NPSG.03.04.01 (from memory): name, strength, amount, diluent and volume,
    expiry date when not used within 24 hours, expiry time when expiry is in less than 24 hours.
    What stays on the field is used or discarded within the case, so that the date is not asked for
    (common practice, no source); the time is, where a time was said or the kit says that the
    medication keeps for less than a day. ``contents`` is what was received.
    """
    known = medication_of(kit, label.name or contents.name)
    needed: list[tuple[str, bool]] = [
        ("name", label.name is None),
        ("strength", label.strength is None and not strength_in_name(known)),
        ("amount", label.volume_ml is None and not _is_amount(label)),
    ]
    additive = label.additive or contents.additive
    if additive is not None:
        needed.append(("additive", label.additive is None))
        needed.append(("strength of the additive", label.additive_strength is None))
    if _is_mixed(known, contents) or _is_mixed(known, label):
        needed.append(("diluent", label.diluent is None))
        needed.append(("volume of the diluent", label.diluent_volume_ml is None))
    if contents.expiry_time is not None or _keeps_under_a_day(known):
        needed.append(("time of expiry", label.expiry_time is None))
    return tuple(name for name, lacking in needed if lacking)


def medication_of(kit: Kit, medication_id: str | None) -> Medication | None:
    """The kit's medication with this id, ``None`` if it has none."""
    return next((each for each in kit.medications if each.id == medication_id), None)


def strength_in_name(medication: Medication | None) -> bool:
    """Whether a strength need not be said: none is stocked, or the only one is in the label."""
    if medication is None:
        return False
    stocked = medication.strengths
    return not stocked or (len(stocked) == 1 and stocked[0] in medication.label)


def _is_amount(label: MedicationDetail) -> bool:
    return label.strength is not None and form_of(label.strength) is Form.AMOUNT


def _is_mixed(medication: Medication | None, detail: MedicationDetail) -> bool:
    said = detail.diluent is not None or detail.diluent_volume_ml is not None
    return said or (medication is not None and medication.diluent is not None)


def _keeps_under_a_day(medication: Medication | None) -> bool:
    hours = None if medication is None else medication.keeps_hours
    return hours is not None and hours < _DAY_HOURS
