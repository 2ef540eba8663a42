"""What the tally asks, and what it leaves alone."""

from decimal import Decimal

import pytest
from tally_scenes import (
    KIT,
    accept_all,
    addition,
    codes,
    correction,
    count,
    decide,
    event,
    phase,
    removal,
    total,
    verdict,
)

from countersign.meaning.event import (
    Event,
    EventKind,
    Phase,
    Question,
    Spoken,
    Verdict,
)
from countersign.meaning.event import QuestionCode as Q
from countersign.tally import (
    LineState,
    NoticeCode,
    build_record,
    can_confirm_whole,
    reasons_against_whole,
)

INITIAL = phase(Phase.INITIAL)
CLOSING = phase(Phase.CLOSING)


def last_codes(*events: Event) -> list[Q]:
    return codes(build_record(KIT, events, []).lines[-1])


# Common practice, no source: 4x4 x-ray detectable sponges come in tens, laparotomy sponges in
# fives, and a pack that is not full is a reason to stop.
@pytest.mark.parametrize(
    ("said", "expected"),
    [
        (count("raytec", 10), []),
        (count("raytec", 20), []),
        (count("raytec", 9), [Q.PACK_SHORT]),
        (count("raytec", 11), [Q.PACK_OVER]),
        (count("raytec", 19), [Q.PACK_SHORT]),
        (count("raytec", 9, spoken=Spoken.PACK), [Q.PACK_SHORT]),
        (addition("raytec", 10, spoken=Spoken.PACK), []),
        (addition("raytec", 11, spoken=Spoken.PACK), [Q.PACK_OVER]),
        (addition("raytec", 9), [Q.PACK_SHORT]),
        (addition("raytec", 0), [Q.IMPLAUSIBLE]),
        (addition("raytec", 70), [Q.IMPLAUSIBLE]),
        (count("raytec", 70), [Q.IMPLAUSIBLE]),
        (count("lap", 10), [Q.NOT_EXPECTED]),
        (count("needle", 7), []),
        (count("needle", 0), []),
        (count("needle", -1), [Q.IMPLAUSIBLE]),
        (count("needle", Decimal("1.5")), [Q.IMPLAUSIBLE]),
        (count("needle", None), [Q.NO_QUANTITY]),
        (count(None, 4), [Q.NO_ITEM]),
        (count("spoon", 4), [Q.NO_ITEM]),
        (removal("needle", 1), [Q.IMPLAUSIBLE]),
        (removal("lap", 6), [Q.IMPLAUSIBLE]),
        (removal("lap", 5), []),
        (correction(), [Q.NOTHING_TO_CORRECT]),
        (correction("lap", 5), [Q.NOTHING_TO_CORRECT]),
    ],
)
def test_first_thing_said(said: Event, expected: list[Q]) -> None:
    assert last_codes(said) == expected
    assert last_codes(INITIAL, said) == expected


def test_sentences_name_the_item_and_both_numbers() -> None:
    short = build_record(KIT, [count("raytec", 9)], []).lines[0]
    assert short.questions[0].sentence == "Raytecs come in tens; 9 were heard."
    events = [count("raytec", 20), CLOSING, count("raytec", 19)]
    missing = build_record(KIT, events, []).lines[-1]
    assert missing.questions[0].sentence == "Raytecs: 19 counted, 20 expected."
    assert missing.expected == 20


def test_a_question_of_the_meaning_room_is_kept_and_not_doubled() -> None:
    asked = Question(code=Q.NO_ITEM, sentence="Which item?")
    line = build_record(KIT, [count(None, 4, questions=(asked,))], []).lines[0]
    assert line.questions == (asked,)


def test_expected_follows_additions_and_documented_removals() -> None:
    events = [
        *(INITIAL, count("raytec", 10), addition("raytec", 10), addition("raytec", 10)),
        *(removal("raytec", 10), CLOSING, count("raytec", 20)),
    ]
    record = build_record(KIT, events, [])
    assert [line.expected for line in record.lines] == [None, None, 20, 30, 20, None, 20]
    assert record.open_questions == 0
    assert last_codes(*events[:-1], count("raytec", 30)) == [Q.NOT_EXPECTED]


def test_what_was_added_before_the_initial_count_is_in_it() -> None:
    events = [addition("raytec", 10), count("raytec", 10), CLOSING, count("raytec", 10)]
    assert build_record(KIT, events, []).open_questions == 0


def test_without_an_initial_count_the_kit_or_the_first_count_is_held_against() -> None:
    assert last_codes(CLOSING, count("lap", 4)) == [Q.NOT_EXPECTED]
    final = phase(Phase.FINAL)
    assert last_codes(CLOSING, count("needle", 4), final, count("needle", 3)) == [Q.NOT_EXPECTED]
    assert last_codes(addition("needle", 2), CLOSING, count("needle", 1)) == [Q.NOT_EXPECTED]


def test_a_second_count_of_the_same_phase_that_disagrees() -> None:
    assert Q.COUNT_DISAGREES in last_codes(INITIAL, count("needle", 7), count("needle", 8))
    assert last_codes(INITIAL, count("needle", 7), count("needle", 7)) == []
    grown = [INITIAL, count("needle", 7), addition("needle", 1)]
    assert last_codes(*grown, count("needle", 8)) == []
    assert Q.COUNT_DISAGREES in last_codes(*grown, count("needle", 7))


def test_a_second_pack_counted_in_the_same_phase_is_asked_about() -> None:
    pack = count("raytec", 10, spoken=Spoken.PACK)
    assert last_codes(INITIAL, pack, pack) == [Q.COUNT_DISAGREES]


def test_a_recount_after_an_addition_never_rewrites_what_is_expected() -> None:
    events = [count("raytec", 10), addition("raytec", 10), count("raytec", 10)]
    record = build_record(KIT, [*events, CLOSING, count("raytec", 10)], [])
    assert Q.NOT_EXPECTED in codes(record.lines[2])
    assert Q.NOT_EXPECTED in codes(record.lines[4])


# Corrections


def test_a_correction_strikes_and_takes_over() -> None:
    events = [INITIAL, count("lap", 4), count("raytec", 9), correction(quantity=10, unit="each")]
    record = build_record(KIT, events, [])
    struck, taken = record.lines[2], record.lines[3]
    assert (struck.state, struck.struck_by) == (LineState.STRUCK, 4)
    assert (taken.acts_as, taken.item, taken.quantity) == (EventKind.COUNT, "raytec", 10)
    assert codes(taken) == []
    assert total(record, "raytec").heard_last == 10


def test_a_correction_of_an_addition_is_an_addition() -> None:
    events = [count("raytec", 10), addition("raytec", 20), correction(quantity=10)]
    assert total(build_record(KIT, events, []), "raytec").heard_expected == 20


def test_a_correction_that_names_an_item_strikes_that_item_and_asks_if_another_came_between() -> (
    None
):
    events = [count("raytec", 10), count("lap", 5), correction("raytec", 20)]
    record = build_record(KIT, events, [])
    assert [line.struck_by for line in record.lines] == [3, None, None]
    assert codes(record.lines[2]) == [Q.UNCLEAR_CORRECTION]


def test_strike_that_twice_goes_back_two_lines() -> None:
    events = [count("raytec", 10), count("lap", 5), correction(), correction(), correction()]
    record = build_record(KIT, events, [])
    assert [line.struck_by for line in record.lines[:2]] == [4, 3]
    assert codes(record.lines[4]) == [Q.NOTHING_TO_CORRECT]
    assert total(record, "lap").heard_last is None


def test_strike_that_after_a_medication_does_not_reach_the_count_before_it() -> None:
    receipt = event(EventKind.RECEIPT, item="lidocaine")
    record = build_record(KIT, [count("lap", 5), receipt, correction()], [])
    assert [line.struck_by for line in record.lines] == [None, 3, None]


def test_a_correction_to_another_item_takes_over_the_last_line_of_the_same_number() -> None:
    events = [addition("lap", 5), correction("raytec", 5)]
    lines = build_record(KIT, events).lines
    assert lines[0].struck_by == 2
    assert (lines[1].acts_as, lines[1].item) == (EventKind.ADDITION, "raytec")
    # another number, or "cancel the raytecs", is not about the laps
    for other in (correction("raytec", 10), correction("raytec")):
        lines = build_record(KIT, [addition("lap", 5), other]).lines
        assert lines[0].struck_by is None
        assert Q.NOTHING_TO_CORRECT in codes(lines[1])


def test_a_correction_right_after_a_count_was_announced_may_mean_that() -> None:
    announced = phase(Phase.CLOSING)
    for said in (correction(), correction(quantity=6)):
        record = build_record(KIT, [INITIAL, count("lap", 5), announced, said])
        asked = record.lines[-1].questions
        assert Q.UNCLEAR_CORRECTION in codes(record.lines[-1])
        assert any("but line 3 was said after it" in question.sentence for question in asked)
    named = build_record(KIT, [INITIAL, count("lap", 5), announced, correction("lap")])
    assert Q.UNCLEAR_CORRECTION not in codes(named.lines[-1])


def test_a_correction_set_aside_never_happened() -> None:
    events = [count("lap", 5), correction(quantity=4), correction(quantity=6)]
    aside = [decide(2, "set_aside")]
    record = build_record(KIT, events, aside)
    assert [line.state for line in record.lines] == ["struck", "set_aside", "heard"]
    assert record.lines[0].struck_by == 3
    record = build_record(KIT, events, [*aside, decide(3, "set_aside")])
    assert [line.state for line in record.lines] == ["heard", "set_aside", "set_aside"]


def test_a_confirmed_line_stays_confirmed_until_the_correction_is() -> None:
    events = [count("lap", 5), correction(quantity=10)]
    record = build_record(KIT, events, [decide(1)])
    assert record.lines[0].state is LineState.ACCEPTED
    assert (total(record, "lap").heard_last, total(record, "lap").confirmed_last) == (10, 5)
    assert not record.confirmed
    record = build_record(KIT, events, [decide(1), decide(2)])
    assert record.lines[0].state is LineState.STRUCK
    assert total(record, "lap").confirmed_last == 10


def test_what_opens_a_case_is_held_against_the_kit_also_when_it_is_counted_again() -> None:
    events = [INITIAL, count("lap", 4), count("lap", 5)]
    record = build_record(KIT, events, accept_all(events))
    assert record.lines[2].expected == 5
    assert codes(record.lines[2]) == [Q.COUNT_DISAGREES]


def test_a_recount_that_comes_out_right_is_not_held_against_the_count_before() -> None:
    recount = verdict(Verdict.RECOUNT, item="lap")
    events = [INITIAL, count("lap", 5), CLOSING, count("lap", 4), recount, count("lap", 5)]
    record = build_record(KIT, events)
    assert codes(record.lines[5]) == []
    assert [d.resolved_by for d in record.discrepancies] == [6]
    unasked = build_record(KIT, [*events[:4], count("lap", 5)])
    assert codes(unasked.lines[4]) == [Q.COUNT_DISAGREES]
    wrong = build_record(KIT, [*events[:5], count("lap", 3)])
    assert codes(wrong.lines[5]) == [Q.NOT_EXPECTED, Q.COUNT_DISAGREES]


@pytest.mark.parametrize(
    ("quantity", "asked", "expected"), [(4, True, 6), (4, False, 4), (8, True, 8)]
)
def test_an_unsure_count_does_not_lower_what_another_said(quantity, asked, expected) -> None:
    question = Question(code=Q.OTHER_READING, sentence="Heard Needle; it could be another.")
    again = count("needle", quantity, questions=(question,) if asked else ())
    events = [INITIAL, count("needle", 6), again]
    record = build_record(KIT, events)
    assert total(record, "needle").heard_expected == expected
    assert Q.COUNT_DISAGREES in codes(record.lines[2])
    confirmed = build_record(KIT, events, accept_all(events))
    assert total(confirmed, "needle").confirmed_expected == quantity


def test_a_part_that_is_counted_again_may_be_another_part() -> None:
    barrel, bulb = (count("bulb_syringe", 1, part=part) for part in ("barrel", "bulb"))
    record = build_record(KIT, [INITIAL, barrel, bulb, barrel])
    assert Q.SAID_AGAIN in codes(record.lines[3])
    assert all(Q.SAID_AGAIN not in codes(line) for line in record.lines[:3])
    assert Q.SAID_AGAIN not in codes(build_record(KIT, [INITIAL, barrel, CLOSING, barrel]).lines[3])


# Verdicts. WHO Surgical Safety Checklist (2009), sign out: the nurse confirms that instrument,
# sponge and needle counts are complete (or not applicable) before the patient leaves the room.


def test_correct_conflicts_with_a_number_that_differs() -> None:
    events = [count("raytec", 10), CLOSING, count("raytec", 9), verdict()]
    record = build_record(KIT, events, accept_all(events))
    assert Q.VERDICT_CONFLICT in codes(record.lines[-1])
    assert record.heard_verdict is Verdict.CORRECT
    assert record.verdict is None
    assert record.lines[-1].state is LineState.HEARD
    assert record.lines[-1].decision is not None
    assert record.open_questions == 1 and not record.confirmed


def test_correct_conflicts_with_an_open_question_until_it_is_answered() -> None:
    asked = Question(code=Q.LOW_CONFIDENCE, sentence="Was it seven?")
    events = [count("needle", 7, questions=(asked,)), verdict()]
    assert last_codes(*events) == [Q.VERDICT_CONFLICT]
    record = build_record(KIT, events, [decide(2)])
    assert record.verdict is None and record.open_questions == 2
    record = build_record(KIT, events, [decide(2), decide(1, second=5)])
    assert record.verdict is Verdict.CORRECT and record.confirmed


def test_a_correct_that_was_too_early_keeps_the_record_open_and_no_later_line() -> None:
    events = [
        *(INITIAL, count("lap", 5), CLOSING, count("lap", 4), verdict()),
        *(verdict(Verdict.RECOUNT, item="lap"), count("lap", 5), verdict()),
    ]
    record = build_record(KIT, events, accept_all(events))
    assert [line.number for line in record.lines if line.is_open] == [5]
    assert record.verdict is None and not record.confirmed
    aside = [*accept_all(events), decide(5, "set_aside", second=99)]
    assert build_record(KIT, events, aside).verdict is Verdict.CORRECT


def test_correct_asks_about_what_was_not_counted_again() -> None:
    opened = [INITIAL, count("raytec", 10), count("needle", 7), count("kelly", 6), CLOSING]
    record = build_record(KIT, [*opened, count("raytec", 10), verdict()], [])
    sentence = record.lines[-1].questions[0].sentence
    assert "needles were not counted" in sentence and "kelly" not in sentence
    full = [*opened, count("raytec", 10), count("needle", 7), verdict()]
    assert last_codes(*full) == []
    sponges = [*opened, count("raytec", 10), verdict(group="sponges")]
    assert last_codes(*sponges) == []


def test_one_group_does_not_speak_for_another() -> None:
    events = [INITIAL, count("raytec", 10), count("needle", 7), verdict(group="sponges")]
    record = build_record(KIT, events, accept_all(events))
    assert record.verdict is None
    told = [each for each in record.notices if each.code is NoticeCode.NOT_SPOKEN_FOR]
    assert [each.line for each in told] == [4]
    assert told[0].sentence == (
        "“Correct” was confirmed of sponges; sharps were counted too and not spoken for yet."
    )
    assert not any(
        each.code is NoticeCode.NOT_SPOKEN_FOR for each in build_record(KIT, events, []).notices
    )
    events.append(verdict(group="sharps"))
    record = build_record(KIT, events, accept_all(events))
    assert record.verdict is Verdict.CORRECT
    assert not any(each.code is NoticeCode.NOT_SPOKEN_FOR for each in record.notices)


def test_correct_waits_until_every_count_is_confirmed() -> None:
    events = [count("raytec", 10), count("needle", 7), verdict()]
    record = build_record(KIT, events, [decide(1), decide(3)])
    assert record.lines[2].state is LineState.ACCEPTED
    assert record.verdict is None
    assert build_record(KIT, events, accept_all(events)).verdict is Verdict.CORRECT


def test_a_verdict_does_not_outlive_what_comes_after_it() -> None:
    events = [count("raytec", 10), verdict(), CLOSING, count("raytec", 9)]
    assert build_record(KIT, events[:2], accept_all(events[:2])).verdict is Verdict.CORRECT
    assert build_record(KIT, events, accept_all(events)).verdict is None


def test_not_correct_needs_no_proof() -> None:
    events = [count("raytec", 10), CLOSING, count("raytec", 9), verdict(Verdict.NOT_CORRECT)]
    record = build_record(KIT, events, accept_all(events))
    assert record.verdict is Verdict.NOT_CORRECT and record.confirmed


def test_a_wrong_number_that_was_amended_no_longer_stands_in_the_way() -> None:
    events = [count("raytec", 10), CLOSING, count("raytec", 9), verdict()]
    amended = [*accept_all(events[:2]), decide(3, "amend", quantity=10), decide(4)]
    record = build_record(KIT, events, amended)
    assert record.verdict is Verdict.CORRECT and record.confirmed
    assert record.lines[2].confirmed_quantity == 10
    assert (total(record, "raytec").heard_last, total(record, "raytec").confirmed_last) == (9, 10)


def test_phase_is_carried_on_and_a_phase_set_aside_is_not() -> None:
    events = [INITIAL, count("lap", 5), CLOSING, count("lap", 5), count("lap", 5, phase="final")]
    record = build_record(KIT, events, [])
    assert [line.phase for line in record.lines] == [
        *("initial", "initial", "closing", "closing", "final")
    ]
    record = build_record(KIT, events, [decide(3, "set_aside")])
    assert record.lines[3].phase is Phase.INITIAL


# Confirming


def test_undo_returns_the_line_to_heard() -> None:
    events = [count("lap", 5)]
    made = [decide(1, second=1), decide(1, "amend", second=2, quantity=10)]
    assert build_record(KIT, events, made).lines[0].confirmed_quantity == 10
    made.append(decide(1, "undo", second=3))
    record = build_record(KIT, events, made)
    assert record == build_record(KIT, events, [])
    assert record.lines[0].confirmed_quantity is None


def test_decisions_on_one_line_take_effect_in_order_of_time() -> None:
    later = decide(1, "amend", second=9, quantity=10)
    made = [later, decide(1, second=1), decide(1, "set_aside", second=4)]
    assert build_record(KIT, [count("lap", 5)], made).lines[0].decision == later


def test_a_decision_on_no_line_is_a_question_until_undone() -> None:
    events = [count("lap", 5)]
    made = [decide(1), decide(7, second=1)]
    record = build_record(KIT, events, made)
    assert not record.confirmed and record.open_questions == 1
    assert "line 7" in record.questions[0].sentence
    assert "line 7" in reasons_against_whole(record)[0]
    assert build_record(KIT, events, [*made, decide(7, "undo", second=2)]).confirmed


@pytest.mark.parametrize(
    "wrong", [{"item": "spoon"}, {"quantity": -1}, {"quantity": Decimal("2.5")}]
)
def test_an_amendment_that_cannot_be_leaves_the_line_open(wrong: dict[str, object]) -> None:
    record = build_record(KIT, [count("lap", 5)], [decide(1, "amend", **wrong)])
    assert record.lines[0].state is LineState.HEARD
    assert record.open_questions == 1
    assert total(record, "lap").confirmed_last is None


def test_a_line_without_item_or_number_is_confirmed_only_by_amending_it() -> None:
    events = [count(None, 5)]
    assert build_record(KIT, events, [decide(1)]).lines[0].state is LineState.HEARD
    record = build_record(KIT, events, [decide(1, "amend", item="lap")])
    assert record.confirmed and total(record, "lap").confirmed_last == 5


def test_strike_that_amended_with_a_number_stands_in_for_the_line() -> None:
    record = build_record(KIT, [count("lap", 4), correction()], [decide(2, "amend", quantity=5)])
    assert record.confirmed and total(record, "lap").confirmed_last == 5
    assert total(record, "lap").heard_last is None


def test_whole_confirmation_needs_every_question_answered() -> None:
    events = [count("raytec", 9), count("needle", 7)]
    record = build_record(KIT, events, [])
    assert not can_confirm_whole(record)
    assert reasons_against_whole(record) == ("Line 1: Raytecs come in tens; 9 were heard.",)
    assert can_confirm_whole(build_record(KIT, events, [decide(1, "set_aside")]))
    empty = build_record(KIT, [], [])
    assert not can_confirm_whole(empty) and not empty.confirmed
