"""A case from a document back into a ledger, entry by entry as it was."""

import json
from datetime import datetime
from hashlib import sha256
from typing import Any

from pydantic import ConfigDict, Field, ValidationError
from sqlalchemy import select

from countersign.exchange.carried import carried_document, compare_bundle
from countersign.exchange.document import FORMAT, document_hash
from countersign.exchange.entries_csv import is_entries_csv, read_entries
from countersign.exchange.stored import StoredCase, fingerprint, read_stored
from countersign.kit.model import Kit
from countersign.ledger import Ledger, Note
from countersign.ledger.file import writing
from countersign.ledger.keeping import keep_case, keep_entry
from countersign.ledger.tables import case_table
from countersign.meaning.event import Event
from countersign.problems import BadInput
from countersign.tally.record import Decision

MOST_BYTES = 200_000_000


class _History(StoredCase):
    """The history as the document has it."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    status: str
    sha256: str = Field(pattern=r"^[0-9a-f]{64}$")


def read_exported(data: bytes) -> StoredCase:
    """The history in an export of any form that has it: JSON, FHIR, or CSV of entries.

    Raises ``BadInput`` as :func:`read_document` does.
    """
    if is_entries_csv(data):
        stored = read_entries(data)
        _check(stored)
        return stored
    try:
        whole = json.loads(data[:MOST_BYTES].decode("utf-8-sig"), parse_constant=_refuse)
    except (ValueError, RecursionError):
        whole = None
    if isinstance(whole, dict) and whole.get("resourceType") == "Bundle":
        stored = read_document(carried_document(whole))
        compare_bundle(whole, stored)
        return stored
    return read_document(data)


def read_document(data: bytes) -> StoredCase:
    """The history in a document, checked.

    Raises ``BadInput`` with one sentence where the bytes are no such document, where the hash of
    the document, of the history or of the kit does not fit, or where an entry could not have been
    kept by the ledger (unreadable, out of order, a decision on a line that was not there yet).
    """
    if len(data) > MOST_BYTES:
        raise BadInput(f"The file is larger than {MOST_BYTES:,} bytes.")
    document = _object(data)
    if document.get("document_sha256") != document_hash(document):
        raise BadInput("The hash of the file does not fit what is in it; it was changed.")
    try:
        history = _History.model_validate(document.get("history"))
    except ValidationError as error:
        where = ".".join(map(str, error.errors()[0]["loc"])) or "history"
        raise BadInput(f"The history in the file cannot be read (at {where}).") from error
    names = StoredCase.model_fields
    stored = StoredCase.model_construct(**{name: getattr(history, name) for name in names})
    if fingerprint(stored) != history.sha256:
        raise BadInput("The hash of the history does not fit its entries; it was changed.")
    _check(stored)
    return stored


def import_case(ledger: Ledger, stored: StoredCase) -> None:
    """Keep a case under its own name, whole or not at all.

    Raises ``BadInput`` when the ledger has a case of that name (nothing is ever written over) or
    cannot be written.
    """
    with writing(ledger) as connection:
        known = connection.execute(
            select(case_table.c.id).where(case_table.c.id == stored.case)
        ).first()
        if known is None:
            case = {
                "id": stored.case,
                "opened_at": stored.opened_at,
                "source": stored.source,
                "kit_title": Kit.model_validate_json(stored.kit).title,
                "kit_hash": stored.kit_sha256,
                "kit_text": stored.kit,
            }
            keep_case(connection, case)
            for entry in stored.entries:
                row = {
                    "case_id": stored.case,
                    "seq": entry.seq,
                    "at": entry.at,
                    "kind": entry.kind,
                    "body": entry.body,
                }
                keep_entry(connection, row)
    if known is not None:
        same = fingerprint(read_stored(ledger, stored.case)) == fingerprint(stored)
        what = "the same content" if same else "other content"
        raise BadInput(
            f"The ledger has a case {stored.case} already, with {what}; nothing was written."
        )


def _object(data: bytes) -> dict[str, Any]:
    refused = "The file is not a case that this tool exported as JSON."
    try:
        document = json.loads(data.decode("utf-8-sig"), parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise BadInput(refused) from error
    if not isinstance(document, dict) or not isinstance(document.get("format"), str):
        raise BadInput(refused)
    if document["format"] != FORMAT:
        raise BadInput("The file is of another form than this version of the tool can import.")
    return document


def _refuse(constant: str) -> object:
    raise ValueError(f"{constant} is no JSON")


def _check(stored: StoredCase) -> None:
    """Whether the ledger could have kept all this."""
    if sha256(stored.kit.encode("utf-8", "surrogatepass")).hexdigest() != stored.kit_sha256:
        raise BadInput("The kit in the file is not the one the case was opened with.")
    what = "The kit"
    try:
        Kit.model_validate_json(stored.kit)
        what = "The time at which the case was opened"
        _aware(stored.opened_at)
        lines = 0
        for number, entry in enumerate(stored.entries, start=1):
            what = f"Entry {number}"
            if entry.seq != number:
                raise BadInput(f"Entry {number} is missing from the file.")
            _aware(entry.at)
            match entry.kind:
                case "event":
                    Event.model_validate_json(entry.body)
                    lines += 1
                case "decision":
                    line = Decision.model_validate_json(entry.body).line
                    if not 1 <= line <= lines:
                        raise BadInput(f"{what} decides on line {line}, which was not there.")
                case "note":
                    Note.model_validate_json(entry.body)
    except ValueError as error:
        raise BadInput(f"{what} in the file cannot be read.") from error


def _aware(at: str) -> None:
    if datetime.fromisoformat(at).tzinfo is None:
        raise ValueError("a time without its offset from UTC")
