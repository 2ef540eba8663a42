"""Discrepancies: what differs, since when, what was done, and who lets "correct" stand."""

from datetime import timedelta

import pytest
from pydantic import ValidationError
from tally_scenes import (
    BEGIN,
    KIT,
    accept_all,
    addition,
    count,
    decide,
    event,
    phase,
    removal,
    signed,
    step,
    verdict,
)

from countersign.meaning.event import EventKind, Phase, Verdict
from countersign.tally import Act, Decision, Role, SignedException, build_record

INITIAL = phase(Phase.INITIAL)
CLOSING = phase(Phase.CLOSING)
FINAL = phase(Phase.FINAL)
SHORT = [
    *(INITIAL, count("raytec", 10), count("needle", 7)),
    *(addition("raytec", 10), addition("needle", 2), CLOSING),
    *(count("raytec", 19), count("needle", 9), verdict()),
]


def test_a_discrepancy_says_what_since_when_and_what_happened_between() -> None:
    (found,) = build_record(KIT, SHORT).discrepancies
    assert (found.item, found.line, found.counted, found.expected) == ("raytec", 7, 19, 20)
    assert (found.difference, found.last_right, found.since) == (-1, 2, (4, 7))
    assert found.is_open


def test_what_was_found_stands_beside_it_and_only_a_count_closes_it() -> None:
    found_it = event(EventKind.REMARK, item="raytec", words="found the raytec")
    other = event(EventKind.REMARK, item="needle")
    events = [*SHORT, found_it, other]
    (found,) = build_record(KIT, events, accept_all(events)).discrepancies
    assert (found.is_open, found.since) == (True, (4, 7, 10))
    recounted = [*events, count("raytec", 20), found_it]
    (found,) = build_record(KIT, recounted).discrepancies
    assert (found.resolved_by, found.since) == (12, (4, 7, 10))
    assert (
        build_record(KIT, recounted).totals
        == build_record(KIT, [*SHORT, other, other, count("raytec", 20)]).totals
    )


def test_additions_without_a_count_are_no_discrepancy() -> None:
    assert build_record(KIT, SHORT[:6]).discrepancies == ()


def test_it_is_resolved_by_a_later_count_that_agrees() -> None:
    again = [*SHORT, count("raytec", 19), count("raytec", 20)]
    (found,) = build_record(KIT, again).discrepancies
    assert (found.line, found.latest, found.resolved_by) == (7, 10, 11)
    assert not found.is_open
    # A removal that only makes the numbers meet is no count.
    (found,) = build_record(KIT, [*SHORT, removal("raytec", 1)]).discrepancies
    assert found.is_open


def test_a_second_one_of_the_same_item_is_another() -> None:
    events = [*SHORT, count("raytec", 20), FINAL, count("raytec", 21)]
    first, second = build_record(KIT, events).discrepancies
    assert (first.line, first.resolved_by) == (7, 10)
    assert (second.line, second.difference, second.last_right) == (12, 1, 10)


def test_several_at_once_do_not_touch_each_other() -> None:
    events = [*SHORT[:7], count("needle", 8)]
    steps = [step("needle", 8, "search_floor"), step("raytec", 7, "recount")]
    raytec, needle = build_record(KIT, events, steps=steps).discrepancies
    assert [s.step for s in raytec.steps] == ["recount"]
    assert [s.step for s in needle.steps] == ["search_floor"]
    found = build_record(KIT, [*events, count("needle", 9)], steps=steps).discrepancies
    assert [d.is_open for d in found] == [True, False]
    assert [s.step for s in found[1].steps] == ["search_floor"]


def test_steps_are_taken_back_by_a_later_entry() -> None:
    made = [step("raytec", 7, "recount"), step("raytec", 7, "image", remark="asked")]
    back = step("raytec", 7, "recount", done=False)
    (found,) = build_record(KIT, SHORT, steps=[*made, back]).discrepancies
    assert [(s.step, s.remark) for s in found.steps] == [("image", "asked")]
    (found,) = build_record(KIT, SHORT, steps=[*made, back, made[0]]).discrepancies
    assert [s.step for s in found.steps] == ["image", "recount"]


def test_steps_outlive_an_amendment_that_ends_the_discrepancy() -> None:
    steps = [step("raytec", 7, "recount")]
    record = build_record(KIT, SHORT, [decide(7, "amend", quantity=20)], steps=steps)
    (found,) = record.discrepancies
    assert found.vanished and not found.is_open and found.steps == tuple(steps)


def test_steps_move_with_the_beginning_of_their_discrepancy() -> None:
    events = [*SHORT, count("raytec", 19)]
    steps = [step("raytec", 7, "recount")]
    (found,) = build_record(KIT, events, [decide(7, "set_aside")], steps=steps).discrepancies
    assert found.line == 10 and [s.step for s in found.steps] == ["recount"]


# "Correct" with something open


def test_correct_does_not_stand_with_one_open() -> None:
    record = build_record(KIT, SHORT, accept_all(SHORT))
    assert record.verdict is None and record.by_exception == ()


def test_correct_stands_by_exception_with_a_reason_and_both_roles() -> None:
    made = signed("raytec", 7, -1)
    record = build_record(KIT, SHORT, accept_all(SHORT), exceptions=[made])
    assert record.verdict is Verdict.CORRECT
    assert record.by_exception == (made,)
    assert record.discrepancies[0].is_open and record.discrepancies[0].exception == made
    (said,) = [n.sentence for n in record.notices if n.code == "by_exception"]
    assert "AB (scrub) and CD (circulator): image clear." in said


@pytest.mark.parametrize(
    "wrong",
    [
        signed("raytec", 7, -2),
        signed("raytec", 8, -1),
        signed("needle", 7, -1),
        signed("lap", 7, -1),
    ],
)
def test_an_exception_covers_exactly_what_was_signed_for(wrong: SignedException) -> None:
    assert build_record(KIT, SHORT, accept_all(SHORT), exceptions=[wrong]).verdict is None


def test_what_comes_after_an_exception_is_not_covered() -> None:
    made = signed("raytec", 7, -1)
    worse = [*SHORT[:8], count("raytec", 18), verdict()]
    assert build_record(KIT, worse, accept_all(worse), exceptions=[made]).verdict is None
    added = [*SHORT[:8], addition("raytec", 10), verdict()]
    assert build_record(KIT, added, accept_all(added), exceptions=[made]).verdict is None
    other = [*SHORT[:7], count("needle", 8), verdict()]
    assert build_record(KIT, other, accept_all(other), exceptions=[made]).verdict is None
    both = [made, signed("needle", 8, -1)]
    record = build_record(KIT, other, accept_all(other), exceptions=both)
    assert record.verdict is Verdict.CORRECT and len(record.by_exception) == 2


def test_an_exception_can_be_withdrawn_and_ends_with_its_discrepancy() -> None:
    made = signed("raytec", 7, -1)
    back = signed("raytec", 7, -1, withdrawn=True)
    assert build_record(KIT, SHORT, accept_all(SHORT), exceptions=[made, back]).verdict is None
    found = [*SHORT[:8], count("raytec", 20), verdict()]
    record = build_record(KIT, found, accept_all(found), exceptions=[made])
    assert record.verdict is Verdict.CORRECT
    assert record.by_exception == () and record.discrepancies[0].exception is None


@pytest.mark.parametrize(
    "wrong",
    [{"reason": " "}, {"scrub": ""}, {"circulator": " "}, {"circulator": "ab "}],
)
def test_one_person_or_no_reason_is_no_exception(wrong: dict[str, str]) -> None:
    with pytest.raises(ValidationError):
        signed("raytec", 7, -1, **wrong)


def test_an_exception_needs_the_verdict_confirmed_too() -> None:
    made = signed("raytec", 7, -1)
    assert build_record(KIT, SHORT, accept_all(SHORT[:8]), exceptions=[made]).verdict is None


# The order of decisions


def test_the_ledgers_order_holds_where_the_clock_jumped() -> None:
    events = [count("lap", 5)]
    first = Decision(
        line=1,
        act=Act.AMEND,
        role=Role.SCRUB,
        initials="AB",
        at=BEGIN + timedelta(days=1),
        quantity=10,
        entry=2,
    )
    second = first.model_copy(update={"act": Act.ACCEPT, "at": BEGIN, "entry": 3})
    for made in ([first, second], [second, first]):
        assert build_record(KIT, events, made).lines[0].decision == second
    # One that is not kept yet comes after those that are.
    newer = second.model_copy(update={"act": Act.UNDO, "entry": None})
    assert build_record(KIT, events, [newer, first, second]).lines[0].decision is None
