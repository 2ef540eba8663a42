"""A confirmed record as an HL7 FHIR R4 (4.0.1) bundle, for systems that keep patient records.

Every resource that says something of the operation says only what a person confirmed; what is not
is counted in a note. A DocumentReference carries the whole case as this tool's JSON document, so
that the bundle can be imported again without loss; it says of itself that it is not confirmed where
that is so. The bundle names no patient: the subject is a contained Patient without any element.
Resources and bindings: HL7 FHIR R4, from memory; the tests check them with independent libraries.
"""

import json
from base64 import b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from hashlib import sha1
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

from countersign.caution import CONFIRMED, NOT_CONFIRMED, TWO_PEOPLE
from countersign.exchange.document import document_text
from countersign.exchange.fhir_medication import dispensed, drawn_up, labelled
from countersign.exchange.fhir_values import (
    concept,
    eaches,
    instant,
    observation,
    reference,
    resource,
    said_by,
)
from countersign.exchange.software import model_of, software
from countersign.exchange.stored import StoredCase, fingerprint
from countersign.ledger import CaseHistory
from countersign.meaning.event import EventKind
from countersign.problems import BadInput
from countersign.tally.record import CountRecord, Line
from countersign.wording import PHASES, is_confirmed, item_label, verdict_text, where_text

_COUNTED = {
    EventKind.COUNT: "Counted",
    EventKind.ADDITION: "Added to the sterile field",
    EventKind.REMOVAL: "Taken off the count",
    EventKind.BREAKAGE: "Pieces that one became",
}
_PARTICIPANT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
DOCUMENT_TYPE = "Whole count record with its history"
_DICOM = "http://dicom.nema.org/resources/ontology/DCM"


@dataclass(frozen=True)
class _Case:
    """What every resource of one bundle is made from; ``space`` makes its ids stable."""

    history: CaseHistory
    record: CountRecord
    space: UUID

    def url(self, name: str) -> str:
        """The ``fullUrl`` of a resource of the bundle."""
        return uuid5(self.space, name).urn


def fhir_bundle(
    history: CaseHistory, record: CountRecord, stored: StoredCase, at: datetime
) -> dict[str, Any]:
    """The bundle (type ``collection``) of a record, exported ``at`` (timezone-aware, milliseconds).

    One Procedure; an Observation for each confirmed line that counts or changes a count, for each
    confirmed draw and label, and for the confirmed verdict; a MedicationDispense for each confirmed
    receipt; a Provenance for each decision in force and each exception; a DocumentReference with
    the whole case; an AuditEvent for the export. There is no MedicationAdministration, because what
    is given from a syringe is not heard. Phases, remarks and what is set up on the tables say
    nothing of the patient: they are in the carried case only.
    Raises ``BadInput`` where nothing is confirmed.
    """
    confirmed = [line for line in record.lines if is_confirmed(line)]
    if not confirmed:
        raise BadInput(f"Nothing in case {history.case_id} is confirmed, so nothing is exported.")
    at = at.replace(microsecond=at.microsecond // 1000 * 1000)
    digest = fingerprint(stored)
    case = _Case(history, record, uuid5(NAMESPACE_URL, f"urn:countersign:{digest}"))
    procedure = _procedure(case, len(confirmed))
    entries = [(case.url("procedure"), procedure)]
    for line in confirmed:
        made = _of_line(case, line)
        if made is not None:
            entries.append((case.url(f"line {line.number}"), made))
            entries.append((case.url(f"line {line.number} provenance"), _provenance(case, line)))
    entries += _verdict(case)
    entries.append((case.url("document"), _document(case, stored, at)))
    entries.append(
        (case.url(f"export {at.isoformat()}"), _audit(case, digest, len(stored.entries), at))
    )
    return {
        "resourceType": "Bundle",
        "identifier": {"system": "urn:ietf:rfc:3986", "value": case.url("bundle")},
        "type": "collection",
        "timestamp": instant(at),
        "entry": [{"fullUrl": url, "resource": made} for url, made in entries],
    }


def fhir_text(history: CaseHistory, record: CountRecord, stored: StoredCase, at: datetime) -> str:
    """The bundle as JSON text; FHIR decimals are JSON numbers."""
    return json.dumps(fhir_bundle(history, record, stored, at), indent=2, allow_nan=False) + "\n"


def _procedure(case: _Case, confirmed: int) -> dict[str, Any]:
    lines = len(case.record.lines)
    left_out = lines - confirmed
    note = (
        f"{TWO_PEOPLE} {confirmed} of {lines} lines of the record are confirmed; "
        f"{left_out} {'is' if left_out == 1 else 'are'} not and left out."
    )
    if not case.history.heard_to_the_end:
        note += " Listening did not reach the end of the source: lines may be missing."
    if case.record.open_questions:
        note += f" Open questions: {case.record.open_questions}."
    open_ones = [found for found in case.record.discrepancies if found.is_open]
    for found in open_ones:
        label = item_label(found.item, case.history.kit)
        if all(is_confirmed(case.record.lines[n - 1]) for n in (found.line, found.latest)):
            note += f" An open discrepancy: {label}."
    return resource(
        "Procedure",
        with_subject=True,
        # Whether the operation is over is not heard.
        status="unknown",
        code={"text": case.history.kit.procedure},
        note=[{"text": note}],
    )


def _of_line(case: _Case, line: Line) -> dict[str, Any] | None:
    kit = case.history.kit
    part_of = [reference(case.url("procedure"))]
    match line.acts_as:
        case EventKind.RECEIPT:
            return dispensed(line, kit, part_of)
        case EventKind.DRAW:
            return drawn_up(line, case.record.medications, kit, part_of)
        case EventKind.LABEL:
            return labelled(line, kit, part_of)
        case EventKind() as kind if kind in _COUNTED and line.confirmed_quantity is not None:
            return _counted(case, line, _COUNTED[kind], part_of)
        case _:
            return None


def _counted(case: _Case, line: Line, what: str, part_of: list[dict[str, Any]]) -> dict[str, Any]:
    label = item_label(line.confirmed_item, case.history.kit)
    components = []
    if line.phase is not None:
        components.append({"code": concept("Count"), "valueString": PHASES[line.phase]})
    where = where_text(line.confirmed_place, line.confirmed_part)
    if where:
        components.append({"code": concept("Place or part"), "valueString": where})
    made = observation(line, f"{what}: {label}", part_of)
    made["code"]["coding"] = [
        {
            "system": uuid5(NAMESPACE_URL, f"urn:countersign:kit:{case.history.kit_hash}").urn,
            "code": line.confirmed_item,
            "display": label,
        }
    ]
    made["valueQuantity"] = eaches(Decimal(line.confirmed_quantity or 0))
    if components:
        made["component"] = components
    return made


def _provenance(case: _Case, line: Line) -> dict[str, Any]:
    decision = line.decision
    if decision is None:  # no line is confirmed without one
        raise ValueError(f"line {line.number} is confirmed by nobody")
    made = resource(
        "Provenance",
        target=[reference(case.url(f"line {line.number}"))],
        recorded=instant(decision.at),
        agent=[
            _agent("verifier", said_by(decision.role.value, decision.initials)),
            _agent("assembler", {"display": _assembler(case)}),
        ],
        activity=concept("amended and confirmed" if line.state == "amended" else "confirmed"),
    )
    return made


def _verdict(case: _Case) -> Iterator[tuple[str, dict[str, Any]]]:
    text = verdict_text(case.record)
    if text is None:
        return
    said = [
        line
        for line in case.record.lines
        if line.event.verdict is case.record.verdict and is_confirmed(line) and line.decision
    ]
    url = case.url("verdict")
    made = resource(
        "Observation",
        status="final",
        code=concept("Verdict of the count"),
        partOf=[reference(case.url("procedure"))],
        # The text and not a code: it names every exception on which the verdict stands.
        valueString=text,
    )
    if said and said[-1].decision is not None:
        decision = said[-1].decision
        made["issued"] = instant(decision.at)
        made["performer"] = [said_by(decision.role.value, decision.initials)]
        yield url, made
        provenance = _provenance(case, said[-1])
        provenance["target"] = [reference(url)]
        yield case.url("verdict provenance"), provenance
    else:
        yield url, made
    for number, signed in enumerate(case.record.by_exception, start=1):
        yield (
            case.url(f"exception {number}"),
            resource(
                "Provenance",
                target=[reference(url)],
                recorded=instant(signed.at),
                agent=[
                    _agent("attester", said_by("scrub", signed.scrub)),
                    _agent("attester", said_by("circulator", signed.circulator)),
                ],
                activity=concept("signed an exception"),
                reason=[{"text": signed.reason}],
            ),
        )


def _document(case: _Case, stored: StoredCase, at: datetime) -> dict[str, Any]:
    """The whole case, as bytes that a system keeps without looking into them."""
    text = document_text(case.history, case.record, stored)
    data = text.encode("utf-8", "surrogatepass")
    whole = json.loads(text)["status"] == CONFIRMED
    standing = CONFIRMED if whole else f"{NOT_CONFIRMED} as a whole: some lines wait for a person"
    return resource(
        "DocumentReference",
        status="current",
        docStatus="final" if whole else "preliminary",
        type=concept(DOCUMENT_TYPE),
        date=instant(at),
        description=f"{standing}. For import into countersign; not to be read as a count.",
        content=[
            {
                "attachment": {
                    "contentType": "application/json",
                    "data": b64encode(data).decode("ascii"),
                    "size": len(data),
                    # FHIR asks for SHA-1 here; the document itself carries SHA-256.
                    "hash": b64encode(sha1(data, usedforsecurity=False).digest()).decode("ascii"),
                    "title": f"{case.history.case_id}.json",
                }
            }
        ],
        context={"related": [reference(case.url("procedure"))]},
    )


def _audit(case: _Case, digest: str, entries: int, at: datetime) -> dict[str, Any]:
    return resource(
        "AuditEvent",
        type={"system": _DICOM, "code": "110106", "display": "Export"},
        action="R",
        recorded=instant(at),
        outcome="0",
        agent=[{"who": {"display": software()}, "requestor": False}],
        source={"observer": {"display": software()}},
        entity=[
            {
                "what": reference(case.url("procedure")),
                "detail": [
                    {"type": "case", "valueString": case.history.case_id},
                    {"type": "ledger SHA-256", "valueString": digest},
                    {"type": "ledger entries", "valueString": str(entries)},
                ],
            }
        ],
    )


def _agent(kind: str, who: dict[str, Any]) -> dict[str, Any]:
    return {"type": {"coding": [{"system": _PARTICIPANT, "code": kind}]}, "who": who}


def _assembler(case: _Case) -> str:
    model = model_of(case.history)
    return f"{software()}, model {model}" if model else software()
