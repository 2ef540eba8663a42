"""What was searched for and found: a remark, never a count (common practice, no source)."""

import pytest

from countersign.meaning import EventKind, QuestionCode
from countersign.meaning.event import Event

from .conftest import Say


def _row(event: Event) -> tuple[object, ...]:
    asked = tuple(question.code for question in event.questions)
    return (event.kind, event.item, event.quantity, asked)


@pytest.mark.parametrize(
    "words",
    [
        "found the needle",
        "we found the needle in the drape",
        "i've found the needle on the floor",
        "found the missing needle",
        "found the tip of the needle",
        "needle found",
        "the needle is found",
        "the needle was found under the table",
        "the missing needle has been found",
        "the needle turned up",
    ],
)
def test_a_found_item_is_a_remark_and_counts_nothing(say: Say, words: str) -> None:
    (event,) = say(words)
    assert _row(event) == (EventKind.REMARK, "needle", None, ())
    among = say(f"laps five | {words} | kellys six")
    assert [(each.kind, each.item) for each in among] == [
        (EventKind.COUNT, "lap"),
        (EventKind.REMARK, "needle"),
        (EventKind.COUNT, "kelly"),
    ]


@pytest.mark.parametrize(
    ("words", "quantity"),
    [
        ("found one lap in the drape", 1),
        ("one lap was found in the drape", 1),
        ("we found two laps in the trash", 2),
        ("found one more lap", 1),
        ("found the laps two", 2),
        ("found two more laps on the back table", 2),
    ],
)
def test_a_number_that_was_found_is_asked_about(say: Say, words: str, quantity: int) -> None:
    (event,) = say(words)
    assert _row(event) == (EventKind.REMARK, "lap", quantity, (QuestionCode.OTHER_READING,))


def test_what_was_found_without_a_name_is_what_was_missing(say: Say) -> None:
    *_, event = say("we're missing a needle | we found it")
    assert _row(event) == (EventKind.REMARK, "needle", None, (QuestionCode.OTHER_READING,))
    *_, event = say("laps four | found it")
    assert _row(event) == (EventKind.REMARK, "lap", None, (QuestionCode.OTHER_READING,))
    (event,) = say("we found it in the drape")
    assert _row(event) == (EventKind.REMARK, None, None, (QuestionCode.NO_ITEM,))


@pytest.mark.parametrize(
    "words",
    [
        "needle not found",
        "we haven't found the needle",
        "have you found the needle",
        "has the needle been found",
        "was the needle found",
        "the needle was never found",
        "did you find the needle",
        "i found a hole in the glove",
    ],
)
def test_what_was_not_found_is_talk(say: Say, words: str) -> None:
    assert say(words) == []
    kept = say(f"needles one two three | {words} | four five")
    assert [(event.item, event.quantity) for event in kept] == [("needle", 5)]


def test_a_count_goes_on_after_a_find(say: Say) -> None:
    events = say("needles one two three | found the needle | four five")
    assert [_row(event) for event in events] == [
        (EventKind.COUNT, "needle", 5, ()),
        (EventKind.REMARK, "needle", None, ()),
    ]


def test_before_anything_is_searched_for_the_word_only_leads_a_count(say: Say) -> None:
    events = say("initial count | i found five laps")
    assert _row(events[-1]) == (EventKind.COUNT, "lap", 5, ())
