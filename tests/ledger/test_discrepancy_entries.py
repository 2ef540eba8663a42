"""Steps and exceptions are kept beside events and decisions, in their order."""

from datetime import UTC, datetime

import pytest

from countersign.kit.model import Kit
from countersign.ledger import (
    Ledger,
    Note,
    append_decision,
    append_event,
    append_exception,
    append_note,
    append_step,
    open_case,
    read_case,
    record_of,
)
from countersign.meaning.event import Event, EventKind, Phase, Verdict
from countersign.problems import BadInput
from countersign.tally import Act, Decision, Role, SignedException, StepDone

AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
STEP = StepDone(
    item="lap_sponge",
    line=3,
    step="search_floor",
    text="Search the floor.",
    role=Role.CIRCULATOR,
    initials="CD",
    at=AT,
    remark="nothing found",
)
EXCEPTION = SignedException(
    item="lap_sponge",
    line=3,
    difference=-1,
    reason="image clear",
    scrub="AB",
    circulator="CD",
    at=AT,
)


def case_with_one_missing(ledger: Ledger, kit: Kit, event: Event) -> str:
    case = open_case(ledger, kit, "written words")
    first = event.model_copy(update={"questions": ()})
    append_event(ledger, case, first)
    for update in (
        {"kind": EventKind.PHASE, "phase": Phase.CLOSING, "item": None, "quantity": None},
        {"phase": Phase.CLOSING, "quantity": 4},
        {"kind": EventKind.VERDICT, "verdict": Verdict.CORRECT, "item": None, "quantity": None},
    ):
        append_event(ledger, case, first.model_copy(update={"phase": Phase.CLOSING, **update}))
    for line in range(1, 5):
        decision = Decision(line=line, act=Act.ACCEPT, role=Role.SCRUB, initials="AB", at=AT)
        append_decision(ledger, case, decision)
    return case


def test_they_come_back_as_they_were_written(ledger: Ledger, kit: Kit, event: Event) -> None:
    case = open_case(ledger, kit, "written words")
    append_event(ledger, case, event)
    assert append_step(ledger, case, STEP) == 2
    assert append_exception(ledger, case, EXCEPTION) == 3
    append_note(ledger, case, Note(topic="remark", text="a word"))
    taken_back = STEP.model_copy(update={"done": False})
    append_step(ledger, case, taken_back)
    history = read_case(ledger, case)
    assert history.steps == (STEP, taken_back)
    assert history.exceptions == (EXCEPTION,)
    assert [note.topic for note in history.notes] == [
        "step_done",
        "exception",
        "remark",
        "step_done",
    ]
    assert history.last_entry == 5


def test_the_record_of_a_case_has_them(ledger: Ledger, kit: Kit, event: Event) -> None:
    case = case_with_one_missing(ledger, kit, event)
    append_step(ledger, case, STEP)
    record = record_of(read_case(ledger, case))
    assert record.verdict is None
    assert record.discrepancies[0].steps == (STEP,)
    append_exception(ledger, case, EXCEPTION)
    record = record_of(read_case(ledger, case))
    assert record.verdict is Verdict.CORRECT and record.by_exception == (EXCEPTION,)
    append_exception(ledger, case, EXCEPTION.model_copy(update={"withdrawn": True}))
    assert record_of(read_case(ledger, case)).verdict is None


def test_decisions_carry_their_entry_and_it_is_not_taken_from_the_writer(
    ledger: Ledger, kit: Kit, event: Event
) -> None:
    case = open_case(ledger, kit, "written words")
    append_event(ledger, case, event)
    late = datetime(2027, 1, 1, tzinfo=UTC)
    first = Decision(line=1, act=Act.ACCEPT, role=Role.SCRUB, initials="AB", at=late, entry=99)
    second = first.model_copy(update={"act": Act.UNDO, "at": AT, "entry": 1})
    append_decision(ledger, case, first)
    append_decision(ledger, case, second)
    history = read_case(ledger, case)
    assert [made.entry for made in history.decisions] == [2, 3]
    # The clock was set back in between; the ledger's order holds.
    assert record_of(history).lines[0].decision is None


def test_a_decision_from_before_there_was_more_to_amend_is_read() -> None:
    body = (
        '{"line":1,"act":"amend","role":"scrub","initials":"AB","at":"2026-11-25T09:30:00Z",'
        '"item":null,"quantity":"30.5","reason":null}'
    )
    made = Decision.model_validate_json(body)
    assert (made.medication, made.place, made.part) == (None, None, None)


def test_a_case_that_is_not_there(ledger: Ledger) -> None:
    with pytest.raises(BadInput, match="no case 0101-none"):
        append_step(ledger, "0101-none", STEP)
    with pytest.raises(BadInput, match="no case 0101-none"):
        append_exception(ledger, "0101-none", EXCEPTION)
