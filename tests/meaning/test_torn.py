"""A word in the middle of a line was heard as talk, or lost: what stands around it asks, and never
goes to the line before.

Found by taking words out of whole counts that synthetic voices spoke, and that had been heard
rightly, as they are lost elsewhere in them (``python -m tests.benchmarks.lost_words``).
"""

import pytest

from countersign.hearing.utterance import Utterance, Word, written
from countersign.kit import demo_kit_path, read_kit
from countersign.meaning import Event, understand

from .conftest import TODAY
from .test_whole_count import row

KIT = read_kit(demo_kit_path())
APART_S = 3.0
SOON_S = 1.0


def heard(text: str, apart_s: float = APART_S) -> list[Event]:
    """Events of sound, half a second a word; utterances are parted by ``|``."""
    utterances, at = [], 0.0
    for line in text.split("|"):
        words = []
        for word in line.split():
            words.append(Word(text=word, start_s=at, end_s=at + 0.4))
            at += 0.5
        utterances.append(
            Utterance(words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s)
        )
        at += apart_s
    return list(understand(utterances, KIT, TODAY))


def rows(text: str) -> str:
    return "; ".join(row(event) for event in heard(text) if event.kind != "phase")


def asked(text: str) -> list[str]:
    """The questions of all lines."""
    return [question.sentence for event in heard(text) for question in event.questions]


@pytest.mark.parametrize(
    ("torn", "found"),
    [
        ("on the field <talk> tie one", "count - 1 field"),
        ("on the field free <talk> two", "count - 2 field"),
        ("six suture <talk> on the back table", "count - 6 back_table"),
        ("two <talk> tips", "count - 2"),
        ("two <talk> tips passed off", "removal - 2"),
        ("two <talk> passed off", "removal - 2"),
        ("passed off two <talk> tips", "removal - 2"),
        ("bagged two <talk> sponges", "removal - 2"),
        ("two more hernia <talk>", "addition - 2"),
        ("packing four <talk>", "count - 4 wound"),
        ("vessel on the back table seven", "count - 7 back_table"),
        ("<talk> ties total eight", "count - 8"),
    ],
)
def test_a_line_of_which_the_name_was_torn_is_of_nothing_that_was_counted(torn, found) -> None:
    text = f"initial count | raytecs five | {torn} | hypos nine"
    assert rows(text) == f"count raytec 5; {found}; count hypodermic_needle 9"
    (sentence,) = asked(text)
    assert sentence == f"“{torn}” was heard, but not of what."


@pytest.mark.parametrize(
    ("line", "torn"),
    [
        ("three stick ties on <talk> field", "on <talk> field"),
        ("stick ties on <talk> field three", "on <talk> field"),
        ("on the <talk> stick ties three", "on the <talk>"),
        ("on the back <talk> stick ties one two three", "on the back <talk>"),
        ("stick ties on ten mayo three", "on ten mayo"),
        ("on two back table stick ties three", "on two back table"),
    ],
)
def test_a_torn_place_is_asked_about(line: str, torn: str) -> None:
    text = f"initial count | laps five | {line}"
    assert rows(text).endswith("count lap_sponge 5; count stick_tie 3")
    assert asked(text) == [f"“{torn}” was heard; which place that is was not understood."]


def test_outside_a_count_talk_behind_an_item_stays_talk() -> None:
    assert heard("three stick ties on <talk> field") == []


@pytest.mark.parametrize("line", ["initial count <talk>", "initial counts small <talk>"])
def test_a_count_may_have_lost_what_it_is_of(line: str) -> None:
    (sentence,) = asked(line)
    assert sentence.endswith("was heard beside other talk; is it the count of some items only?")
    assert not asked("initial count sponges")
    assert not asked("initial count")


@pytest.mark.parametrize("line", ["the small item is off", "the sharps <talk> is off"])
def test_a_group_is_not_taken_off_with_the_count_before_it(line: str) -> None:
    events = heard(f"initial count | needles six | {line}")
    assert [(event.kind, event.quantity) for event in events[1:]] == [
        ("count", 6),
        ("verdict", None),
    ]
    assert not events[1].questions
    assert events[2].questions


def test_off_behind_talk_may_be_about_something_else() -> None:
    assert "may be about something else" in " ".join(asked("kelly clamps six | <talk> is off"))


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("correction safety pin", True),
        ("i mean safety pin | four", False),
        ("cancel the safety pins", False),
    ],
)
def test_a_correction_of_the_same_item_needs_a_number(line: str, asks: bool) -> None:
    lacking = "Safety pin was heard, but no number."
    assert asked(f"safety pin two | {line}") == [lacking] * asks


def test_instruments_at_a_place_after_counts_are_counted_or_asked_about() -> None:
    """The announcement of the count was not heard."""
    text = "laps five | kellys on the mayo stand five | kelly on the back table one"
    found = "count lap_sponge 5; count kelly_clamp 5 mayo_stand; count kelly_clamp 1 back_table"
    assert rows(text) == found
    sentence = "Kelly clamp may have been counted there or set up there."
    assert asked(text) == [sentence, sentence]


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("sterile water hundred fifty cc", True),
        ("sterile water two hundred fifty cc", False),
        ("lidocaine one percent with epi one to hundred thousand thirty cc", True),
        ("lidocaine one percent with epi one to one hundred thousand thirty cc", False),
    ],
)
def test_hundred_without_a_number_is_asked_about(line: str, asks: bool) -> None:
    sentence = "“Hundred” was heard, but not how many hundreds."
    assert (sentence in asked(line)) == asks


def test_a_wound_is_packed_with_sponges() -> None:
    assert not asked("five dissectors in the wound")
    (sentence,) = asked("two safety pins in the wound")
    assert sentence == "Safety pin was heard in the wound, which is packed with sponges."


@pytest.mark.parametrize(
    "line",
    [
        "barrel ten x-ray sponges",
        "barrel x-ray sponges ten",
        "barrel a pack of raytecs",
        "barrel one pack of ten raytecs",
        "<talk> barrel raytecs ten",
    ],
)
def test_a_barrel_before_another_item_is_an_addition(line: str) -> None:
    assert rows(line) == "addition raytec 10"
    assert asked(line)[0] == "Heard “barrel”, which sounds like “adding”."


def test_a_barrel_is_a_part_where_it_is_counted() -> None:
    assert rows("bulb syringe | barrel one").startswith("count bulb_syringe 1")
    assert not asked("bulb syringe | barrel one")


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("needles drivers on the field three", "count - 3 field"),
        ("atraumatic needles free", "count suture_needle -"),
        ("free four by fours", "count raytec -"),
        ("on the back table atraumatic needles free", "count suture_needle - back_table"),
        ("four asepto sponges to the field", "addition - 4"),
    ],
)
def test_a_word_of_another_name_beside_a_name_is_asked_about(line: str, found: str) -> None:
    text = f"final count | {line} | laps three"
    assert rows(text) == f"{found}; count lap_sponge 3"
    (sentence,) = asked(text)
    assert sentence.startswith(f"“{line}” was heard, but not ")


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        (
            "final count | and the bag x-ray sponge one",
            "Heard “the bag” before it; with “in” it would be where these are.",
        ),
        (
            "i have one hypo | <talk> two",
            "Two was heard after other talk; it may correct the others.",
        ),
        (
            "x-ray sponges thirty <talk>",
            "Thirty was followed at once by talk; a number may be missing.",
        ),
        (
            "x-ray sponges one two three four bagged",
            "“Bagged” was heard right after numbers; it could be the next one.",
        ),
        (
            "okay stick tie one | <talk> two",
            "Two was heard after other talk; it may correct the others.",
        ),
        (
            "dissectors one two three four | <talk> five",
            "Five was heard after other talk; it may correct the others.",
        ),
        ("sticks one two | free", "Heard “free”, which sounds like “three”."),
        (
            "laps two | in the bag raytecs five",
            "X-ray detectable sponge, 4 × 4 may have been counted in the bag, or put there.",
        ),
        (
            "point five percent bupivacaine <talk> expires july twenty thirty one",
            "Talk was heard where its volume may be.",
        ),
        ("four knife blades that is", "Heard “that is” at the end, which sounds like “added”."),
        ("aseptos four", "Heard Bulb syringe, which sounds like “dissectors”."),
        (
            "lidocaine one percent ten cc expires may twenty thirty <talk>",
            "The year was followed at once by talk; its last number may be missing.",
        ),
        (
            "initial count | x-ray sponges on the mayo stand",
            "X-ray detectable sponge, 4 × 4 may have been set up there or counted there; "
            "no number was heard.",
        ),
    ],
)
def test_what_may_have_been_more_or_another_word_is_asked_about(line: str, sentence: str) -> None:
    assert asked(line) == [sentence]


@pytest.mark.parametrize(
    "line",
    [
        "x-ray sponges thirty one <talk>",
        "five x-ray sponges bagged",
        "add five x-ray sponges",
        "dissectors one two three four | five",
        "in the bag raytecs five",
        "laps two | raytecs five in the bag",
        "lidocaine one percent ten cc expires may twenty thirty | <talk>",
        "initial count | counts are correct | x-ray sponges on the mayo stand",
    ],
)
def test_what_was_heard_whole_asks_nothing(line: str) -> None:
    assert asked(line) == []


def test_a_count_that_goes_on_with_free_is_no_line_of_its_own() -> None:
    assert rows("sticks one two | free four | five six").count("count") == 1


def test_a_repeat_after_an_utterance_that_ended_in_talk_is_asked_about() -> None:
    text = "final count | two adsons on the back table <talk> | two adsons"
    *_, event = heard(text, SOON_S)
    sentence = "The same was heard just before; this may only repeat it."
    assert [question.sentence for question in event.questions] == [sentence]


@pytest.mark.parametrize(
    ("between", "item"), [("strike that | <talk>", None), ("strike that |", "knife_blade")]
)
def test_an_item_that_was_struck_is_not_taken_over_behind_talk(between: str, item) -> None:
    text = f"final count | on the mayo blades two | {between} on the mayo one | laps three"
    counted = [event for event in heard(text) if event.kind == "count"]
    assert [event.item for event in counted] == ["knife_blade", item, "lap_sponge"]


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ("a lap to the field", "addition lap_sponge 1"),
        ("a lap passed off", "removal lap_sponge 1"),
    ],
)
def test_one_that_is_moved_after_a_count_is_moved(line: str, found: str) -> None:
    assert rows(f"laps two | {line} | hypos nine").split("; ")[1] == found


def test_a_number_before_a_correction_that_was_lost_is_asked_about() -> None:
    text = "final count | four i mean <talk> | safety pins five"
    assert rows(text) == "count - 4; count safety_pin 5"


def test_talk_after_a_pause_is_no_part_of_an_addition() -> None:
    assert rows("adding cautery blade | <talk>") == "addition cautery_tip -"


def test_make_the_is_make_that() -> None:
    (sentence,) = asked("laps two | make the <talk>")
    assert sentence == "“make the” was heard, and not what; is the last line struck?"
    assert not asked("laps two | make the call")


def test_a_correction_without_its_number_takes_none_of_the_next_line() -> None:
    text = "safety pin two | i mean safety pin | safety pins on the mayo stand three"
    found = ["count safety_pin 2", "correction safety_pin -", "count safety_pin 3 mayo_stand"]
    assert rows(text).split("; ") == found


@pytest.mark.parametrize(
    ("line", "sentence"),
    [
        (
            "recount the needles holder <talk>",
            "“holder” was heard right after Atraumatic suture needle; is it that?",
        ),
        (
            "in <talk> bag dissectors five",
            "Heard “<talk> bag” before it; with “in” it would be where these are.",
        ),
        ("that is a pack of five lap pads", "Heard “that is”, which sounds like “adding”."),
        (
            "needle drivers one two | three count is off",
            "“three” was heard right before the verdict; it could be “the”.",
        ),
        (
            "initial count | <talk> count needle on the field one",
            "Heard Atraumatic suture needle; it could be Hypodermic needle.",
        ),
        (
            "bupivacaine point two five percent fifty metz expires december twenty thirty one",
            "The number 50 was heard, but not its unit.",
        ),
        ("counts not correct", "Heard “counts not correct”; it could be that they are."),
        (
            "initial count | cautery tips one <talk>",
            "One was followed at once by talk; a number may be missing.",
        ),
        ("final count | add two adsons", "Heard “add”, which sounds like “and”."),
        ("packing one raytec", "Heard “packing”, which sounds like “bagging”."),
    ],
)
def test_more_words_that_change_a_line_are_asked_about(line: str, sentence: str) -> None:
    assert asked(line) == [sentence]
    assert rows("hypos nine | make the ten").endswith("correction hypodermic_needle 10")


@pytest.mark.parametrize("left", ["<talk> five", "<talk> sponges five"])
def test_a_number_behind_talk_does_not_lead_the_next_line(left: str) -> None:
    text = f"final count | hypos three | {left} | five safety pins"
    found = ["count hypodermic_needle 3", "count - 5", "count safety_pin 5"]
    assert rows(text).split("; ") == found


@pytest.mark.parametrize("again", ["count is off", "recount the laps"])
def test_what_is_counted_again_is_part_of_a_count(again: str) -> None:
    lines = ["final count", "counts are correct", again, "laps three", "hypos two"]
    text = " | ".join([*lines, "<talk> nine", "six <talk>"])
    lost = [event.quantity for event in heard(text) if event.kind == "count" and not event.item]
    assert lost == [9, 6]
    settled = heard(f"{text} | the count is correct | <talk> nine")
    assert settled[-1].kind == "verdict"


def test_nothing_of_this_is_asked_of_written_words() -> None:
    lines = ["initial count", "two small tips passed off", "sterile water hundred fifty cc"]
    events = understand([written(line, at) for at, line in enumerate(lines, 1)], KIT, TODAY)
    sentences = " ".join(q.sentence for event in events for q in event.questions)
    assert "not of what" not in sentences
    assert "hundreds" not in sentences
