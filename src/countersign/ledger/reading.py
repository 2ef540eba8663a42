"""Reading the ledger back."""

from collections.abc import Sequence
from hashlib import sha256
from typing import Any

from pydantic import ValidationError
from sqlalchemy import Row, func, select

from countersign.kit.model import Kit
from countersign.ledger.chain import Broken, verify_case
from countersign.ledger.file import Ledger, reading
from countersign.ledger.history import CaseHistory, CaseSummary, Note
from countersign.ledger.tables import case_table, entry_table
from countersign.meaning.event import Event
from countersign.problems import BadInput
from countersign.tally import build_record
from countersign.tally.record import CountRecord, Decision

_ENDED = Note(topic="listening_ended").model_dump_json().partition(",")[0]
"""How the body of the note begins that says so."""


def list_cases(ledger: Ledger) -> tuple[CaseSummary, ...]:
    """All cases, oldest first. Raises ``BadInput`` when the ledger cannot be read."""
    of_kind = {
        kind: func.count(entry_table.c.seq).filter(entry_table.c.kind == kind)
        for kind in ("event", "decision")
    }
    is_end = entry_table.c.body.startswith(_ENDED, autoescape=True)  # the same in every dialect
    ends = func.count(entry_table.c.seq).filter(entry_table.c.kind == "note", is_end)
    query = (
        select(
            case_table.c.id,
            case_table.c.opened_at,
            case_table.c.source,
            case_table.c.kit_title,
            of_kind["event"].label("events"),
            of_kind["decision"].label("decisions"),
            ends.label("ends"),
        )
        .select_from(case_table.outerjoin(entry_table))
        .group_by(case_table.c.id)
        .order_by(case_table.c.opened_at, case_table.c.id)
    )
    with reading(ledger) as connection:
        rows = connection.execute(query).all()
    try:
        return tuple(
            CaseSummary(
                case_id=row.id,
                opened_at=row.opened_at,
                source=row.source,
                kit_title=row.kit_title,
                events=row.events,
                decisions=row.decisions,
                heard_to_the_end=row.ends > 0,
            )
            for row in rows
        )
    except ValidationError as error:
        raise BadInput(f"The ledger {ledger.name} is damaged.") from error


def read_case(ledger: Ledger, case_id: str) -> CaseHistory:
    """The history of one case; ``record_of`` gives its record.

    Raises ``BadInput`` when there is no such case, when the ledger cannot be read, or when what is
    kept is not what was written (the kit does not match its hash, an entry is unreadable or gone).
    """
    case, entries = case_rows(ledger, case_id)  # each of them fits the chain
    if sha256(case.kit_text.encode()).hexdigest() != case.kit_hash:
        raise BadInput(f"The kit kept with case {case_id} is not the one it was opened with.")

    events: list[Event] = []
    decisions: list[Decision] = []
    notes: list[Note] = []
    seq = 0
    try:
        kit = Kit.model_validate_json(case.kit_text)
        for seq, entry in enumerate(entries, start=1):
            if entry.seq != seq:
                raise BadInput(f"Entry {seq} of case {case_id} is missing from the ledger.")
            if entry.kind == "event":
                events.append(Event.model_validate_json(entry.body))
            elif entry.kind == "decision":
                decision = Decision.model_validate_json(entry.body)
                decisions.append(decision.model_copy(update={"entry": entry.seq}))
            else:
                notes.append(Note.model_validate_json(entry.body))
        return CaseHistory(
            case_id=case.id,
            opened_at=case.opened_at,
            source=case.source,
            kit=kit,
            kit_hash=case.kit_hash,
            events=tuple(events),
            decisions=tuple(decisions),
            notes=tuple(notes),
            last_entry=len(entries),
        )
    except ValidationError as error:
        where = f"Entry {seq}" if seq else "The kit"
        raise BadInput(f"{where} of case {case_id} cannot be read.") from error


def case_rows(ledger: Ledger, case_id: str) -> tuple[Row[Any], Sequence[Row[Any]]]:
    """The rows of a case and of its entries in their order, as they are kept at one moment.

    Raises ``BadInput`` when there is no such case, when the ledger cannot be read, or when a row is
    not what the chain says.
    """
    with reading(ledger) as connection:
        case = connection.execute(select(case_table).where(case_table.c.id == case_id)).first()
        entries = connection.execute(
            select(entry_table).where(entry_table.c.case_id == case_id).order_by(entry_table.c.seq)
        ).all()
        if case is None:
            raise BadInput(f"The ledger {ledger.name} has no case {case_id}.")
        rows = [dict(case._mapping), *(dict(entry._mapping) for entry in entries)]
        try:
            verify_case(connection, case_id, rows)
        except Broken as broken:
            raise BadInput(
                f"The ledger {ledger.name} was damaged or tampered with: {broken}."
            ) from None
    return case, entries


def record_of(history: CaseHistory) -> CountRecord:
    """The record of a case, rebuilt from everything that is kept about it."""
    return build_record(
        history.kit,
        history.events,
        history.decisions,
        steps=history.steps,
        exceptions=history.exceptions,
    )
