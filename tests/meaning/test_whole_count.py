"""Places, parts, breakage and read backs: how a whole count is said.

Wording is common practice in United States operating rooms or our own choice, no source. The places
are those of AORN and AST guidance on counting from the field outwards (from memory).
"""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from countersign.hearing.utterance import written
from countersign.kit import demo_kit_path, read_kit
from countersign.meaning import Event, understand
from countersign.number_words import spell

from .conftest import TODAY

KIT = read_kit(demo_kit_path())


def said(text: str) -> list[Event]:
    """Events of lines parted by ``|``, with the demonstration kit."""
    lines = [written(line.strip(), n) for n, line in enumerate(text.split("|"), 1)]
    return list(understand(lines, KIT, TODAY))


def row(event: Event) -> str:
    where = [name for name in (event.place, event.part) if name]
    fields = (event.kind, event.item or "-", event.quantity or "-", *where)
    return " ".join(str(field) for field in fields)


def rows(text: str) -> str:
    return "; ".join(row(event) for event in said(text) if event.kind != "phase")


PLACES = [
    ("two needles on the mayo", "count suture_needle 2 mayo_stand"),
    ("two needles on the mayo stand", "count suture_needle 2 mayo_stand"),
    ("three laps on the field", "count lap_sponge 3 field"),
    ("laps on the field three", "count lap_sponge 3 field"),
    ("one lap packed", "count lap_sponge 1 wound"),
    ("packing two laps", "count lap_sponge 2 wound"),
    ("two laps in the wound", "count lap_sponge 2 wound"),
    ("two laps packed in the abdomen", "count lap_sponge 2 wound"),
    ("two laps out of the wound", "removal lap_sponge 2 wound"),
    ("removing two laps from the wound", "removal lap_sponge 2 wound"),
    ("six laps on the mayo", "count lap_sponge 6 mayo_stand"),
    # outside a count something goes into the bag; in a count the bags are counted
    ("five laps in the bag", "removal lap_sponge 5 off_field"),
    ("bagging five laps", "removal lap_sponge 5 off_field"),
    ("five laps bagged", "removal lap_sponge 5 off_field"),
    ("bag of five laps", "removal lap_sponge 5 off_field"),
    ("closing count | five laps in the bag", "count lap_sponge 5 off_field"),
    ("initial count | five laps in the bag", "removal lap_sponge 5 off_field"),
    ("two laps out of the wound | laps five", "removal lap_sponge 2 wound; count lap_sponge 5"),
    ("closing count | a bag of ten raytecs", "count raytec 10 off_field"),
    ("closing count | two bags of ten raytecs", "count raytec 20 off_field"),
    (
        "closing count | five laps in the bag | bag of five",
        "count lap_sponge 5 off_field; count lap_sponge 5 off_field",
    ),
    # the item is named once, the places follow
    (
        "closing count | laps | three on the field | two on the back table | one packed",
        "count lap_sponge 3 field; count lap_sponge 2 back_table; count lap_sponge 1 wound",
    ),
    (
        "closing count | three laps on the field two on the mayo",
        "count lap_sponge 3 field; count lap_sponge 2 mayo_stand",
    ),
    ("closing count | on the mayo stand two needles", "count suture_needle 2 mayo_stand"),
    ("closing count | kelly clamps on the mayo stand two", "count kelly_clamp 2 mayo_stand"),
    ("first bag of laps five", "removal lap_sponge 5 off_field"),
    (
        "closing count | bag of laps five | bag of five",
        "count lap_sponge 5 off_field; count lap_sponge 5 off_field",
    ),
    ("is there a lap in the wound", ""),
    ("on the tray kellys six", "count kelly_clamp 6"),
    # set-up talk
    ("adson on the mayo stand", "set_up adson_forceps - mayo_stand"),
    ("kelly clamps on the mayo stand two", "set_up kelly_clamp 2 mayo_stand"),
]


@pytest.mark.parametrize(("text", "expected"), PLACES)
def test_places(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert [q.sentence for event in said(text) for q in event.questions] == []


@pytest.mark.parametrize(
    "text",
    [
        "two adsons on the mayo stand",  # set up there, or counted there?
        "ten raytecs on the mayo stand",
        "closing count | laps five | two on the mayo",  # two of what?
        "there's a lap in the wound",
        "five laps | there's a lap in the belly",
        "all packing is out",
    ],
)
def test_an_unsure_place_is_asked_about(text: str) -> None:
    assert [q for event in said(text) if event.place for q in event.questions]


def test_a_number_with_a_place_but_no_item_asks_of_what_in_a_count() -> None:
    assert said("one on the field") == []
    for text in ("closing count | one on the back table", "closing count one on the back table"):
        (one,) = said(text)[1:]
        assert (one.quantity, one.place) == (1, "back_table")
        assert [question.code.value for question in one.questions] == ["no_item"]


PARTS = [
    (
        "bulb syringe, barrel one, bulb one",
        "count bulb_syringe 1 barrel; count bulb_syringe 1 bulb",
    ),
    ("barrel one bulb one", "count bulb_syringe 1 barrel; count bulb_syringe 1 bulb"),
    ("one barrel | one bulb", "count bulb_syringe 1 barrel; count bulb_syringe 1 bulb"),
    (
        "bulb syringes two barrels two bulbs",
        "count bulb_syringe 2 barrel; count bulb_syringe 2 bulb",
    ),
    ("one bulb", "count bulb_syringe 1 bulb"),
    ("bulb syringe one", "count bulb_syringe 1"),
    ("change the bulb", ""),
]


@pytest.mark.parametrize(("text", "expected"), PARTS)
def test_parts(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert [q.sentence for event in said(text) for q in event.questions] == []


BROKEN = [
    ("needle broken in two pieces", "breakage suture_needle 2"),
    ("umbilical tape cut in two", "breakage umbilical_tape 2"),
    ("cut the umbilical tape in half", ""),
    ("blade broke, two pieces", "breakage knife_blade 2"),
    ("the needle broke | two pieces", "breakage suture_needle 2"),
    ("broken needle three pieces", "breakage suture_needle 3"),
    ("one needle snapped in two", "breakage suture_needle 2"),
    (
        "needles six | one needle is broken in two",
        "count suture_needle 6; breakage suture_needle 2",
    ),
    ("i cut the vessel loop in half", "breakage vessel_loop 2"),
    (
        "the needle broke in three pieces | no, needles two",
        "breakage suture_needle 3; correction suture_needle 2",
    ),
    ("is the needle broken", ""),
    ("we broke scrub", ""),
    ("cut the suture", ""),
]


@pytest.mark.parametrize(("text", "expected"), BROKEN)
def test_breakage(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert [q.sentence for event in said(text) for q in event.questions] == []


@pytest.mark.parametrize("text", ["the needle broke", "needles six | it broke in two"])
def test_an_unclear_breakage_is_asked_about(text: str) -> None:
    broken = [event for event in said(text) if event.kind == "breakage"]
    assert len(broken) == 1 and broken[0].questions


SET_UP = [
    ("placing the knife handle on the mayo stand", "set_up knife_handle - mayo_stand"),
    ("i put the metz on the mayo", "set_up metzenbaum_scissors - mayo_stand"),
    ("moving the metz to the back table", "set_up metzenbaum_scissors - back_table"),
    (
        "mayo stand: knife handle, adson",
        "set_up knife_handle - mayo_stand; set_up adson_forceps - mayo_stand",
    ),
    (
        "on the mayo stand | knife handle | adson | on the back table | laps",
        "set_up knife_handle - mayo_stand; set_up adson_forceps - mayo_stand; "
        "set_up lap_sponge - back_table",
    ),
    (
        "metz on the mayo, tips up, handles toward the back",
        "set_up metzenbaum_scissors - mayo_stand; remark metzenbaum_scissors -; "
        "remark metzenbaum_scissors -",
    ),
    (
        "adson on the mayo | tips up | handles toward the back",
        "set_up adson_forceps - mayo_stand; remark adson_forceps -; remark adson_forceps -",
    ),
    (
        "kelly clamps curve down on the mayo stand",
        "set_up kelly_clamp - mayo_stand; remark kelly_clamp -",
    ),
    ("can you put the metz on the mayo", ""),
    ("the mayo stand is too high", ""),
    ("handles toward the back", ""),
]


@pytest.mark.parametrize(("text", "expected"), SET_UP)
def test_set_up(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert [q.sentence for event in said(text) for q in event.questions] == []


FALLEN = [
    ("i dropped a needle", "remark suture_needle -"),
    ("needle on the floor", "remark suture_needle -"),
    ("kelly dropped", "remark kelly_clamp -"),
    ("is the needle on the floor", ""),
    (
        "laps one two | a lap fell on the floor | three",
        "count lap_sponge 3; remark lap_sponge -",
    ),
]


@pytest.mark.parametrize(("text", "expected"), FALLEN)
def test_what_fell_is_noted_and_still_counted(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert [q.sentence for event in said(text) for q in event.questions] == []


READ_BACKS = [
    ("laps one two three four five | five", "count lap_sponge 5"),
    ("laps five | five", "count lap_sponge 5"),
    ("laps five | five laps", "count lap_sponge 5"),
    ("five laps | laps five", "count lap_sponge 5"),
    ("adding five laps | five laps", "addition lap_sponge 5"),
    ("laps one one two two three three", "count lap_sponge 3"),
    ("laps | one | one | two | two | three | three", "count lap_sponge 3"),
    # two packs are two packs
    ("pack of five laps | pack of five laps", "count lap_sponge 5; count lap_sponge 5"),
]


@pytest.mark.parametrize(("text", "expected"), READ_BACKS)
def test_a_read_back_that_agrees_is_one_count(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert [q.sentence for event in said(text) for q in event.questions] == []


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "laps one two three four five | four",
            "Five was counted, then four was said of the same.",
        ),
        ("laps five | nine", "Five was counted, then nine was said of the same."),
        ("laps five | four laps", "Five was counted, then four was said of the same."),
        ("laps one one two two three four", "Three was counted and four repeated."),
    ],
)
def test_a_read_back_that_disagrees_is_asked_about(text: str, sentence: str) -> None:
    asked = [q for event in said(text) for q in event.questions]
    assert ("read_back_disagrees", sentence) in [(q.code, q.sentence) for q in asked]


def test_a_late_repeat_is_a_count_of_its_own(hear, utter) -> None:
    events = hear([utter("five laps"), utter("five laps", 5.0)])
    assert [event.quantity for event in events] == [5, 5]


@pytest.mark.parametrize(
    ("text", "asks"),
    [
        ("<talk> blades three", True),  # cautery blades?
        ("knife blades three", False),
        ("<talk> cautery blades three", False),
        ("<talk> needles three", True),  # hypo needles?
        ("<talk> laps three", False),
        ("needle <talk>", False),
    ],
)
def test_talk_that_may_hide_the_beginning_of_a_name(text: str, asks: bool) -> None:
    sentences = [q.sentence for event in said(text) for q in event.questions]
    assert any("it could be" in sentence for sentence in sentences) is asks


def test_a_count_in_an_utterance_that_is_mostly_talk(hear, utter) -> None:
    long = utter("<talk> laps nine")
    talk, *rest = long.words
    later = [w.model_copy(update={"start_s": w.start_s + 3, "end_s": w.end_s + 3}) for w in rest]
    stretched = (talk.model_copy(update={"end_s": 3.4}), *later)
    (event,) = hear([long.model_copy(update={"words": stretched, "end_s": later[-1].end_s})])
    assert [q.sentence for q in event.questions] == [
        "Laparotomy sponge was heard amid much other talk."
    ]
    assert hear([utter("<talk> laps nine")])[0].questions == ()


SPOTS = {"field": "on the field", "mayo_stand": "on the mayo", "wound": "packed"}


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    st.lists(st.sampled_from(["laps", "raytecs", "needles"]), min_size=1, max_size=3, unique=True),
    st.data(),
)
def test_a_count_by_places_is_read_exactly(names, data) -> None:
    items = {"laps": "lap_sponge", "raytecs": "raytec", "needles": "suture_needle"}
    lines, expected = ["closing count"], []
    for name in names:
        places = data.draw(
            st.lists(st.sampled_from(sorted(SPOTS)), min_size=1, max_size=3, unique=True)
        )
        for number, place in enumerate(places):
            quantity = data.draw(st.integers(2, 20))
            what = f"{spell(quantity)} {name}" if number == 0 else spell(quantity)
            lines.append(f"{what} {SPOTS[place]}")
            expected.append((items[name], quantity, place))
    events = said(" | ".join(lines))[1:]
    assert [(event.item, event.quantity, event.place) for event in events] == expected
    assert [q for event in events for q in event.questions] == []
    assert all(a.end_s <= b.start_s for a, b in pairwise(events))


def test_a_number_said_twice_in_a_slow_count_is_asked_about() -> None:
    # the second "two" may be the third thing
    for text in ("laps | one | two | two", "laps | one | two | two | three"):
        assert [q.code for event in said(text) for q in event.questions]


@pytest.mark.parametrize(
    "text",
    [
        "twelve laps | <talk> seven | make that eight",  # which of the two is corrected?
        "<talk> ten | i mean twelve",
        "<talk> off five laps",  # passing off?
        "kochers two | <talk> off six laps",
        "laps one <talk> three",
    ],
)
def test_what_talk_may_hide_is_asked_about(text: str) -> None:
    for event in said(text):
        right = (event.kind, event.item, event.quantity) == ("count", "lap_sponge", 12)
        assert event.questions or right


def test_a_number_after_a_correction_is_of_the_item_it_comes_with() -> None:
    assert rows("laps ten | no eleven | twelve debakey forceps") == (
        "count lap_sponge 10; correction lap_sponge 11; count debakey_forceps 12"
    )
