"""What one utterance says stays with it: places, repeats, corrections, whole groups, talk.

Wording is common practice in United States operating rooms or our own choice, no source.
"""

import pytest

from countersign.meaning import Event
from countersign.meaning.event import EventKind

from .test_whole_count import rows, said

SURE = [
    # a place that begins an utterance leads what follows, wherever the count before it stands
    (
        "closing count | needles six | on the field, stick one | on the back table, stick one",
        "count suture_needle 6; count stick_tie 1 field; count stick_tie 1 back_table",
    ),
    (
        "closing count | two laps on the field | on the mayo, raytecs five",
        "count lap_sponge 2 field; count raytec 5 mayo_stand",
    ),
    (
        "closing count | laps on the field two, on the mayo three",
        "count lap_sponge 2 field; count lap_sponge 3 mayo_stand",
    ),
    ("closing count | kellys | on the mayo two", "count kelly_clamp 2 mayo_stand"),
    ("closing count | on the mayo | kellys two", "count kelly_clamp 2 mayo_stand"),
    ("packed one raytec", "count raytec 1 wound"),
    ("taking two laps out of the wound", "removal lap_sponge 2 wound"),
    ("two laps removed from the wound", "removal lap_sponge 2 wound"),
    # the second voice says it in its own words
    ("closing count | two blades on the back table | two", "count knife_blade 2 back_table"),
    ("closing count | two blades on the back table | two blades", "count knife_blade 2 back_table"),
    ("one bulb syringe barrel | bulb syringe barrel one", "count bulb_syringe 1 barrel"),
    ("adding a pack of five laps | five laps", "addition lap_sponge 5"),
    ("one penrose | one", "count penrose_drain 1"),
    # parts, with the number first
    (
        "one asepto barrel | one asepto bulb",
        "count bulb_syringe 1 barrel; count bulb_syringe 1 bulb",
    ),
    # what broke is named after it
    ("adding peanuts five | broken blade, two pieces", "addition peanut 5; breakage knife_blade 2"),
    # talk neither swallows nor changes a count
    ("this kelly is loose | kelly clamps six", "count kelly_clamp 6"),
    ("hand me the kelly again please | i have five kellys", "count kelly_clamp 5"),
    ("two cautery tips to the field", "addition cautery_tip 2"),
    ("laps one two three | let me see that again | four five", "count lap_sponge 5"),
    ("laps five | i mean six | how was your vacation | needles three",
     "count lap_sponge 5; correction lap_sponge 6; count suture_needle 3"),
    ("needles one two three | start over | needles one two three four", "count suture_needle 4"),
    # a closing total leaves nothing open for the number after it
    (
        "peanuts one two three four five that's five | six needles",
        "count peanut 5; count suture_needle 6",
    ),
    ("laps five | change that to ten", "count lap_sponge 5; correction lap_sponge 10"),
    ("laps five | not five, ten", "count lap_sponge 5; correction lap_sponge 10"),
    ("laps five | needles six | cancel the laps",
     "count lap_sponge 5; count suture_needle 6; correction lap_sponge -"),
    ("laps five | take that back", "count lap_sponge 5; correction - -"),
    # a medication ends where something else is said
    (
        "lidocaine one percent ten milliliters | three more stick ties",
        "receipt lidocaine 10; addition stick_tie 3",
    ),
    (
        "lidocaine one percent ten milliliters | packed one peanut",
        "receipt lidocaine 10; count peanut 1 wound",
    ),
    ("drawing five milliliters of lidocaine | hand me the syringe please", "draw lidocaine 5"),
    (
        "adson on the mayo, tip up | kelly on the mayo",
        "set_up adson_forceps - mayo_stand; remark adson_forceps -; "
        "set_up kelly_clamp - mayo_stand",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "expected"), SURE)
def test_what_is_said_is_read_without_a_question(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert [q.sentence for event in said(text) for q in event.questions] == []


@pytest.mark.parametrize(
    "words", ["surgeon requests a count", "count requested by the surgeon", "she asked for a count"]
)
def test_a_requested_count(words: str) -> None:
    assert [str(event.phase) for event in said(words)] == ["requested"]


def asked_about(text: str, code: str) -> list[Event]:
    return [e for e in said(text) if code in [q.code.value for q in e.questions]]


@pytest.mark.parametrize(
    ("text", "group", "number"),
    [
        ("instruments forty two", "instruments", 42),
        ("kellys six | forty two instruments", "instruments", 42),
        ("needles twelve | sharps total fourteen", "sharps", 14),
        ("initial count sponges ten", "sponges", 10),
        ("small items nine", "small_items", 9),
    ],
)
def test_one_number_for_a_whole_group_is_asked_about(text: str, group: str, number: int) -> None:
    (event,) = asked_about(text, "no_item")
    assert (event.kind, event.group, event.quantity) == (EventKind.COUNT, group, number)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("closing count | two blades on the back table | three", "read_back_disagrees"),
        ("closing count | two blades on the back table | three blades", "read_back_disagrees"),
        ("adding a pack of five laps | four laps", "read_back_disagrees"),
        ("adding two needles | two needles added", "said_again"),
        ("bagged two laps | two laps passed off", "said_again"),
        ("adding a pack of ten raytecs | only nine in it", "other_reading"),
        ("two laps packed | two laps out", "other_reading"),
        ("two needles on the floor", "other_reading"),
        ("on the field, two laps on the mayo", "other_reading"),
        ("laps five | not six, ten", "unclear_correction"),
        ("laps five | that was wrong", "unclear_correction"),
        ("lidocaine one percent thirty milliliters | ten drawn up", "no_quantity"),
        ("lidocaine one percent thirty milliliters | drawn up in the syringe", "no_item"),
        ("lidocaine one percent thirty milliliters expired may twenty twenty", "expiry_past"),
    ],
)
def test_what_is_not_sure_is_asked_about(text: str, code: str) -> None:
    assert asked_about(text, code)


def test_more_of_the_same_is_no_repeat() -> None:
    assert not asked_about("adding five laps | adding five more laps", "said_again")
