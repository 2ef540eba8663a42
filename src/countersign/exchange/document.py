"""A case as one JSON document: for people's programs to read, and to be imported again."""

import json
from typing import Any

from countersign.exchange.software import model_of, software
from countersign.exchange.stored import StoredCase, fingerprint
from countersign.export import case_json
from countersign.ledger import CaseHistory
from countersign.ledger.chain import hash_of
from countersign.plain_json import json_text
from countersign.tally.record import CountRecord

FORMAT = "countersign-case-1"
"""The name and version of the document; its JSON Schema ships as ``case.schema.json``."""


def document_text(history: CaseHistory, record: CountRecord, stored: StoredCase) -> str:
    """The document of a case whose entries are ``stored``.

    What ``case_json`` gives, with the history exactly as the ledger keeps it, the hash of that
    history, and a hash of the whole document.
    """
    shown: dict[str, Any] = json.loads(case_json(history, record))
    document = {
        "format": FORMAT,
        **shown,
        "software": software(),
        "model": model_of(history),
        "history": {
            "status": shown["status"],
            **stored.model_dump(mode="json"),
            "sha256": fingerprint(stored),
        },
    }
    document["document_sha256"] = document_hash(document)
    return json_text(document, indent=2)


def document_hash(document: dict[str, Any]) -> str:
    """SHA-256 of the canonical JSON of all of a document but this hash itself."""
    return hash_of({name: value for name, value in document.items() if name != "document_sha256"})
