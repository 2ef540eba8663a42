"""What supports the words of the best reading."""

from countersign.hearing.readings import supported
from countersign.hearing.utterance import Alternative, Word

ITEMS = {"mixter": "right_angle", "mixters": "right_angle", "lap": "lap", "lap sponges": "lap"}


def reading(share: float, *texts: str, start_s: float = 0.0) -> Alternative:
    words = tuple(
        Word(text=text, start_s=start_s + place * 0.5, end_s=start_s + place * 0.5 + 0.4)
        for place, text in enumerate(texts)
    )
    return Alternative(words=words, confidence=share)


def shares(*readings: Alternative) -> dict[str, float]:
    return {word.text: word.confidence for word in supported(readings, ITEMS)}


def test_a_number_is_supported_by_the_same_number_only() -> None:
    found = shares(reading(0.6, "mixters", "six"), reading(0.4, "mixters", "eight"))
    assert found == {"mixters": 1.0, "six": 0.6}


def test_another_form_of_the_same_item_supports_its_name() -> None:
    found = shares(reading(0.5, "mixters", "six"), reading(0.3, "mixter", "six"))
    assert found == {"mixters": 0.8, "six": 0.8}


def test_a_longer_form_supports_every_word_of_the_name() -> None:
    found = shares(reading(0.5, "lap", "sponges", "six"), reading(0.3, "lap", "five", "six"))
    assert found == {"lap": 0.8, "sponges": 0.8, "six": 0.8}


def test_another_item_does_not() -> None:
    found = shares(reading(0.5, "mixters", "six"), reading(0.3, "lap", "six"))
    assert found == {"mixters": 0.5, "six": 0.8}


def test_the_same_item_at_another_time_does_not() -> None:
    found = shares(reading(0.5, "mixters", "six"), reading(0.3, "mixter", "six", start_s=3.0))
    assert found == {"mixters": 0.5, "six": 0.5}
