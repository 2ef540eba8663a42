"""The exchange room: a case as documents for other programs, and back again without loss."""

from countersign.exchange.comparing import Finding, compare, verify_document
from countersign.exchange.document import document_text
from countersign.exchange.entries_csv import entries_csv
from countersign.exchange.importing import import_case, read_document, read_exported
from countersign.exchange.stored import StoredCase, fingerprint, history_up_to, read_stored

__all__ = [
    "Finding",
    "StoredCase",
    "compare",
    "document_text",
    "entries_csv",
    "fingerprint",
    "history_up_to",
    "import_case",
    "read_document",
    "read_exported",
    "read_stored",
    "verify_document",
]
