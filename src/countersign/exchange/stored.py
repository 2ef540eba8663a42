"""A case exactly as the ledger keeps it, and the hash that names that content."""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from countersign.kit.model import Kit
from countersign.ledger import CaseHistory, Ledger, Note
from countersign.ledger.chain import hash_of
from countersign.ledger.reading import case_rows
from countersign.meaning.event import Event
from countersign.tally.record import Decision

FORM = "countersign case 1"
"""Names what is hashed, so that another arrangement can never give the same hash."""


class StoredEntry(BaseModel):
    """One entry. ``at`` is ISO 8601; ``body`` is the JSON text of an event, decision or note."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    seq: int = Field(ge=1)
    at: str
    kind: Literal["event", "decision", "note"]
    body: str


class StoredCase(BaseModel):
    """A case and its entries in their order. ``kit`` is the JSON text of its kit."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    case: str = Field(pattern=r"^[a-z0-9][a-z0-9-]{0,63}$")
    opened_at: str
    source: str
    kit: str
    kit_sha256: str = Field(pattern=r"^[0-9a-f]{64}$")
    entries: tuple[StoredEntry, ...] = Field(strict=False)


def read_stored(ledger: Ledger, case_id: str) -> StoredCase:
    """What the ledger keeps of one case; ``BadInput`` when there is no such case."""
    case, rows = case_rows(ledger, case_id)
    return StoredCase(
        case=case.id,
        opened_at=case.opened_at,
        source=case.source,
        kit=case.kit_text,
        kit_sha256=case.kit_hash,
        entries=tuple(
            StoredEntry(seq=row.seq, at=row.at, kind=row.kind, body=row.body) for row in rows
        ),
    )


def up_to(stored: StoredCase, entries: int) -> StoredCase:
    """The case as it was when it had so many entries; ``ValueError`` when it never had."""
    if not 0 <= entries <= len(stored.entries):
        raise ValueError(f"the case has {len(stored.entries)} entries, not {entries}")
    return stored.model_copy(update={"entries": stored.entries[:entries]})


def history_up_to(history: CaseHistory, stored: StoredCase) -> CaseHistory:
    """The part of a history that ``stored`` has; the history may have grown since it was read."""
    kinds = [entry.kind for entry in stored.entries]
    return history.model_copy(
        update={
            "events": history.events[: kinds.count("event")],
            "decisions": history.decisions[: kinds.count("decision")],
            "notes": history.notes[: kinds.count("note")],
            "last_entry": len(kinds),
        }
    )


def history_of(stored: StoredCase) -> CaseHistory:
    """The history that was kept so, without a ledger; ``ValueError`` where it cannot be read."""
    entries = stored.entries
    return CaseHistory.model_validate(
        {
            "case_id": stored.case,
            "opened_at": stored.opened_at,
            "source": stored.source,
            "kit": Kit.model_validate_json(stored.kit),
            "kit_hash": stored.kit_sha256,
            "events": [Event.model_validate_json(e.body) for e in entries if e.kind == "event"],
            "decisions": [
                Decision.model_validate_json(e.body).model_copy(update={"entry": e.seq})
                for e in entries
                if e.kind == "decision"
            ],
            "notes": [Note.model_validate_json(e.body) for e in entries if e.kind == "note"],
            "last_entry": len(entries),
        }
    )


def fingerprint(stored: StoredCase) -> str:
    """SHA-256, in lower-case hexadecimal, of the canonical JSON (RFC 8785) of a case.

    The JSON is an object with ``form``, ``case``, ``opened_at``, ``source``, ``kit_sha256`` and
    ``entries``, each entry an array of its number, time, kind and body. It names the content; it
    does not say who wrote it, as a signature would.
    """
    return hash_of(
        {
            "form": FORM,
            "case": stored.case,
            "opened_at": stored.opened_at,
            "source": stored.source,
            "kit_sha256": stored.kit_sha256,
            "entries": [[each.seq, each.at, each.kind, each.body] for each in stored.entries],
        }
    )
