"""Half of a line was heard as talk: what is left is asked about, never made whole from elsewhere.

Every row is from whole counts that synthetic voices spoke and that came out wrong with no question
(``python -m tests.benchmarks.spoken_cases``).
"""

import pytest

from countersign.hearing.utterance import TALK, Utterance
from countersign.kit import demo_kit_path, read_kit
from countersign.meaning import understand

from .conftest import TODAY
from .test_whole_count import rows, said


def test_a_removal_at_the_end_of_an_utterance_does_not_lead_the_next() -> None:
    found = rows("two <talk> blades off the field | two hypodermic needles added")
    assert found == "removal knife_blade -; addition hypodermic_needle 2"


@pytest.mark.parametrize(
    ("later", "asks"), [("<talk> ninety eight percent", True), ("from the circulator", False)]
)
def test_an_amount_that_talk_leads_may_be_of_anything(later: str, asks: bool) -> None:
    (event,) = said(
        f"sterile water five hundred mils expires december twenty twenty eight | {later}"
    )
    assert event.item == "sterile_water"
    sentence = "Sterile water was heard beside other talk; it may not be meant for the record."
    assert [question.sentence for question in event.questions] == [sentence] * asks


def test_a_set_up_that_may_have_a_number_is_asked_about_however_sure_the_second(utter) -> None:
    line = "lap pads on the back table"
    others = ((f"{line} five", 0.29, "grammar"), (line, 1.0, "open"))
    (event,) = understand([utter(line, others=others)], read_kit(demo_kit_path()))
    assert (event.kind, event.item, event.quantity) == ("set_up", "lap_sponge", None)
    assert event.questions


def test_what_packs_hold_is_no_count_where_the_packs_were_taken_for_something_else() -> None:
    label = "label on the cup one percent lidocaine fifty milliliters"
    found = said(f"{label} | barrel two packs of ten x-ray sponges")
    sentence = "It was heard behind packs; the number may be what one of them holds."
    assert sentence in [q.sentence for e in found if e.item == "raytec" for q in e.questions]


@pytest.mark.parametrize(
    ("amount", "asks"),
    [("m l", True), ("mils", True), ("twelve m l", False), ("lot m l two", False)],
)
def test_a_unit_whose_number_was_lost_is_asked_about(amount: str, asks: bool) -> None:
    (event,) = said(f"bupivacaine point five percent {amount} expires may twenty twenty nine")
    sentence = "An amount was heard, but not how much."
    assert [question.sentence for question in event.questions] == [sentence] * asks


@pytest.mark.parametrize(
    ("before", "asks"), [("knife blade one", True), ("knife blade one two three", False)]
)
def test_a_total_that_talk_leads_may_be_of_another_item(before: str, asks: bool) -> None:
    last = before.split()[-1]
    found = said(f"closing count | {before} | <talk> total {last} | kellys two")
    questions = [q.sentence for event in found for q in event.questions]
    sentence = "A total was heard after other talk; it may be of another item."
    assert questions == [sentence] * asks


@pytest.mark.parametrize(
    ("before", "long_s", "text", "asks"),
    [
        (["kellys five"], 0.2, "cautery tip one", True),
        ([], 0.2, "cautery tip one", False),
        (["kellys five"], 0.6, "cautery tip one", False),
        (["kellys five"], 0.2, "cautery tip one two three", False),
        (["kellys five"], 0.2, "one cautery tip", False),
    ],
)
def test_a_short_word_before_a_name_may_be_no(
    utter, before: list[str], long_s: float, text: str, asks: bool
) -> None:
    first, *rest = utter(f"{TALK} {text}", 4.0).words
    words = (first.model_copy(update={"start_s": first.end_s - long_s}), *rest)
    last = Utterance(words=words, start_s=words[0].start_s, end_s=rest[-1].end_s, confidence=1.0)
    kit = read_kit(demo_kit_path())
    heard = [*map(utter, before), last, utter("laps five", 9.0)]
    questions = [q.sentence for event in understand(heard, kit) for q in event.questions]
    assert any("with “no” it would be a correction" in sentence for sentence in questions) is asks


@pytest.mark.parametrize(
    ("text", "asks"), [("remark <talk> blades", True), ("remark the blade is chipped", False)]
)
def test_a_name_at_the_end_of_a_remark_may_have_been_counted(text: str, asks: bool) -> None:
    (event,) = said(text)
    assert (event.kind, event.item) == ("remark", "knife_blade")
    sentence = "Knife blade was heard in a remark, behind talk; was it counted?"
    assert [question.sentence for question in event.questions] == [sentence] * asks


@pytest.mark.parametrize(
    ("text", "asks"),
    [
        ("allises seven | strike that add | allis three", True),
        ("allises seven | strike that | add | allis three", False),
        ("allises seven | add allis three", False),
    ],
)
def test_a_verb_at_the_end_of_something_else_is_asked_about(text: str, asks: bool) -> None:
    *_, event = said(text)
    assert (event.kind, event.item, event.quantity) == ("addition", "allis_clamp", 3)
    sentence = "“add” was heard at the end of something else; is it about this line?"
    assert [question.sentence for question in event.questions] == [sentence] * asks


@pytest.mark.parametrize(
    ("text", "expected", "sentence"),
    [
        (
            "handed off <talk>",
            "removal - -",
            "“handed off <talk>” was heard, but not what was removed.",
        ),
        (
            "handed off remark <talk>",
            "removal - -",
            "“handed off remark <talk>” was heard, but not what was removed.",
        ),
        ("taking four <talk>", "count - 4", "“taking four <talk>” was heard, but not of what."),
        (
            "adding <talk> three",
            "addition - 3",
            "“adding <talk> three” was heard, but not of what.",
        ),
        (
            "opening a pack of <talk> umbilical tapes",
            "addition umbilical_tape -",
            "“opening a pack of <talk> umbilical tapes” was heard, but not how many.",
        ),
        (
            "adding a pack of <talk>",
            "addition - -",
            "“adding a pack of <talk>” was heard, but not how many.",
        ),
        (
            "closing count | two <talk> sponges on the mayo | ",
            "count - 2 mayo_stand",
            "“two <talk> sponges on the mayo” was heard, but not of what.",
        ),
        (
            "one | two | free needle",
            "count free_needle 2",
            "Free (eyed) needle was named only after the numbers and a pause.",
        ),
    ],
)
def test_what_is_left_of_a_line_is_asked_about(text: str, expected: str, sentence: str) -> None:
    *_, event = said(text)
    assert rows(text) == expected
    assert [question.sentence for question in event.questions] == [sentence]


@pytest.mark.parametrize("text", ["take off <talk> the <talk>", "two <talk> sponges", "bagged"])
def test_where_less_is_left_it_is_talk(text: str) -> None:
    assert said(text) == []


@pytest.mark.parametrize(("more", "quantity"), [("two", 2), ("two three", 3)])
def test_one_beside_talk_begins_a_count_however_unsure(utter, more: str, quantity: int) -> None:
    first = utter("<talk> one", confidences={"one": 0.5})
    talk = first.words[0].model_copy(update={"start_s": -0.6})
    first = first.model_copy(update={"words": (talk, first.words[1]), "start_s": -0.6})
    heard = [first, *(utter(word, at) for at, word in enumerate(more.split(), 2))]
    (event,) = understand(heard, read_kit(demo_kit_path()))
    assert (event.item, event.quantity) == (None, quantity)
    assert event.questions


def test_what_broke_is_asked_where_its_name_was_lost() -> None:
    (event,) = said("<talk> broken in three pieces")
    assert (event.kind, event.item, event.quantity) == ("breakage", None, 3)
    assert [question.sentence for question in event.questions] == [
        "“broken in three pieces” was heard, but not what."
    ]


@pytest.mark.parametrize("text", ["one two <talk>", "<talk> one two"])
def test_two_numbers_in_order_are_of_an_item_that_was_lost(text: str) -> None:
    (event,) = said(text)
    assert (event.item, event.quantity) == (None, 2)
    assert "Two was heard, but not of what." in [q.sentence for q in event.questions]


@pytest.mark.parametrize(
    ("text", "asks"),
    [("packs of dissectors", True), ("packs of ten laps", True), ("two packs of laps", False)],
)
def test_packs_whose_number_was_lost_are_asked_about(text: str, asks: bool) -> None:
    (event,) = said(text)
    sentences = [question.sentence for question in event.questions]
    assert sentences == ["Packs were heard, but not how many."] * asks


@pytest.mark.parametrize(
    ("text", "group", "counted"),
    [
        ("scrub relief dissectors on the mayo nine", None, "count peanut 9 mayo_stand"),
        ("initial count laps one two three", None, "count lap_sponge 3"),
        ("initial count laps", "sponges", ""),
        ("initial count laps on the field", "sponges", ""),
    ],
)
def test_an_item_with_a_number_is_no_group_of_a_phase(text, group, counted) -> None:
    assert (said(text)[0].group, rows(text)) == (group, counted)


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        (
            "passing off two hypos added",
            ["Heard as a removal, but “added” was heard after it."],
        ),
        # a number that was lost leaves what looks like a set-up
        (
            "richardson on the field one | richardson on the mayo",
            ["Richardson retractor may have been set up there or counted there; "
             "no number was heard."],
        ),
        ("richardson on the field one | put the richardson on the mayo", []),
        ("richardson on the field one | adson on the mayo tip up", []),
        ("closing count | richardson on the mayo", []),
        ("adson on the field one | counts are correct | adson on the mayo", []),
        # an item that was lost is not taken from the line before
        (
            "stick tie on the field one | <talk> on the mayo one",
            ["No item was named here; Suture ligature on a needle was taken."],
        ),
        ("stick tie on the field one | on the mayo one", []),
    ],
)  # fmt: skip
def test_what_may_have_been_lost_is_asked_about(text: str, asked: list[str]) -> None:
    assert [q.sentence for event in said(text) for q in event.questions] == asked


AFTER = "“on the mayo” was heard with talk after it; is it where these were?"
BEFORE = "“on the mayo” was heard after other talk; is it where these were?"
BEHIND = "“on the mayo” was heard after it beside talk; were these there?"
AHEAD = "“on the mayo” was heard beside talk just before; were these there?"


@pytest.mark.parametrize(
    ("text", "expected", "asked"),
    [
        ("on the mayo <talk> peanuts three", "count peanut 3 mayo_stand", [AFTER]),
        ("<talk> on the mayo needles three", "count suture_needle 3 mayo_stand", [BEFORE]),
        # it does not go to the count before it
        (
            "laps three | on the mayo <talk> peanuts two",
            "count lap_sponge 3; count peanut 2 mayo_stand",
            [AFTER],
        ),
        (
            "laps three | <talk> on the mayo peanuts two",
            "count lap_sponge 3; count peanut 2 mayo_stand",
            [BEFORE],
        ),
        ("laps three <talk> on the mayo", "count lap_sponge 3", [BEHIND]),
        (
            "laps three | on the mayo <talk> | needles two",
            "count lap_sponge 3; count suture_needle 2",
            [BEHIND, AHEAD],
        ),
        # what was counted there was lost, and is said once more
        ("one <talk> on the mayo | mesh one", "count mesh 1", [AHEAD]),
        ("<talk> on the mayo | mesh one", "count mesh 1", [AHEAD]),
        ("on the mayo | <talk> mesh one", "count mesh 1", [AHEAD]),
        ("two <talk> on the mayo three laps", "count lap_sponge 3", [AHEAD]),
        # another place settles it; so does another utterance
        ("on the mayo <talk> | mesh one on the field", "count mesh 1 field", []),
        ("on the mayo <talk> | counts are correct | mesh one", "verdict - -; count mesh 1", []),
    ],
)
def test_a_place_beside_talk_is_neither_lost_nor_given_away(text, expected, asked) -> None:
    assert rows(text) == expected
    assert [q.sentence for event in said(text) for q in event.questions] == asked


@pytest.mark.parametrize("text", ["on the mayo <talk> two", "two <talk> on the mayo"])
def test_a_number_at_a_place_whose_item_was_lost_is_asked_about(text: str) -> None:
    (event,) = said(f"closing count | {text}")[1:]
    assert (event.item, event.quantity) == (None, 2)
    assert [q.sentence for q in event.questions] == [f"“{text}” was heard, but not of what."]


@pytest.mark.parametrize(("gap_s", "asks"), [(0.0, True), (0.3, True), (1.0, False)])
def test_talk_before_the_last_word_of_a_longer_name(utter, gap_s: float, asks: bool) -> None:
    heard = utter("<talk> blades two")
    words = tuple(
        word.model_copy(update={"start_s": word.start_s + gap_s, "end_s": word.end_s + gap_s})
        for word in heard.words[1:]
    )
    apart = heard.model_copy(update={"words": (heard.words[0], *words)})
    (event,) = understand([apart], read_kit(demo_kit_path()), TODAY)
    sentence = "Heard Knife blade; it could be Electrosurgical tip."
    assert (sentence in [question.sentence for question in event.questions]) is asks


def test_a_breakage_of_half_a_name_asks_what_broke() -> None:
    (event,) = said("<talk> blade broke in two pieces")
    assert event.item == "knife_blade"
    assert any("it could be" in question.sentence for question in event.questions)
    (whole,) = said("the knife blade broke in two pieces")
    assert whole.questions == ()


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("closing count | sponge counts <talk> are correct", "verdict - -"),
        ("closing count | <talk> on the field blade", "count knife_blade - field"),
        ("broken <talk> three pieces", "breakage - 3"),
    ],
)
def test_half_of_a_line_is_left_and_asks(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert said(text)[-1].questions


@pytest.mark.parametrize(
    ("text", "talk_s", "left"),
    [
        ("{} | <talk> one", 0.3, [1]),
        ("{} | <talk> one", 0.9, []),
        ("{} | <talk> <talk> one", 0.3, []),
        ("{} | counts are correct | <talk> one", 0.3, []),
        ("<talk> one", 0.3, []),
    ],
)
def test_a_number_after_a_short_word_may_correct_the_line_before(utter, text, talk_s, left) -> None:
    at, heard = 0.0, []
    for line in text.format("two blades off the field").split(" | "):
        utterance = utter(line, at)
        words = [
            word.model_copy(update={"start_s": word.end_s - talk_s}) if word.text == TALK else word
            for word in utterance.words
        ]
        heard.append(utterance.model_copy(update={"words": tuple(words)}))
        at = utterance.end_s + 1.5
    events = understand(heard, read_kit(demo_kit_path()), TODAY)
    asking = [event for event in events if event.kind.value == "count"]
    assert [event.quantity for event in asking] == left
    assert all(event.questions for event in asking)


def test_a_place_before_a_verb_is_of_what_the_verb_is_about() -> None:
    found = rows("laps five | on the mayo adding needles two")
    assert found == "count lap_sponge 5; addition suture_needle 2 mayo_stand"


def test_a_relief_before_an_items_total_names_no_group() -> None:
    relief, count = said("scrub relief x-ray sponges total forty")
    assert (relief.group, count.item, count.quantity) == (None, "raytec", 40)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("closing count | one <talk> bulb", "count - 1"),
        ("two <talk> to the field", "addition - 2"),
        ("two <talk> <talk> <talk> to the field", ""),
    ],
)
def test_a_number_whose_name_was_lost_before_its_part_or_verb(text: str, expected: str) -> None:
    assert rows(text) == expected
    assert all(event.questions for event in said(text) if event.kind.value != "phase")


@pytest.mark.parametrize(
    ("text", "asks"),
    [
        ("laps five | <talk> laps four", True),
        ("laps five | <talk> needles four", False),
        # numbers counted out behind talk, and an interrupted count that starts again
        ("laps five | <talk> one two three four five total five", True),
        ("laps one two | <talk> one two three four five", False),
    ],
)
def test_what_comes_after_a_lost_word_may_be_a_correction_or_of_something_else(utter, text, asks):
    at, heard = 0.0, []
    for line in text.split(" | "):
        heard.append(utter(line, at))
        at = heard[-1].end_s + 1.5
    found = understand(heard, read_kit(demo_kit_path()), TODAY)
    sentences = [question.sentence for event in found for question in event.questions]
    told = ("Another number of it", "Talk was heard between")
    assert any(sentence.startswith(told) for sentence in sentences) is asks


def test_two_behind_a_ratio_may_be_ten(utter) -> None:
    text = "lidocaine with epinephrine one to two hundred thousand two mils"
    (event,) = understand([utter(text)], read_kit(demo_kit_path()), TODAY)
    assert "Heard two, which sounds like ten." in [q.sentence for q in event.questions]
