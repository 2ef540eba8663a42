"""Pieces of FHIR R4 resources: references, concepts, quantities in UCUM."""

from datetime import datetime
from decimal import Decimal
from typing import Any

from countersign.meaning.event import Strength
from countersign.medication.units import Amount, plain, readable
from countersign.tally.record import Line

UCUM = "http://unitsofmeasure.org"


def number(value: Decimal) -> int | float:
    """A decimal as a JSON number. Up to fifteen digits, as here, none is lost on the way."""
    value = plain(value)
    return int(value) if value == value.to_integral_value() else float(value)


def resource(kind: str, *, with_subject: bool = False, **elements: Any) -> dict[str, Any]:
    """A resource; ``with_subject`` gives it a contained, unnamed Patient as its subject."""
    made: dict[str, Any] = {"resourceType": kind}
    if with_subject:
        made["contained"] = [{"resourceType": "Patient", "id": "unnamed"}]
        made["subject"] = {"reference": "#unnamed"}
    return {**made, **elements}


def reference(url: str) -> dict[str, Any]:
    """A reference to a resource of the same bundle."""
    return {"reference": url}


def said_by(role: str, initials: str) -> dict[str, Any]:
    """A person of the staff, by role and initials only."""
    return {"display": f"{role} {initials}"}


def instant(at: datetime) -> str:
    """A point in time with its offset (FHIR ``instant``)."""
    return at.isoformat(timespec="milliseconds")


def observation(line: Line, code: str, part_of: list[dict[str, Any]]) -> dict[str, Any]:
    """An Observation about a confirmed line, still without its value.

    When it was said is known in its recording and not in the day; when it was confirmed is
    ``issued``.
    """
    made = resource("Observation", status="final", code=concept(code), partOf=part_of)
    if line.decision is not None:
        made["issued"] = instant(line.decision.at)
        made["performer"] = [said_by(line.decision.role.value, line.decision.initials)]
    return made


def concept(text: str) -> dict[str, Any]:
    """A CodeableConcept in words."""
    return {"text": text}


def quantity(value: Decimal, code: str, unit: str | None = None) -> dict[str, Any]:
    """A Quantity; ``code`` is UCUM, ``unit`` what people read."""
    return {"value": number(value), "unit": unit or code, "system": UCUM, "code": code}


def eaches(value: Decimal) -> dict[str, Any]:
    """So many things: in UCUM a bare annotation is a number without a unit."""
    return quantity(value, "{each}", "each")


def amount_quantity(amount: Amount) -> dict[str, Any]:
    """An amount of a substance in the unit that people read."""
    shown = readable(amount)
    return quantity(shown.value, shown.unit)


def strength_ratio(strength: Strength) -> dict[str, Any] | None:
    """A strength as a Ratio of amount and volume, ``None`` where it has no volume.

    1 % is 1 g in 100 mL and 1:1,000 is 1 g in 1,000 mL (USP General Notices, from memory).
    """
    if strength.unit == "%":
        return _ratio(strength.value, "g", Decimal(100))
    if strength.unit == "ratio":
        return _ratio(Decimal(1), "g", strength.value)
    unit, slash, volume = strength.unit.partition("/")
    if slash and volume == "mL":
        return _ratio(strength.value, unit, Decimal(1))
    return None


def _ratio(value: Decimal, unit: str, volume_ml: Decimal) -> dict[str, Any]:
    return {"numerator": quantity(value, unit), "denominator": quantity(volume_ml, "mL")}
