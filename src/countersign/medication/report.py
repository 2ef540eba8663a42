"""The medication account for JSON and CSV, with a status beside every figure."""

from typing import Any

from countersign.caution import CONFIRMED, NOT_CONFIRMED
from countersign.kit import Kit
from countersign.medication.published import DOSES_CAUTION
from countersign.medication.units import Amount, readable
from countersign.medication.values import Drawn, MedicationAccount, Preparation, SubstanceTotal
from countersign.medication.view import LABELS_CAUTION, label_text
from countersign.medication.words import (
    amount_text,
    medication_label,
    mixture_text,
    strength_text,
)
from countersign.plain_json import plain

MEDICATION_COLUMNS = (
    "medication_strength",
    "dose",
    "running_dose",
    "additive_dose",
    "additive_running_dose",
    "label",
)
"""Columns of a line about a medication: figures of a draw, and the label where the line is one."""


def medications_object(account: MedicationAccount, kit: Kit) -> dict[str, Any]:
    """The account as plain values. Amounts have a UCUM unit and a text for people beside them."""
    return {
        "caution": LABELS_CAUTION,
        "doses_caution": DOSES_CAUTION,
        "on_the_field": [_preparation_object(each, kit) for each in account.preparations],
        "draws": [_drawn_object(each, kit) for each in account.draws],
        "totals": [_total_object(each, kit) for each in account.totals],
        "questions": plain(account.questions),
    }


def medication_cells(account: MedicationAccount, line: int) -> dict[str, object]:
    """The cells of one line by column; empty where the line says nothing of a medication."""
    cells: dict[str, object] = dict.fromkeys(MEDICATION_COLUMNS)
    draw = next((each for each in account.draws if each.line == line), None)
    if draw is not None:
        figures = (draw.dose, draw.running, draw.additive_dose, draw.additive_running)
        cells |= dict(zip(MEDICATION_COLUMNS[1:5], map(_cell, figures), strict=True))
        cells["medication_strength"] = strength_text(draw.strength) if draw.strength else None
        return cells
    # A line is a preparation's own where that stands on it, not where a syringe was filled from it.
    made = next(
        (each for each in account.preparations if line in each.lines and not each.drawn_up), None
    )
    if made is not None:
        cells["medication_strength"] = strength_text(made.strength) if made.strength else None
        cells["label"] = label_text(made)
    return cells


def _cell(amount: Amount | None) -> str | None:
    return None if amount is None else amount_text(amount)


def _status(*, confirmed: bool) -> str:
    return CONFIRMED if confirmed else NOT_CONFIRMED


def _amount_object(amount: Amount | None) -> dict[str, Any] | None:
    if amount is None:
        return None
    shown = readable(amount)
    return {"value": plain(shown.value), "unit": shown.unit, "text": amount_text(amount)}


def _preparation_object(each: Preparation, kit: Kit) -> dict[str, Any]:
    return {
        "status": _status(confirmed=each.confirmed),
        "text": mixture_text(kit, each.name, each.strength, each.additive, each.additive_strength),
        **_with_amounts(each),
    }


def _drawn_object(each: Drawn, kit: Kit) -> dict[str, Any]:
    return {
        "status": _status(confirmed=each.confirmed),
        "text": mixture_text(kit, each.name, each.strength, each.additive, each.additive_strength),
        **_with_amounts(each),
    }


def _total_object(each: SubstanceTotal, kit: Kit) -> dict[str, Any]:
    return {
        "status": _status(confirmed=each.confirmed),
        "text": medication_label(each.name, kit),
        **_with_amounts(each),
    }


def _with_amounts(each: Preparation | Drawn | SubstanceTotal) -> dict[str, Any]:
    """The model's fields, amounts in the unit that people read."""
    found: dict[str, Any] = {}
    for name in type(each).model_fields:
        value = getattr(each, name)
        found[name] = _amount_object(value) if isinstance(value, Amount) else plain(value)
    return found
