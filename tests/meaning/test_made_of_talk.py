"""Unlikely words in an utterance that is mostly talk."""

import pytest

from countersign.hearing.utterance import TALK
from countersign.meaning.made_of_talk import without_unlikely


@pytest.mark.parametrize(
    ("line", "counting", "stays"),
    [
        ("<talk> <talk> two", True, True),
        ("nine <talk> <talk>", True, True),
        # outside a count, in the middle of talk, more talk, or no number
        ("<talk> <talk> two", False, False),
        ("<talk> seven <talk> <talk>", True, False),
        ("<talk> <talk> <talk> <talk> two", True, False),
        ("<talk> <talk> <talk> <talk> more", True, False),
        # no longer than a short line
        ("<talk> recount <talk>", True, True),
        ("<talk> recount <talk>", False, False),
    ],
)
def test_what_may_be_a_line_stays_in_a_count(utter, line: str, counting: bool, stays: bool) -> None:
    heard = utter(line, confidences=dict.fromkeys(line.split(), 0.6))
    assert (without_unlikely(heard, counting=counting) == heard) is stays


@pytest.mark.parametrize(
    ("line", "confidence", "stays"),
    [
        ("<talk> <talk> <talk> <talk> <talk> <talk> laps eleven", 0.6, False),
        ("<talk> <talk> <talk> <talk> <talk> <talk> laps eleven", 0.8, True),
        ("<talk> laps eleven", 0.6, True),
        ("laps eleven", 0.6, True),
    ],
)
def test_words_that_are_likely_or_not_alone_in_talk_stay(
    hear, utter, line: str, confidence: float, stays: bool
) -> None:
    heard = utter(line)
    words = [word.model_copy(update={"confidence": confidence}) for word in heard.words]
    heard = heard.model_copy(update={"words": tuple(words)})
    left = without_unlikely(heard)
    assert (left == heard) is stays
    assert bool([event for event in hear([heard]) if event.item]) is stays
    if not stays:
        assert {word.text for word in left.words} == {TALK} and left.alternatives == ()
