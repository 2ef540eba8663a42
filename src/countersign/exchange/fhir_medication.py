"""What was confirmed of medications and solutions, as FHIR R4 resources."""

from decimal import Decimal
from typing import Any

from countersign.exchange.fhir_values import (
    amount_quantity,
    concept,
    instant,
    observation,
    quantity,
    resource,
    said_by,
    strength_ratio,
)
from countersign.kit.model import Kit
from countersign.meaning.event import MedicationDetail, Strength
from countersign.medication.units import Amount
from countersign.medication.values import MedicationAccount
from countersign.medication.words import medication_label, strength_text
from countersign.tally.record import Line
from countersign.wording import medication_text


def dispensed(line: Line, kit: Kit, part_of: list[dict[str, Any]]) -> dict[str, Any]:
    """A receipt: handed over to the sterile field, which says nothing about a patient's dose."""
    detail = said(line)
    made = resource(
        "MedicationDispense",
        with_subject=True,
        partOf=part_of,
        status="completed",
        medicationReference={"reference": "#medication"},
    )
    made["contained"].append(_medication(detail, kit))
    if detail.volume_ml is not None:
        made["quantity"] = quantity(detail.volume_ml, "mL")
    if line.decision is not None:
        made["performer"] = [{"actor": said_by(line.decision.role.value, line.decision.initials)}]
        made["note"] = [
            {
                "time": instant(line.decision.at),
                "text": f"Confirmed: {medication_text(detail.name, detail, kit)}.",
            }
        ]
    if detail.received_by is not None:
        made["receiver"] = [{"display": detail.received_by}]
    return made


def drawn_up(
    line: Line, account: MedicationAccount, kit: Kit, part_of: list[dict[str, Any]]
) -> dict[str, Any]:
    """A draw into a syringe; its doses only where the lines that give the strength are confirmed.

    It is an Observation: what is given from the syringe is not heard.
    """
    detail = said(line)
    made = observation(line, f"Drawn up: {_name(detail, kit)}", part_of)
    if detail.volume_ml is not None:
        made["valueQuantity"] = quantity(detail.volume_ml, "mL")
    draw = next((each for each in account.draws if each.line == line.number), None)
    components = _strengths(detail, kit)
    if draw is not None and draw.confirmed:
        doses: list[tuple[str | None, Amount | None]] = [
            (draw.name, draw.dose),
            (draw.additive, draw.additive_dose),
        ]
        components += [
            {
                "code": concept(f"Amount of {medication_label(name, kit)}"),
                "valueQuantity": amount_quantity(amount),
            }
            for name, amount in doses
            if name is not None and amount is not None
        ]
    if components:
        made["component"] = components
    return made


def labelled(line: Line, kit: Kit, part_of: list[dict[str, Any]]) -> dict[str, Any]:
    """What a label says."""
    detail = said(line)
    made = observation(line, "Label on the sterile field", part_of)
    made["valueString"] = medication_text(detail.name, detail, kit)
    components = _strengths(detail, kit)
    if detail.volume_ml is not None:
        components.append(
            {"code": concept("Volume"), "valueQuantity": quantity(detail.volume_ml, "mL")}
        )
    if components:
        made["component"] = components
    return made


def said(line: Line) -> MedicationDetail:
    """Everything a confirmed line says of a medication, as amended."""
    detail = line.medication or line.event.medication or MedicationDetail()
    volume = detail.volume_ml
    if line.confirmed_quantity is not None:
        volume = Decimal(line.confirmed_quantity)
    name = line.confirmed_item or detail.name
    return detail.model_copy(update={"name": name, "volume_ml": volume})


def _name(detail: MedicationDetail, kit: Kit) -> str:
    return medication_label(detail.name, kit) if detail.name else "medication not heard"


def _strengths(detail: MedicationDetail, kit: Kit) -> list[dict[str, Any]]:
    return [
        {"code": concept(f"Strength of {medication_label(name, kit)}"), **_strength_value(strength)}
        for name, strength in (
            (detail.name, detail.strength),
            (detail.additive, detail.additive_strength),
        )
        if name is not None and strength is not None
    ]


def _strength_value(strength: Strength) -> dict[str, Any]:
    ratio = strength_ratio(strength)
    return {"valueString": strength_text(strength)} if ratio is None else {"valueRatio": ratio}


def _medication(detail: MedicationDetail, kit: Kit) -> dict[str, Any]:
    """A contained Medication with its ingredients, lot and expiry."""
    made: dict[str, Any] = {
        "resourceType": "Medication",
        "id": "medication",
        "code": concept(medication_text(detail.name, _what(detail), kit)),
    }
    ingredients = []
    for name, strength in (
        (detail.name, detail.strength),
        (detail.additive, detail.additive_strength),
        (detail.diluent, None),
    ):
        if name is None:
            continue
        ingredient: dict[str, Any] = {"itemCodeableConcept": concept(medication_label(name, kit))}
        ratio = strength_ratio(strength) if strength is not None else None
        if ratio is not None:
            ingredient["strength"] = ratio
        ingredients.append(ingredient)
    if ingredients:
        made["ingredient"] = ingredients
    batch = {}
    if detail.lot is not None:
        batch["lotNumber"] = detail.lot
    if detail.expiry is not None:
        batch["expirationDate"] = detail.expiry.isoformat()
    if batch:
        made["batch"] = batch
    return made


def _what(detail: MedicationDetail) -> MedicationDetail:
    """What is in the container, without how much there is or who handed it over."""
    kept = ("name", "strength", "additive", "additive_strength", "diluent", "diluent_volume_ml")
    return MedicationDetail(**{field: getattr(detail, field) for field in kept})
