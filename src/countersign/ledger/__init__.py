"""The ledger: an append-only history of every event and every human decision."""

from countersign.ledger.entries import (
    Overtaken,
    append_decision,
    append_event,
    append_exception,
    append_note,
    append_step,
    open_case,
)
from countersign.ledger.file import Ledger, open_ledger
from countersign.ledger.history import CaseHistory, CaseSummary, Note
from countersign.ledger.reading import list_cases, read_case, record_of

__all__ = [
    "CaseHistory",
    "CaseSummary",
    "Ledger",
    "Note",
    "Overtaken",
    "append_decision",
    "append_event",
    "append_exception",
    "append_note",
    "append_step",
    "list_cases",
    "open_case",
    "open_ledger",
    "read_case",
    "record_of",
]
