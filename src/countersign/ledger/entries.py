"""Writing to the ledger: one transaction for every event, decision and note."""

from datetime import UTC, datetime
from hashlib import sha256
from typing import Literal

from pydantic import BaseModel
from sqlalchemy import Connection, func, select

from countersign.kit.model import Kit
from countersign.ledger.file import Ledger, writing
from countersign.ledger.history import Note
from countersign.ledger.keeping import keep_case, keep_entry
from countersign.ledger.names import new_case_name
from countersign.ledger.tables import case_table, entry_table
from countersign.meaning.event import Event
from countersign.policy.model import Policy
from countersign.problems import BadInput
from countersign.tally.record import Decision, SignedException, StepDone

_Kind = Literal["event", "decision", "note"]


class Overtaken(Exception):
    """Someone else decided on the same line after it was shown; nothing was written."""


def open_case(ledger: Ledger, kit: Kit, source: str) -> str:
    """Start a case and return its name; the kit is kept with it, whole.

    Raises ``BadInput`` when the ledger cannot be written.
    """
    now = datetime.now(UTC)
    kit_text = kit.model_dump_json()
    with writing(ledger) as connection:
        name = new_case_name(now.astimezone())
        while _case_exists(connection, name):
            name = new_case_name(now.astimezone())
        row = {
            "id": name,
            "opened_at": now.isoformat(),
            "source": _storable(source),
            "kit_title": kit.title,
            "kit_hash": sha256(kit_text.encode()).hexdigest(),
            "kit_text": kit_text,
        }
        keep_case(connection, row)
    return name


def append_event(ledger: Ledger, case_id: str, event: Event) -> int:
    """Keep one event; returns its line number in the case (from 1) once it is on disk.

    Raises ``BadInput`` when there is no such case or the ledger cannot be written.
    """
    with writing(ledger) as connection:
        _append(connection, ledger, case_id, "event", event)
        return _event_count(connection, case_id)


def append_decision(
    ledger: Ledger, case_id: str, decision: Decision, *, seen: int | None = None
) -> int:
    """Keep one decision; returns its entry number once it is on disk.

    ``seen`` is the newest entry number that the person had in view: if another decision on the same
    line was kept since, ``Overtaken`` is raised. Raises ``BadInput`` when the case has no such line
    or the ledger cannot be written. Nothing is written when anything is raised.
    """
    with writing(ledger) as connection:
        lines = _event_count(connection, case_id)
        if not 1 <= decision.line <= lines:
            raise BadInput(f"Case {case_id} has no line {decision.line}.")
        if seen is not None:
            newer = connection.execute(
                select(entry_table.c.body).where(
                    entry_table.c.case_id == case_id,
                    entry_table.c.kind == "decision",
                    entry_table.c.seq > seen,
                )
            ).scalars()
            if any(Decision.model_validate_json(body).line == decision.line for body in newer):
                raise Overtaken
        return _append(
            connection, ledger, case_id, "decision", decision.model_copy(update={"entry": None})
        )


def append_note(ledger: Ledger, case_id: str, note: Note) -> int:
    """Keep one note; returns its entry number once it is on disk. Errors as ``append_event``."""
    with writing(ledger) as connection:
        return _append(connection, ledger, case_id, "note", note)


def append_step(ledger: Ledger, case_id: str, step: StepDone, policy: Policy | None = None) -> int:
    """Keep a step about a discrepancy; returns its entry number. Errors as ``append_event``.

    ``policy`` is the policy under which it was entered. It is kept whole in the same transaction,
    before the step, unless the case has it already, so that the steps asked for then can be read
    when the file has long been changed.
    """
    with writing(ledger) as connection:
        if policy is not None and _kept_policy(connection, case_id) != policy:
            _append(connection, ledger, case_id, "note", Note(topic="policy", policy=policy))
        return _append(connection, ledger, case_id, "note", Note(topic="step_done", step=step))


def _kept_policy(connection: Connection, case_id: str) -> Policy | None:
    notes = connection.execute(
        select(entry_table.c.body)
        .where(entry_table.c.case_id == case_id, entry_table.c.kind == "note")
        .order_by(entry_table.c.seq.desc())
    ).scalars()
    kept = (Note.model_validate_json(body).policy for body in notes)
    return next((policy for policy in kept if policy is not None), None)


def append_exception(ledger: Ledger, case_id: str, exception: SignedException) -> int:
    """Keep an exception or its withdrawal; returns its entry number. Errors as ``append_event``."""
    return append_note(ledger, case_id, Note(topic="exception", exception=exception))


def _append(
    connection: Connection, ledger: Ledger, case_id: str, kind: _Kind, body: BaseModel
) -> int:
    if not _case_exists(connection, case_id):
        raise BadInput(f"The ledger {ledger.name} has no case {case_id}.")
    newest = connection.execute(
        select(func.coalesce(func.max(entry_table.c.seq), 0)).where(
            entry_table.c.case_id == case_id
        )
    ).scalar_one()
    seq = int(newest) + 1
    row = {
        "case_id": case_id,
        "seq": seq,
        "at": datetime.now(UTC).isoformat(),
        "kind": kind,
        "body": body.model_dump_json(),
    }
    keep_entry(connection, row)
    return seq


def _case_exists(connection: Connection, case_id: str) -> bool:
    found = connection.execute(select(case_table.c.id).where(case_table.c.id == case_id))
    return found.first() is not None


def _event_count(connection: Connection, case_id: str) -> int:
    return connection.execute(
        select(func.count()).where(entry_table.c.case_id == case_id, entry_table.c.kind == "event")
    ).scalar_one()


def _storable(source: str) -> str:
    """File names that are not valid text keep their odd bytes as escapes."""
    return source.encode("utf-8", "backslashreplace").decode("utf-8")
