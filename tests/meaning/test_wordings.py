"""Wordings of a whole count beside the usual ones (common practice, no source).

A phase, a move or a verdict said so is never lost; where it could mean several things it is asked.
"""

import pytest

from .test_numbers_left_over import said

PHASES = [
    ("surgeon is closing the fascia", "closing"),
    ("they are closing the abdomen", "closing"),
    ("doctor is closing the bladder", "closing_cavity"),
    ("she is closing the peritoneal cavity", "closing_cavity"),
    ("surgeon is closing the skin", "final"),
    ("we're about to close the peritoneum", "closing_cavity"),
    ("closing the hysterotomy", "closing_cavity"),
    ("ready to close the fascia", "closing"),
    ("ready to close", "closing"),
    ("starting to close skin", "final"),
    ("i'm taking over scrub", "relief"),
    ("closure count", "closing"),
    ("sponge count for closing", "closing"),
]


@pytest.mark.parametrize(("text", "expected"), PHASES)
def test_who_closes_does_not_hide_what_is_closed(text: str, expected: str) -> None:
    first, second = said(f"{text} | needles six")
    assert (first.phase, first.questions) == (expected, ())
    assert (second.item, second.quantity, second.questions) == ("suture_needle", 6, ())


def row(text: str) -> str:
    rows = []
    for event in said(text):
        fields = (event.kind, event.verdict, event.item or event.group, event.quantity, event.place)
        asked = "?" if event.questions else ""
        rows.append(" ".join(str(field) for field in fields if field is not None) + asked)
    return "; ".join(rows)


MOVED = [
    # one of a thing, without a number
    ("raytec off the field", "removal raytec 1?"),
    ("lap off", "removal lap_sponge 1?"),
    ("laps off the field", "removal lap_sponge?"),
    ("needle to the field", "addition suture_needle 1?"),
    ("tossed a raytec", "removal raytec 1?"),
    ("take the needle off", ""),
    ("handing you a kelly", ""),
    # off the field, or only counted
    ("counted off ten raytecs", "removal raytec 10?"),
    ("discarding two laps", "removal lap_sponge 2?"),
    ("you're getting five laps", "addition lap_sponge 5?"),
    # into the wound and out of it
    ("two laps going in", "count lap_sponge 2 wound?"),
    ("lap going in", "count lap_sponge 1 wound?"),
    ("one lap tucked under the retractor", "count lap_sponge 1 wound?"),
    ("two laps tucked in the wound", "count lap_sponge 2 wound"),
    ("lap out", "removal lap_sponge 1 wound?"),
    ("all laps are out", "removal lap_sponge wound?"),
    ("taking out the packing", "removal wound?"),
    ("we're going in", ""),
    ("laps five | going in", "count lap_sponge 5"),
    # of several sorts
    ("kellys six curved four straight two", "count kelly_clamp 6?"),
    ("six kellys four curved and two straight", "count kelly_clamp 6?"),
    ("raytecs by tens ten twenty thirty", "count raytec 30?"),
    # in bags of unknown number
    ("two bags of laps", "count lap_sponge 2?"),
    ("bags of laps two", "count lap_sponge 2?"),
]


@pytest.mark.parametrize(("text", "expected"), MOVED)
def test_what_comes_and_goes(text: str, expected: str) -> None:
    assert row(text) == expected


PACKS = [
    ("set that pack aside", "remark?"),
    ("set aside the pack of laps", "remark lap_sponge?"),
    ("laps four | pack is short set it aside", "count lap_sponge 4?; remark lap_sponge?"),
    ("laps four | take that pack off the field", "count lap_sponge 4; remark lap_sponge?"),
    (
        "laps one two three four | set that pack aside | laps one two three four five",
        "count lap_sponge 4; remark lap_sponge?; count lap_sponge 5",
    ),
    ("set it aside", ""),
    ("laps five | opening a pack | one two three four five", "count lap_sponge 5; addition {}?"),
]


@pytest.mark.parametrize(("text", "expected"), PACKS)
def test_a_pack_that_is_set_aside_is_asked_about(text: str, expected: str) -> None:
    assert row(text) == expected.format("lap_sponge 5")


VERDICTS = [
    ("sharps are all accounted for", "verdict correct sharps"),
    ("laps accounted for", "verdict correct lap_sponge"),
    ("is everything accounted for", ""),
    ("one lap short", "verdict not_correct lap_sponge"),
    ("laps are one short", "verdict not_correct lap_sponge"),
    ("we are one needle short", "verdict not_correct suture_needle"),
    ("one lap too many", "verdict not_correct lap_sponge"),
    ("laps five | one short", "count lap_sponge 5; verdict not_correct"),
    ("count is off by one", "verdict not_correct"),
    ("needle count is short by one", "verdict not_correct sharps"),
    ("extra needle", "addition suture_needle 1?"),
    ("short kelly", ""),
]


@pytest.mark.parametrize(("text", "expected"), VERDICTS)
def test_verdicts(text: str, expected: str) -> None:
    assert row(text) == expected


def test_a_count_that_goes_on_from_its_last_number_is_not_cut_off() -> None:
    """It was left at three, and the numbers after the talk were dropped in silence."""
    (event,) = said("needles one two three | hang on where were we | three four five six")
    assert event.quantity == 6 and event.questions


@pytest.mark.parametrize(
    "text", ["those were raytecs", "no those are raytecs", "it was raytecs", "no it was raytecs"]
)
def test_another_item_named_for_a_line_asks_about_both(text: str) -> None:
    line, correction = said(f"five laps | {text}")
    assert (line.item, line.quantity, correction.kind) == ("lap_sponge", 5, "correction")
    assert line.questions and correction.questions
    (alone,) = said(f"five laps | {text} on the table over there")
    assert alone.questions == ()


@pytest.mark.parametrize(
    "text", ["those were ten raytecs", "those are ten raytecs", "it was ten raytecs"]
)
def test_an_item_and_number_named_anew_are_not_lost(text: str) -> None:
    events = said(f"five laps | {text}")
    assert [(event.item, event.quantity) for event in events][-1] == ("raytec", 10)
    assert events[-1].questions
