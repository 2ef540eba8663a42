"""When an utterance is heard again with the words before it, and what is taken from that."""

import pytest

from countersign.hearing.going_on import context_start
from countersign.hearing.readings import after
from countersign.hearing.tuning import CONTEXT_S, LONGEST_GAP_S, MARGIN_S
from countersign.hearing.utterance import TALK, Alternative, Word

ITEMS = {"laps": "lap_sponge", "towel clips": "towel_clip"}


def _spoken(text: str, start_s: float = 0.0, each_s: float = 0.25) -> tuple[Word, ...]:
    return tuple(
        Word(text=word, start_s=start_s + n * each_s, end_s=start_s + (n + 1) * each_s)
        for n, word in enumerate(text.replace("TALK", TALK).split())
    )


@pytest.mark.parametrize(
    ("before", "new", "again"),
    [
        ("laps one two", "three", False),
        ("laps one two", "TALK", True),
        ("laps one two", "TALK four", True),
        ("laps one two", "ten", True),
        ("laps one two", "towel clips one", False),
        ("laps", "one", False),
        ("towel clips", "TALK", True),
        ("towel", "TALK", False),
        ("clips", "TALK", False),
        ("nineteen", "twenty", False),
        ("twenty nine", "thirty", False),
        ("twenty nine", "ten", True),
        ("twenty", "twenty one", False),
        ("twenty", "twenty two", True),
        ("ninety nine", "TALK", False),  # no number is known to follow
        ("adding", "TALK", False),
        ("five TALK", "TALK", False),
        ("", "TALK", False),
    ],
)
def test_only_what_breaks_off_a_count_is_heard_again(before: str, new: str, again: bool) -> None:
    heard, words = _spoken(before), _spoken(new, 2.0)
    assert (context_start(heard, words, ITEMS) is not None) == again


def test_the_stretch_begins_with_a_whole_word_of_the_context() -> None:
    heard, words = _spoken("laps one two three four", 4.0), _spoken("TALK", 6.0)
    start_s = context_start(heard, words, ITEMS)
    earliest = words[-1].end_s - CONTEXT_S
    assert start_s == min(w.start_s for w in heard if w.start_s >= earliest) - MARGIN_S
    assert context_start(_spoken("laps", 0.1), _spoken("TALK", 1.0), ITEMS) == 0.0


def test_after_a_long_silence_or_in_long_talk_there_is_no_context() -> None:
    heard = _spoken("laps one two")
    late = heard[-1].end_s + LONGEST_GAP_S + 0.1
    assert context_start(heard, _spoken("TALK", late), ITEMS) is None
    assert context_start(heard, _spoken("TALK", 1.0, each_s=CONTEXT_S), ITEMS) is None


def test_readings_that_agree_after_a_time_become_one() -> None:
    readings = [
        Alternative(words=_spoken("four five"), confidence=0.4),
        Alternative(words=_spoken("for nine"), confidence=0.3),
        Alternative(words=_spoken("fourth five"), confidence=0.2),
        Alternative(words=_spoken("four"), confidence=0.1),
    ]
    kept = after(readings, 0.25)
    assert [reading.text for reading in kept] == ["five", "nine"]
    assert [reading.confidence for reading in kept] == pytest.approx([0.6, 0.3])
    assert after(readings[-1:], 0.25) == []
    assert after([], 0.25) == []
