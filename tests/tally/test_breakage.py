"""Broken or cut items: every piece is accounted for (AORN guidance, from memory)."""

import pytest
from tally_scenes import (
    KIT,
    accept_all,
    breakage,
    codes,
    correction,
    count,
    decide,
    phase,
    signed,
    total,
    verdict,
)

from countersign.meaning.event import EventKind, Phase, Verdict
from countersign.meaning.event import QuestionCode as Q
from countersign.tally import LineState, build_record

INITIAL = phase(Phase.INITIAL)
CLOSING = phase(Phase.CLOSING)
OPENED = [INITIAL, count("needle", 7)]


def test_the_expected_number_follows_the_pieces() -> None:
    record = build_record(KIT, [*OPENED, breakage("needle", 2)])
    assert record.lines[-1].expected == 8
    assert total(record, "needle").heard_expected == 8
    assert [(b.item, b.pieces, b.line) for b in record.broken] == [("needle", 2, 3)]


def test_the_question_stays_until_a_count_accounts_for_the_pieces() -> None:
    events = [*OPENED, breakage("needle", 3)]
    accepted = build_record(KIT, events, accept_all(events))
    assert not accepted.confirmed and accepted.open_questions == 1
    assert accepted.questions[0].sentence == (
        "No count accounts for the 3 pieces of the Needle of line 3."
    )
    events += [CLOSING, count("needle", 9), verdict()]
    done = build_record(KIT, events, accept_all(events))
    assert done.broken == () and done.open_questions == 0
    assert done.verdict is Verdict.CORRECT and done.confirmed


@pytest.mark.parametrize("counted", [7, 8, 10])
def test_a_count_that_lacks_a_piece_is_a_discrepancy(counted: int) -> None:
    events = [*OPENED, breakage("needle", 3), CLOSING, count("needle", counted), verdict()]
    record = build_record(KIT, events, accept_all(events))
    assert codes(record.lines[4]) == [Q.NOT_EXPECTED]
    (found,) = record.discrepancies
    assert (found.expected, found.counted, found.since) == (9, counted, (3, 5))
    assert record.broken != () and record.verdict is None
    # Both signatures on the number cover the pieces, since these are what is missing.
    record = build_record(
        KIT, events, accept_all(events), exceptions=[signed("needle", 5, counted - 9)]
    )
    assert record.verdict is Verdict.CORRECT and record.questions == ()


@pytest.mark.parametrize(
    ("pieces", "code"), [(None, Q.NO_QUANTITY), (0, Q.IMPLAUSIBLE), (1, Q.IMPLAUSIBLE)]
)
def test_fewer_than_two_pieces_bar_the_line(pieces: int | None, code: Q) -> None:
    record = build_record(KIT, [*OPENED, breakage("needle", pieces)], [decide(3)])
    assert codes(record.lines[-1]) == [code]
    assert record.lines[-1].state is LineState.HEARD
    assert total(record, "needle").heard_expected == 7
    amended = build_record(
        KIT, [*OPENED, breakage("needle", pieces)], [decide(3, "amend", quantity=2)]
    )
    assert amended.lines[-1].state is LineState.AMENDED
    assert [b.pieces for b in amended.broken] == [2]


def test_something_broken_that_was_never_counted_is_asked() -> None:
    assert codes(build_record(KIT, [breakage("needle", 2)]).lines[0]) == [Q.IMPLAUSIBLE]


def test_a_broken_part_is_a_part_in_pieces() -> None:
    events = [
        *(INITIAL, count("bulb_syringe", 1, part="barrel"), count("bulb_syringe", 1, part="bulb")),
        *(breakage("bulb_syringe", 2, part="barrel"), CLOSING),
        *(count("bulb_syringe", 2, part="barrel"), count("bulb_syringe", 1, part="bulb")),
    ]
    record = build_record(KIT, events)
    assert record.open_questions == 0 and record.broken == ()
    lost = build_record(KIT, [*events[:5], count("bulb_syringe", 1, part="barrel"), events[6]])
    assert Q.COUNT_DISAGREES in codes(lost.lines[-1])
    assert lost.discrepancies[0].missing_parts == ("barrel",)


def test_corrections_of_a_breakage() -> None:
    record = build_record(KIT, [*OPENED, breakage("needle", 2), correction(quantity=3)])
    assert record.lines[-1].acts_as is EventKind.BREAKAGE
    assert total(record, "needle").heard_expected == 9
    assert [b.line for b in record.broken] == [4]
    struck = build_record(KIT, [*OPENED, breakage("needle", 2), correction()])
    assert struck.lines[2].state is LineState.STRUCK
    assert struck.broken == () and total(struck, "needle").heard_expected == 7
