"""Strengths, amounts and preparations in words, for labels and sentences."""

from decimal import Decimal

from countersign.kit import Kit
from countersign.meaning.event import Strength
from countersign.medication.units import Amount, plain, readable, rounded

# Spelled out where the abbreviation is easily misread; a zero stands before the point and none
# after the last figure (ISMP list of error-prone abbreviations, from memory).
UNITS = {
    "ug/mL": "micrograms/mL",
    "[U]/mL": "units/mL",
    "[U]": "units",
    "ug": "micrograms",
    "meq": "milliequivalents",
    "meq/mL": "milliequivalents/mL",
}


def figure_text(value: Decimal, unit: str) -> str:
    """A figure with its unit (a UCUM code) in words: ``2.5 mL``, ``50 micrograms``."""
    return f"{plain(value):f} {UNITS.get(unit, unit)}"


def strength_text(strength: Strength) -> str:
    """A strength as it is written on a label: ``1 %``, ``1:200,000``, ``10 mg/mL``.

    What does not end after a dilution is rounded (:func:`~countersign.medication.units.rounded`).
    """
    value = rounded(strength.value)
    if strength.unit == "ratio":
        return f"1:{value:,f}"
    return figure_text(value, strength.unit)


def amount_text(amount: Amount | None) -> str:
    """An amount as people write it, ``-`` where it is not known."""
    if amount is None:
        return "-"
    shown = readable(amount)
    return figure_text(shown.value, shown.unit)


def volume_text(volume_ml: Decimal | None) -> str:
    """Millilitres, ``-`` where they are not known."""
    return "-" if volume_ml is None else figure_text(volume_ml, "mL")


def medication_label(medication_id: str, kit: Kit) -> str:
    """The kit's label of a medication; the id itself where the kit has none."""
    return next((m.label for m in kit.medications if m.id == medication_id), medication_id)


def mixture_text(
    kit: Kit,
    name: str,
    strength: Strength | None,
    additive: str | None = None,
    additive_strength: Strength | None = None,
) -> str:
    """``Lidocaine 1 % with epinephrine 1:200,000``."""
    text = medication_label(name, kit)
    if strength is not None and strength_text(strength) not in text:
        text += f" {strength_text(strength)}"
    if additive is not None:
        text += f" with {in_sentence(medication_label(additive, kit))}"
        if additive_strength is not None:
            text += f" {strength_text(additive_strength)}"
    return text


def in_sentence(label: str) -> str:
    """A label in the middle of a sentence: its capital goes unless it is an abbreviation."""
    return label if label[1:2].isupper() else label[:1].lower() + label[1:]
