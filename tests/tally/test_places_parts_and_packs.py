"""Counting by place, by part, in packs and bags, and what is packed in the wound.

From the field outwards, an item of several parts part by part, packs and counter bags in fives and
tens: AORN and AST guidance (from memory) and common practice, no source.
"""

import pytest
from tally_scenes import (
    KIT,
    accept_all,
    addition,
    codes,
    correction,
    count,
    decide,
    phase,
    removal,
    signed,
    total,
    verdict,
)

from countersign.meaning.event import Event, Phase, Spoken, Verdict
from countersign.meaning.event import QuestionCode as Q
from countersign.tally import LineState, build_record

INITIAL = phase(Phase.INITIAL)
CLOSING = phase(Phase.CLOSING)
FINAL = phase(Phase.FINAL)


def at(place: str, item: str, quantity: int, **fields: object) -> Event:
    return count(item, quantity, place=place, **fields)


# Places


def test_counts_at_different_places_add_up() -> None:
    events = [
        *(INITIAL, count("raytec", 10), CLOSING),
        *(at("field", "raytec", 4), at("mayo_stand", "raytec", 3), at("back_table", "raytec", 3)),
    ]
    record = build_record(KIT, events)
    assert record.open_questions == 0
    assert total(record, "raytec").heard_last == 10
    assert [(c.place, c.quantity) for c in total(record, "raytec").heard_at] == [
        ("field", 4),
        ("mayo_stand", 3),
        ("back_table", 3),
    ]
    assert record.discrepancies == ()


RELIEF = phase(Phase.RELIEF)
BY_PLACE = [
    *(INITIAL, count("raytec", 10), RELIEF),
    *(at("field", "raytec", 9), at("mayo_stand", "raytec", 1)),
]


@pytest.mark.parametrize(
    "between", [[verdict()], [addition("raytec", 20)], [verdict(), addition("raytec", 20)]]
)
def test_what_is_packed_after_a_count_by_place_only_changes_where_it_is(
    between: list[Event],
) -> None:
    record = build_record(KIT, [*BY_PLACE, *between, at("wound", "raytec", 4)])
    assert record.discrepancies == () and record.lines[-1].questions == ()
    assert (total(record, "raytec").heard_last, record.packed[0].quantity) == (10, 4)


def test_what_is_packed_while_its_count_still_stands_is_asked_and_changes_no_number() -> None:
    """Were these among the ten, or are there twelve? Only the people in the room know."""
    record = build_record(KIT, [*BY_PLACE, at("wound", "raytec", 2)])
    assert codes(record.lines[-1]) == [Q.COUNT_DISAGREES]
    assert record.discrepancies == () and total(record, "raytec").heard_last == 10
    assert record.packed[0].quantity == 2


def test_the_wound_still_adds_to_a_count_that_is_not_complete() -> None:
    events = [*BY_PLACE[:4], addition("needle", 1), at("wound", "raytec", 1)]
    record = build_record(KIT, events)
    assert total(record, "raytec").heard_last == 10
    assert record.open_questions == 0 and record.discrepancies == ()


def test_a_count_by_place_begins_anew_after_one_that_was_complete() -> None:
    events = [
        *(*BY_PLACE, verdict(), addition("raytec", 10)),
        *(at("field", "raytec", 12), at("wound", "raytec", 8)),
    ]
    record = build_record(KIT, events)
    assert [(c.place, c.quantity) for c in total(record, "raytec").heard_at] == [
        ("field", 12),
        ("wound", 8),
    ]
    assert record.open_questions == 0 and record.discrepancies == ()
    short = build_record(KIT, [*events[:-1], at("wound", "raytec", 7)])
    assert [d.difference for d in short.discrepancies] == [-1]


def test_what_was_packed_and_is_out_again_is_counted_where_it_is_now() -> None:
    events = [
        *(*BY_PLACE, verdict(), at("wound", "raytec", 2)),
        *(removal("raytec", 2, place="wound"), at("field", "raytec", 10), verdict()),
    ]
    record = build_record(KIT, events, accept_all(events))
    assert record.verdict is Verdict.CORRECT and record.packed == ()


def test_a_second_pack_is_asked_about_even_after_a_verdict() -> None:
    pack = count("raytec", 10, spoken=Spoken.PACK)
    record = build_record(KIT, [INITIAL, pack, verdict(), pack])
    assert codes(record.lines[-1]) == [Q.COUNT_DISAGREES] and record.lines[-1].waits


def test_correct_says_what_was_not_counted_since_it_moved() -> None:
    record = build_record(KIT, [INITIAL, count("raytec", 10), removal("raytec", 1), verdict()])
    assert record.lines[-1].questions[0].sentence == (
        "“Correct” was said, but raytecs were not counted since some were added or taken off "
        "(10 counted before, 9 expected now)."
    )


def test_what_is_short_so_far_is_asked_on_the_last_of_them() -> None:
    events = [INITIAL, count("raytec", 10), CLOSING, at("field", "raytec", 4)]
    events.append(at("mayo_stand", "raytec", 5))
    record = build_record(KIT, events)
    assert [codes(line) for line in record.lines[3:]] == [[], [Q.NOT_EXPECTED]]
    assert record.lines[-1].questions[0].sentence == "Raytecs: 9 counted so far, 10 expected."
    (found,) = record.discrepancies
    assert (found.line, found.counted, found.expected) == (5, 9, 10)
    assert build_record(KIT, [*events, at("back_table", "raytec", 1)]).discrepancies == ()


def test_too_many_over_the_places_is_asked() -> None:
    events = [count("lap", 5), CLOSING, at("field", "lap", 3), at("back_table", "lap", 3)]
    assert codes(build_record(KIT, events).lines[-1]) == [Q.NOT_EXPECTED]


def test_a_count_without_a_place_is_the_whole() -> None:
    events = [count("lap", 5), CLOSING, at("field", "lap", 3), count("lap", 5)]
    record = build_record(KIT, events)
    assert record.open_questions == 0
    assert total(record, "lap").heard_last == 5


def test_an_interrupted_count_is_begun_again_and_a_difference_is_asked() -> None:
    events = [count("lap", 5), CLOSING, at("field", "lap", 3), at("back_table", "lap", 2)]
    same = build_record(KIT, [*events, at("field", "lap", 3)])
    assert same.open_questions == 0 and total(same, "lap").heard_last == 5
    other = build_record(KIT, [*events, at("field", "lap", 2)])
    assert set(codes(other.lines[-1])) == {Q.COUNT_DISAGREES, Q.NOT_EXPECTED}
    assert total(other, "lap").heard_last == 4


def test_the_next_phase_begins_anew() -> None:
    events = [count("lap", 5), CLOSING, at("field", "lap", 5), FINAL, at("back_table", "lap", 5)]
    record = build_record(KIT, events)
    assert record.open_questions == 0 and total(record, "lap").heard_last == 5


def test_an_opening_count_by_place_sets_what_is_expected() -> None:
    events = [INITIAL, at("mayo_stand", "raytec", 4), at("back_table", "raytec", 6), CLOSING]
    record = build_record(KIT, [*events, count("raytec", 10)])
    assert record.open_questions == 0
    assert total(record, "raytec").heard_expected == 10
    short = build_record(KIT, [*events[:2], at("back_table", "raytec", 5)])
    assert codes(short.lines[-1]) == [Q.PACK_SHORT]
    # A first count in a later phase sets it too, as one number.
    late = [CLOSING, at("field", "needle", 2), at("mayo_stand", "needle", 3)]
    record = build_record(KIT, [*late, FINAL, count("needle", 5)])
    assert record.open_questions == 0


def test_one_place_never_lowers_what_a_whole_count_set() -> None:
    events = [INITIAL, count("needle", 7), at("field", "needle", 4), at("wound", "needle", 0)]
    events += [at("mayo_stand", "needle", 1), CLOSING, count("needle", 5)]
    record = build_record(KIT, events, accept_all(events))
    assert total(record, "needle").confirmed_expected == 7
    assert [(d.line, d.latest, d.difference) for d in record.discrepancies] == [(5, 7, -2)]


def test_a_place_that_is_none_bars_the_line() -> None:
    record = build_record(KIT, [at("ceiling", "needle", 3)], [decide(1)])
    assert record.lines[0].state is LineState.HEARD and codes(record.lines[0]) == [Q.NO_ITEM]


def test_corrections_keep_place_and_part() -> None:
    events = [count("lap", 5), CLOSING, at("field", "lap", 3), at("mayo_stand", "lap", 1)]
    record = build_record(KIT, [*events, correction(quantity=2)])
    assert (record.lines[-1].place, record.lines[-1].quantity) == ("mayo_stand", 2)
    assert total(record, "lap").heard_last == 5 and record.open_questions == 0
    # "On the field, make that four" means the line of the field, and asks since another came after.
    record = build_record(KIT, [*events, correction("lap", 4, place="field")])
    assert record.lines[2].struck_by == 5
    assert Q.UNCLEAR_CORRECTION in codes(record.lines[-1])
    assert total(record, "lap").heard_last == 5
    # "Strike that" leaves the other places as they were.
    record = build_record(KIT, [*events, correction()])
    assert total(record, "lap").heard_last == 3


# Parts


def test_parts_add_up_and_must_agree() -> None:
    events = [INITIAL, count("bulb_syringe", 1, part="barrel")]
    record = build_record(KIT, events)
    assert codes(record.lines[-1]) == [Q.COUNT_DISAGREES]
    assert record.lines[-1].questions[0].sentence == (
        "Bulb syringe: the parts do not agree, bulb missing."
    )
    whole = build_record(KIT, [*events, count("bulb_syringe", 1, part="bulb")])
    assert whole.open_questions == 0
    assert total(whole, "bulb_syringe").heard_last == 2


def test_a_part_that_is_missing_later_is_a_discrepancy_that_names_it() -> None:
    events = [
        *(INITIAL, count("bulb_syringe", 1, part="barrel"), count("bulb_syringe", 1, part="bulb")),
        *(CLOSING, count("bulb_syringe", 1, part="barrel"), count("bulb_syringe", 0, part="bulb")),
        verdict(),
    ]
    record = build_record(KIT, events, accept_all(events))
    (found,) = record.discrepancies
    assert (found.item, found.missing_parts, found.difference) == ("bulb_syringe", ("bulb",), -1)
    assert record.verdict is None
    # The same number of pieces, but of one part only: the sum alone would not show it.
    events[4:6] = [count("bulb_syringe", 2, part="barrel"), count("bulb_syringe", 0, part="bulb")]
    record = build_record(KIT, events, accept_all(events))
    (found,) = record.discrepancies
    assert (found.missing_parts, found.difference) == (("bulb",), 0)
    assert record.verdict is None
    assert "bulb syringes: bulb missing" in record.lines[-1].questions[0].sentence


def test_an_item_of_parts_counted_in_one_number_is_a_number_of_whole_ones() -> None:
    assert codes(build_record(KIT, [count("bulb_syringe", 2)]).lines[0]) == []
    assert codes(build_record(KIT, [count("bulb_syringe", 1)]).lines[0]) == [Q.COUNT_DISAGREES]
    assert codes(build_record(KIT, [addition("bulb_syringe", 3)]).lines[0]) == [Q.COUNT_DISAGREES]


@pytest.mark.parametrize(("item", "part"), [("bulb_syringe", "cap"), ("needle", "cap")])
def test_a_part_the_kit_does_not_know_bars_the_line(item: str, part: str) -> None:
    record = build_record(KIT, [count(item, 1, part=part)], [decide(1)])
    assert record.lines[0].state is LineState.HEARD
    assert codes(record.lines[0]) == [Q.NO_ITEM]
    assert total(record, item).heard_last is None


# Packs and bags


@pytest.mark.parametrize("quantity", [9, 11, 19])
def test_a_pack_that_is_not_full_stays_outside_until_a_person_decides(quantity: int) -> None:
    events = [INITIAL, count("raytec", 10), addition("raytec", quantity, spoken=Spoken.PACK)]
    record = build_record(KIT, events)
    assert record.lines[-1].waits
    assert total(record, "raytec").heard_expected == 10
    accepted = build_record(KIT, events, [decide(3)])
    assert not accepted.lines[-1].waits
    assert total(accepted, "raytec").heard_expected == 10 + quantity
    aside = build_record(KIT, events, [decide(3, "set_aside")])
    assert total(aside, "raytec").heard_expected == 10
    amended = build_record(KIT, events, [decide(3, "amend", quantity=10)])
    assert total(amended, "raytec").confirmed_expected == 10  # nothing else is confirmed yet
    undone = build_record(KIT, events, [decide(3), decide(3, "undo", second=1)])
    assert total(undone, "raytec").heard_expected == 10


def test_a_second_pack_enters_only_once_a_person_says_it_is_another() -> None:
    pack = count("raytec", 10, spoken=Spoken.PACK)
    record = build_record(KIT, [INITIAL, pack, pack])
    assert total(record, "raytec").heard_expected == 10
    record = build_record(KIT, [INITIAL, pack, pack], [decide(3)])
    assert total(record, "raytec").heard_expected == 20
    record = build_record(KIT, [INITIAL, pack, pack], [decide(3, "set_aside")])
    assert total(record, "raytec").heard_expected == 10


@pytest.mark.parametrize(
    ("item", "quantity", "code"),
    [
        ("raytec", 10, None),
        ("raytec", 9, Q.PACK_SHORT),
        ("lap", 5, None),
        ("lap", 4, Q.PACK_SHORT),
        ("lap", 6, Q.PACK_OVER),
        ("needle", 10, None),
        ("needle", 5, None),
        ("needle", 7, Q.PACK_OVER),
        ("lap", 0, Q.PACK_SHORT),
    ],
)
def test_a_bag_that_is_said_to_be_full_is_full(item: str, quantity: int, code: Q | None) -> None:
    bag = at("off_field", item, quantity, spoken=Spoken.PACK)
    line = build_record(KIT, [CLOSING, bag]).lines[-1]
    asked = [each for each in codes(line) if each in (Q.PACK_SHORT, Q.PACK_OVER)]
    assert asked == ([] if code is None else [code])
    assert line.waits is (code is not None)
    loose = at("off_field", item, quantity)
    assert not build_record(KIT, [CLOSING, loose]).lines[-1].waits


def test_bags_add_up_with_the_field() -> None:
    events = [INITIAL, count("raytec", 20), CLOSING, at("field", "raytec", 10)]
    events.append(at("off_field", "raytec", 10, spoken=Spoken.PACK))
    record = build_record(KIT, events)
    assert record.open_questions == 0 and total(record, "raytec").heard_last == 20


def test_what_was_documented_into_bags_is_not_counted_twice() -> None:
    events = [INITIAL, count("raytec", 20), removal("raytec", 10, place="off_field"), CLOSING]
    events += [at("field", "raytec", 10), at("off_field", "raytec", 10)]
    record = build_record(KIT, events)
    assert record.open_questions == 0
    assert (total(record, "raytec").heard_expected, total(record, "raytec").heard_last) == (10, 10)
    short = build_record(KIT, [*events[:-1], at("off_field", "raytec", 9)])
    assert codes(short.lines[-1]) == [Q.NOT_EXPECTED]


# In the wound

PACKED = at("wound", "lap", 2)


def test_what_is_packed_has_a_line_of_its_own_and_changes_no_number() -> None:
    record = build_record(KIT, [INITIAL, count("lap", 5), PACKED])
    assert [(p.item, p.quantity, p.line) for p in record.packed] == [("lap", 2, 3)]
    assert record.open_questions == 0
    assert (total(record, "lap").heard_expected, total(record, "lap").heard_last) == (5, 5)


def test_correct_waits_until_the_wound_is_said_to_be_empty() -> None:
    events = [INITIAL, count("lap", 5), PACKED, FINAL, count("lap", 5), verdict()]
    record = build_record(KIT, events, accept_all(events))
    assert record.verdict is None
    assert "2 laps packed in the wound (line 3)" in record.lines[-1].questions[0].sentence
    for out in (at("wound", "lap", 0), removal("lap", 2, place="wound")):
        told = [*events[:3], out, *events[3:]]
        record = build_record(KIT, told, accept_all(told))
        assert record.packed == ()
        assert record.verdict is Verdict.CORRECT, record.lines


def test_packing_after_the_final_verdict_takes_it_back() -> None:
    events = [INITIAL, count("lap", 5), FINAL, count("lap", 5), verdict(), PACKED]
    assert build_record(KIT, events[:5], accept_all(events[:5])).verdict is Verdict.CORRECT
    assert build_record(KIT, events, accept_all(events)).verdict is None


def test_counting_all_of_them_elsewhere_says_that_they_are_out() -> None:
    events = [INITIAL, count("lap", 5), PACKED, FINAL]
    events += [at("field", "lap", 3), at("off_field", "lap", 2), verdict()]
    record = build_record(KIT, events, accept_all(events))
    assert record.packed == () and record.verdict is Verdict.CORRECT
    events[4:6] = [at("field", "lap", 3), at("wound", "lap", 2)]
    record = build_record(KIT, events, accept_all(events))
    assert record.packed != () and record.verdict is None


def test_packing_that_stays_needs_both_signatures() -> None:
    events = [INITIAL, count("lap", 5), PACKED, FINAL, count("lap", 5), verdict()]
    made = accept_all(events)
    record = build_record(KIT, events, made, exceptions=[signed("lap", 3, 2)])
    assert record.verdict is Verdict.CORRECT
    assert [each.item for each in record.by_exception] == ["lap"]
    wrong = build_record(KIT, events, made, exceptions=[signed("lap", 3, 1)])
    assert wrong.verdict is None


def test_more_out_of_the_wound_than_was_in_it_is_asked() -> None:
    events = [INITIAL, count("lap", 5), PACKED, removal("lap", 3, place="wound")]
    assert codes(build_record(KIT, events).lines[-1]) == [Q.IMPLAUSIBLE]


def test_a_misheard_place_or_part_is_amended() -> None:
    events = [INITIAL, count("lap", 5), CLOSING, at("field", "lap", 3), at("field", "lap", 2)]
    made = [decide(5, "amend", place="back_table")]
    record = build_record(KIT, events, made)
    assert record.lines[-1].place == "field"  # what was heard stays as it was
    assert record.lines[-1].confirmed_place == "back_table"
    assert record.discrepancies == () and record.lines[-1].state is LineState.AMENDED
    whole = build_record(KIT, events[:4], [decide(4, "amend", place="", quantity=5)])
    assert whole.discrepancies == () and whole.lines[-1].confirmed_place is None
    parts = [INITIAL, *(count("bulb_syringe", 1, part="barrel") for _ in range(2))]
    record = build_record(KIT, parts, [decide(3, "amend", part="bulb"), decide(2)])
    assert total(record, "bulb_syringe").confirmed_expected == 2
    wrong = build_record(KIT, events, [decide(5, "amend", place="ceiling")])
    assert wrong.lines[-1].state is LineState.HEARD
