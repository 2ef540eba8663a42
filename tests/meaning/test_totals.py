"""Closing totals, of a count and of what lies at several places (common practice, no source)."""

import pytest

from countersign.meaning import EventKind, QuestionCode
from countersign.meaning.event import Event

from .conftest import Say

_BEHIND = ("five total", "five in all", "five all together", "five altogether", "five all told")
_BEFORE = ("total five", "that's five", "that makes five", "for a total of five")


def _counts(events: list[Event]) -> list[tuple[str | None, object, str | None]]:
    return [(e.item, e.quantity, e.place) for e in events if e.kind is EventKind.COUNT]


def _asked(events: list[Event]) -> list[QuestionCode]:
    return [question.code for event in events for question in event.questions]


@pytest.mark.parametrize("total", [*_BEHIND, *_BEFORE, "five laps total", "that's five laps"])
@pytest.mark.parametrize("joint", [" ", " | "])
@pytest.mark.parametrize(
    "places",
    [
        "laps three on the field{}two on the back table",
        "laps on the field three{}on the back table two",
        "three laps on the field{}two laps on the back table",
    ],
)
def test_a_total_after_places_is_of_all_of_them(
    say: Say, places: str, joint: str, total: str
) -> None:
    events = say(f"initial count | {places.format(joint)}{joint}{total} | needles six")
    assert _counts(events) == [
        ("lap", 3, "field"),
        ("lap", 2, "back_table"),
        ("needle", 6, None),
    ]
    assert _asked(events) == []


@pytest.mark.parametrize("total", ["six total", "total six", "that's six", "four in all"])
def test_a_total_that_no_sum_gives_is_asked_about(say: Say, total: str) -> None:
    events = say(f"closing count | laps three on the field | two on the back table | {total}")
    assert _counts(events) == [("lap", 3, "field"), ("lap", 2, "back_table")]
    assert _asked(events) == [QuestionCode.TOTAL_DISAGREES]
    assert "Five were counted in all places" in events[-1].questions[0].sentence


def test_a_total_of_one_place_is_its_own(say: Say) -> None:
    one = "laps on the field one two three that's three"
    events = say(f"closing count | {one} | on the back table one two that's two")
    assert _counts(events) == [("lap", 3, "field"), ("lap", 2, "back_table")]
    assert _asked(events) == []


@pytest.mark.parametrize(
    "between", ["needles six", "laps one in the wound | needles two on the field", "closing count"]
)
def test_other_lines_are_in_no_total(say: Say, between: str) -> None:
    words = f"laps three on the field | {between} | laps two on the back table | total five"
    assert QuestionCode.TOTAL_DISAGREES in _asked(say(f"closing count | {words}"))


def test_a_place_counted_again_is_not_added_twice(say: Say) -> None:
    words = "laps three on the field | two on the back table | laps three on the field"
    assert _asked(say(f"closing count | {words} | total five")) == []
    assert QuestionCode.TOTAL_DISAGREES in _asked(say(f"closing count | {words} | total eight"))


@pytest.mark.parametrize("total", [*_BEHIND, "five five total", "five needles in all"])
def test_a_total_behind_its_number_closes_a_count(say: Say, total: str) -> None:
    *_, event = say(f"needles one two three four five | {total}")
    assert (event.quantity, event.questions) == (5, ())
    assert event.sequence == (1, 2, 3, 4, 5)


def test_a_total_of_another_number_is_not_the_next_number(say: Say) -> None:
    """Five were counted, whatever the sixth word was: it is no sixth needle without a question."""
    *_, event = say("needles one two three four five | six total")
    assert event.quantity == 5
    assert _asked([event]) == [QuestionCode.TOTAL_DISAGREES]


def test_a_total_without_a_count_before_is_the_count(say: Say) -> None:
    for words in ("needles five total", "five needles total", "five total needles"):
        (event,) = say(words)
        assert (event.item, event.quantity, event.questions) == ("needle", 5, ())


@pytest.mark.parametrize(
    ("line", "quantity", "asked"),
    [
        # the words of the total were not understood
        ("laps one two three four <talk> four", 4, []),
        ("laps one two three four <talk> three", 4, ["sequence_cut_off"]),
        ("laps two three four <talk> four", 4, ["sequence_start", "sequence_cut_off"]),
    ],
)
def test_talk_between_a_count_and_its_total(
    hear, utter, line: str, quantity: int, asked: list[str]
) -> None:
    (event,) = hear([utter(line)])
    assert event.quantity == quantity
    assert [str(code) for code in _asked([event])] == asked


def test_a_count_decides_what_sounds_like_its_total(hear, utter, say: Say) -> None:
    counted = "laps one two three four five six seven eight nine ten eleven twelve thirteen"
    (event,) = hear([utter(f"{counted} total thirty")])
    assert (event.quantity, event.questions) == (13, ())
    assert _asked(hear([utter(f"{counted} total forty")])) == ["total_disagrees"]
    assert _asked(hear([utter("laps thirteen total thirty")])) == ["total_disagrees"]
    assert _asked(say(f"{counted} total thirty")) == ["total_disagrees"]  # nobody misheard it
