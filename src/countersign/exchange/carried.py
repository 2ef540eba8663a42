"""The whole case that a FHIR bundle of this tool carries, and whether the bundle agrees with it."""

import binascii
import json
from base64 import b64decode
from datetime import datetime
from typing import Any

from countersign.exchange.fhir import DOCUMENT_TYPE, fhir_bundle
from countersign.exchange.software import software
from countersign.exchange.stored import StoredCase, history_of
from countersign.ledger import record_of
from countersign.problems import BadInput


def carried_document(bundle: dict[str, Any]) -> bytes:
    """The JSON document in a bundle; ``BadInput`` where there is not exactly one."""
    found = [
        each
        for each in _resources(bundle, "DocumentReference")
        if each.get("type") == {"text": DOCUMENT_TYPE}
    ]
    if len(found) != 1:
        raise BadInput("The bundle does not carry a whole case of this tool, so it has no history.")
    try:
        (content,) = found[0]["content"]
        return b64decode(content["attachment"]["data"], validate=True)
    except (KeyError, TypeError, ValueError, binascii.Error):
        raise BadInput("The case that the bundle carries cannot be read.") from None


def compare_bundle(bundle: dict[str, Any], stored: StoredCase) -> None:
    """Raise ``BadInput`` where a bundle says anything else than the case that it carries.

    A bundle that another version of the tool wrote is taken by the case alone, whose hashes hold.
    """
    if _written_by(bundle) != software():
        return
    history = history_of(stored)
    try:
        at = datetime.fromisoformat(bundle["timestamp"])
        again = fhir_bundle(history, record_of(history), stored, at)
    except (KeyError, TypeError, ValueError):
        again = None
    if again is None or json.loads(json.dumps(again)) != bundle:
        raise BadInput("The bundle does not say what the case in it says; it was changed.")


def _written_by(bundle: dict[str, Any]) -> object:
    for audit in _resources(bundle, "AuditEvent"):
        source = audit.get("source")
        observer = source.get("observer") if isinstance(source, dict) else None
        if isinstance(observer, dict):
            return observer.get("display")
    return software()  # every bundle has one: without it the comparison finds the difference


def _resources(bundle: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    entries = bundle.get("entry")
    found = [each.get("resource") for each in entries or () if isinstance(each, dict)]
    return [each for each in found if isinstance(each, dict) and each.get("resourceType") == kind]
