"""The FHIR R4 bundle against independent libraries, invariants of the standard, and the record."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle
from fhirclient.models.bundle import Bundle as ClientBundle
from fhirpathpy import evaluate
from fhirpathpy.models import models
from tests.papers.cases import (
    KIT,
    Make,
    Shelf,
    awkward_case,
    decided,
    exception_case,
    kept,
    long_case,
    medicine,
    opening,
    plain_case,
    set_up_case,
    short_case,
)
from ucumvert import PintUcumRegistry, get_ucum_parser

from countersign.exchange import read_stored
from countersign.exchange.fhir import fhir_text
from countersign.ledger import Ledger, read_case, record_of
from countersign.meaning.event import EventKind, Strength
from countersign.problems import BadInput
from countersign.tally.record import Act
from countersign.wording import is_confirmed

CASES: list[Make] = [plain_case, short_case, exception_case, awkward_case, set_up_case, long_case]
AT = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
R4 = models["r4"]


def bundle_of(ledger: Ledger, case: str) -> dict[str, Any]:
    history = read_case(ledger, case)
    text = fhir_text(history, record_of(history), read_stored(ledger, case), AT)
    bundle: dict[str, Any] = json.loads(text)
    return bundle


@cache
def shelved(shelf: Shelf, make: Make) -> dict[str, Any]:
    """The bundle of a case that no test changes; it is not to be changed either."""
    return bundle_of(shelf.ledger, shelf.case(make))


def resources(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    found = [entry["resource"] for entry in bundle["entry"]]
    return [each for each in found if each["resourceType"] == kind]


def inside(value: Any, name: str) -> Iterator[Any]:
    """Every value under this name, at any depth."""
    if isinstance(value, dict):
        for key, inner in value.items():
            if key == name:
                yield inner
            yield from inside(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from inside(inner, name)


@pytest.mark.parametrize("make", CASES)
def test_two_libraries_take_it(shelf: Shelf, make: Make) -> None:
    """fhir.resources (models of R4B 4.3.0, which left these resources of R4 as they were) and
    fhirclient (models of R4 4.0.1) both refuse unknown, missing and mistyped elements.
    """
    bundle = shelved(shelf, make)
    again = Bundle.model_validate(bundle)
    assert len(again.entry) == len(bundle["entry"])
    assert ClientBundle(bundle, strict=True).as_json()["type"] == "collection"


def test_the_libraries_do_refuse(ledger: Ledger) -> None:
    bundle = bundle_of(ledger, plain_case(ledger))
    (procedure,) = resources(bundle, "Procedure")
    del procedure["status"]
    with pytest.raises(Exception, match="status"):
        ClientBundle(bundle, strict=True)
    with pytest.raises(ValueError, match="status"):
        Bundle.model_validate(bundle)


# Invariants of HL7 FHIR R4 (4.0.1), from memory, as FHIRPath on the resource named.
INVARIANTS = [
    ("Bundle", "(type = 'collection') and total.empty()"),  # bdl-1
    ("Bundle", "entry.search.empty() and entry.request.empty() and entry.response.empty()"),
    ("Bundle", "entry.all(resource.exists() and fullUrl.exists())"),  # bdl-5
    ("Bundle", "entry.fullUrl.isDistinct()"),  # bdl-7
    ("Bundle", "entry.all(fullUrl.contains('/_history/').not())"),  # bdl-8
    ("*", "contained.contained.empty()"),  # dom-2
    ("*", "contained.meta.empty()"),  # dom-4, dom-5
    ("Observation", "dataAbsentReason.empty() or value.empty()"),  # obs-6
    ("Observation", "component.all(value.exists() or dataAbsentReason.exists())"),
    ("Observation", "component.where(code.text = %resource.code.text).empty()"),  # obs-7
    ("Observation", "status = 'final' and code.exists()"),
    ("Provenance", "target.exists() and agent.exists() and agent.all(who.exists())"),
    ("MedicationDispense", "whenHandedOver.empty() or whenPrepared.empty()"),  # mdd-1
    ("MedicationDispense", "medication.exists() and status = 'completed'"),
    ("AuditEvent", "entity.all(name.empty() or query.empty())"),  # sev-1
    ("AuditEvent", "agent.exists() and agent.all(requestor.exists()) and source.exists()"),
    ("Procedure", "status = 'unknown' and subject.exists()"),
]


@pytest.mark.parametrize(("kind", "invariant"), INVARIANTS)
def test_invariants(shelf: Shelf, kind: str, invariant: str) -> None:
    bundle = shelved(shelf, short_case)
    found = [bundle] if kind == "Bundle" else [entry["resource"] for entry in bundle["entry"]]
    found = [each for each in found if kind in ("*", each["resourceType"])]
    assert found
    for each in found:
        assert evaluate(each, invariant, {"resource": each}, R4) == [True], each


@pytest.mark.parametrize("make", CASES)
def test_references_lead_somewhere(shelf: Shelf, make: Make) -> None:
    """dom-3: what is contained is referred to; every other reference is to an entry."""
    bundle = shelved(shelf, make)
    urls = {entry["fullUrl"] for entry in bundle["entry"]}
    for entry in bundle["entry"]:
        made = entry["resource"]
        contained = {f"#{each['id']}" for each in made.get("contained", [])}
        referred = set(inside(made, "reference"))
        assert contained <= referred
        assert referred <= urls | contained


def test_no_patient_is_named(ledger: Ledger) -> None:
    bundle = bundle_of(ledger, short_case(ledger))
    patients = [
        each
        for contained in inside(bundle, "contained")
        for each in contained
        if each["resourceType"] == "Patient"
    ]
    assert patients
    assert all(patient == {"resourceType": "Patient", "id": "unnamed"} for patient in patients)
    assert resources(bundle, "Patient") == []


@pytest.mark.parametrize("make", CASES)
def test_units_are_ucum(shelf: Shelf, make: Make) -> None:
    """Each code is parsed by ucumvert, from the grammar of the UCUM specification."""
    parser = get_ucum_parser()
    bundle = shelved(shelf, make)
    quantities = [
        each for each in _objects(bundle) if each.get("system") == "http://unitsofmeasure.org"
    ]
    for each in quantities:
        parser.parse(each["code"])
        assert not isinstance(each["value"], str)
    assert quantities


def _objects(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from _objects(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _objects(inner)


@pytest.mark.parametrize(
    ("strength", "micrograms_in_one_ml"),
    [
        # Percent is g in 100 mL and a ratio is g in mL (USP General Notices, from memory).
        (Strength(value=Decimal(1), unit="%"), 10_000),
        (Strength(value=Decimal("0.25"), unit="%"), 2_500),
        (Strength(value=Decimal(100_000), unit="ratio"), 10),
        (Strength(value=Decimal(1_000), unit="ratio"), 1_000),
        (Strength(value=Decimal(10), unit="mg/mL"), 10_000),
        (Strength(value=Decimal(40), unit="ug/mL"), 40),
    ],
)
def test_strengths_as_ratios(
    ledger: Ledger, strength: Strength, micrograms_in_one_ml: float
) -> None:
    """Worked out by ucumvert and pint from the codes in the bundle."""
    line = medicine(
        EventKind.RECEIPT, 1, "30", strength=strength, additive=None, additive_strength=None
    )
    (made,) = resources(bundle_of(ledger, kept(ledger, [line], [decided(1)])), "MedicationDispense")
    medication = next(each for each in made["contained"] if each["resourceType"] == "Medication")
    ratio = medication["ingredient"][0]["strength"]
    units = PintUcumRegistry()
    top, bottom = (
        ratio[part]["value"] * units.from_ucum(ratio[part]["code"])
        for part in ("numerator", "denominator")
    )
    assert (top / bottom).to("microgram/milliliter").magnitude == pytest.approx(
        micrograms_in_one_ml
    )


@pytest.mark.parametrize("make", CASES)
def test_only_what_is_confirmed(shelf: Shelf, make: Make) -> None:
    record = record_of(read_case(shelf.ledger, shelf.case(make)))
    bundle = shelved(shelf, make)
    counted = [
        (each["code"]["coding"][0]["code"], each["valueQuantity"]["value"])
        for each in resources(bundle, "Observation")
        if "coding" in each["code"]
    ]
    kinds = (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL, EventKind.BREAKAGE)
    assert counted == [
        (line.confirmed_item, line.confirmed_quantity)
        for line in record.lines
        if is_confirmed(line) and line.acts_as in kinds
    ]
    confirmed = sum(map(is_confirmed, record.lines))
    (procedure,) = resources(bundle, "Procedure")
    note = procedure["note"][0]["text"]
    left_out = len(record.lines) - confirmed
    assert f"{confirmed} of {len(record.lines)} lines of the record are confirmed" in note
    assert f"; {left_out} {'is' if left_out == 1 else 'are'} not and left out." in note


def test_what_nobody_confirmed_leaves_no_trace(ledger: Ledger) -> None:
    text = json.dumps(bundle_of(ledger, short_case(ledger)))
    assert "Dissecting sponge" not in text  # line 14, open
    assert "Vessel loop" not in text  # line 15, set aside
    assert "laps four" not in text and '"value": 4' in text  # line 11, amended from 4 to 5


def test_nothing_confirmed_is_refused(ledger: Ledger) -> None:
    case = kept(ledger, opening(), [decided(1, Act.SET_ASIDE, reason="x")])
    with pytest.raises(BadInput, match=rf"^Nothing in case {case} is confirmed, so nothing is"):
        bundle_of(ledger, case)


def test_who_confirmed(ledger: Ledger) -> None:
    case = exception_case(ledger)
    bundle = bundle_of(ledger, case)
    by = {
        each["target"][0]["reference"]: each
        for each in resources(bundle, "Provenance")
        if each["activity"]["text"] == "confirmed"
    }
    for entry in bundle["entry"]:
        if entry["resource"]["resourceType"] in ("Observation", "MedicationDispense"):
            made = by[entry["fullUrl"]]
            assert made["recorded"].startswith("2026-03-02T07:3")
            kinds = [agent["type"]["coding"][0]["code"] for agent in made["agent"]]
            assert kinds == ["verifier", "assembler"]
    assert {made["agent"][0]["who"]["display"] for made in by.values()} == {
        "circulator CD",
        "scrub AB",
    }


def test_an_exception_never_reads_like_a_plain_correct(ledger: Ledger) -> None:
    bundle = bundle_of(ledger, exception_case(ledger))
    (verdict,) = (
        each
        for each in resources(bundle, "Observation")
        if each["code"]["text"] == "Verdict of the count"
    )
    assert verdict["valueString"].startswith("count correct BY EXCEPTION; AB (scrub) and CD")
    (signed,) = (each for each in resources(bundle, "Provenance") if "reason" in each)
    assert [agent["who"]["display"] for agent in signed["agent"]] == ["scrub AB", "circulator CD"]
    assert signed["reason"] == [{"text": "image clear, read by radiology"}]
    (procedure,) = resources(bundle, "Procedure")
    assert "An open discrepancy: X-ray detectable sponge" in procedure["note"][0]["text"]


def test_a_draw_is_no_administration(ledger: Ledger) -> None:
    """10 mL of lidocaine 1 % with epinephrine 1:100,000 are 100 mg and 100 micrograms (USP)."""
    bundle = bundle_of(ledger, plain_case(ledger))
    assert resources(bundle, "MedicationAdministration") == []
    (drawn,) = (
        each
        for each in resources(bundle, "Observation")
        if each["code"]["text"].startswith("Drawn up")
    )
    assert drawn["valueQuantity"]["value"] == 10 and drawn["valueQuantity"]["code"] == "mL"
    amounts = {
        part["code"]["text"]: (part["valueQuantity"]["value"], part["valueQuantity"]["code"])
        for part in drawn["component"]
        if "valueQuantity" in part
    }
    assert amounts == {
        "Amount of Lidocaine": (100, "mg"),
        f"Amount of {KIT.medication('epinephrine').label}": (100, "ug"),
    }


def test_doses_wait_for_the_line_that_gives_the_strength(ledger: Ledger) -> None:
    events = opening()
    confirmed = [
        decided(line) for line in range(1, len(events) + 1) if events[line - 1].kind != "receipt"
    ]
    bundle = bundle_of(ledger, kept(ledger, events, confirmed))
    assert resources(bundle, "MedicationDispense") == []
    (drawn,) = (
        each
        for each in resources(bundle, "Observation")
        if each["code"]["text"].startswith("Drawn up")
    )
    assert not [p for p in drawn["component"] if p["code"]["text"].startswith("Amount")]


def test_the_audit_names_the_ledger_content(ledger: Ledger) -> None:
    case = plain_case(ledger)
    (audit,) = resources(bundle_of(ledger, case), "AuditEvent")
    # DICOM PS3.16, DCM 110106 "Export"; the value set of AuditEvent.type has it.
    assert audit["type"] == {
        "system": "http://dicom.nema.org/resources/ontology/DCM",
        "code": "110106",
        "display": "Export",
    }
    details = {each["type"]: each["valueString"] for each in audit["entity"][0]["detail"]}
    assert details["case"] == case
    assert len(details["ledger SHA-256"]) == 64
    assert details["ledger entries"] == str(len(read_stored(ledger, case).entries))


def test_the_same_content_gets_the_same_ids(ledger: Ledger) -> None:
    case = plain_case(ledger)
    assert bundle_of(ledger, case) == bundle_of(ledger, case)
