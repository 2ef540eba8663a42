"""From what Vosk answers to readings of a stretch of sound, with shares of the posterior."""

import json
import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from countersign.hearing.tuning import SCORE_SCALE
from countersign.hearing.utterance import TALK, Alternative, Word

UNKNOWN = "[unk]"
"""A published model's word for speech outside its word list."""


def readings_of(
    answer: str, spelled: Mapping[str, str] | None, from_s: float = 0.0
) -> list[Alternative]:
    """The readings in one of Vosk's answers (JSON), best first; those without words are left out.

    ``spelled`` gives the kit's word for a word as the model spells it; ``from_s`` is the time of
    the first sample that the decoder was given.
    """
    found = json.loads(answer).get("alternatives", [])
    scores = [SCORE_SCALE * float(one["confidence"]) for one in found]
    top = max(scores, default=0.0)
    weights = [math.exp(score - top) for score in scores]
    readings = []
    for one, weight in zip(found, weights, strict=True):
        words = tuple(_word(entry, spelled, from_s) for entry in one.get("result", []))
        if words:
            readings.append(Alternative(words=words, confidence=weight / sum(weights)))
    return readings


def own_word(text: str, spelled: Mapping[str, str] | None) -> str:
    """The kit's word, or ``TALK``, for a word as the model spells it."""
    if text == UNKNOWN:
        return TALK
    return text if spelled is None else spelled.get(text, text)


def _word(entry: Mapping[str, Any], spelled: Mapping[str, str] | None, from_s: float) -> Word:
    return Word(
        text=own_word(str(entry["word"]), spelled),
        start_s=round(entry["start"] + from_s, 3),
        end_s=round(entry["end"] + from_s, 3),
    )


def after(readings: Sequence[Alternative], time_s: float) -> list[Alternative]:
    """What the readings say of the sound after ``time_s``, best first.

    Readings that say the same there become one, and all shares come to 1. Empty if the best
    reading has no word there.
    """
    shares: dict[str, Alternative] = {}
    for reading in readings:
        words = tuple(word for word in reading.words if word.start_s + word.end_s >= 2 * time_s)
        text = " ".join(word.text for word in words)
        if text in shares:
            known = shares[text]
            share = known.confidence + reading.confidence
            shares[text] = known.model_copy(update={"confidence": share})
        else:
            shares[text] = Alternative(words=words, confidence=reading.confidence)
    whole = sum(reading.confidence for reading in shares.values())
    kept = [
        reading.model_copy(update={"confidence": reading.confidence / whole})
        for reading in sorted(shares.values(), key=lambda reading: -reading.confidence)
    ]
    return [reading for reading in kept if reading.words] if kept and kept[0].words else []


def supported(readings: Sequence[Alternative], items: Mapping[str, str]) -> tuple[Word, ...]:
    """The words of the best reading, each with the share of the posterior that supports it.

    A reading supports a word that it has at this time. It supports the words of an item's name
    with any name of the same item at this time: "mixter" for "mixters" is no doubt about what was
    counted. ``items`` gives the item of each spoken form.
    """
    best = readings[0].words
    named = [_named(reading.words, items) for reading in readings]
    owners = {place: name for name in named[0] for place in range(name.first, name.last + 1)}

    def share(place: int, word: Word) -> float:
        owner = owners.get(place)
        total = sum(
            reading.confidence
            for reading, names in zip(readings, named, strict=True)
            if has_word(reading, word)
            or (owner is not None and any(name.is_of(owner) for name in names))
        )
        return min(1.0, round(total, 4))

    return tuple(
        word.model_copy(update={"confidence": share(place, word)})
        for place, word in enumerate(best)
    )


class _Name(NamedTuple):
    """An item's name in a reading: the places of its first and last word, and when it was said."""

    item: str
    first: int
    last: int
    start_s: float
    end_s: float

    def is_of(self, other: "_Name") -> bool:
        together = self.start_s < other.end_s and other.start_s < self.end_s
        return together and self.item == other.item


def _named(words: Sequence[Word], items: Mapping[str, str]) -> list[_Name]:
    """The names of items among the words, the longest at each place."""
    longest = max((len(form.split()) for form in items), default=0)
    found, first = [], 0
    while first < len(words):
        for last in range(min(len(words), first + longest) - 1, first - 1, -1):
            item = items.get(" ".join(word.text for word in words[first : last + 1]))
            if item is not None:
                times = words[first].start_s, words[last].end_s
                found.append(_Name(item, first, last, *times))
                first = last
                break
        first += 1
    return found


def has_word(reading: Alternative, word: Word) -> bool:
    """Whether a reading has this word at this time."""
    return any(
        other.text == word.text and other.start_s < word.end_s and word.start_s < other.end_s
        for other in reading.words
    )


def distinct(
    readings: Sequence[Alternative], forms: re.Pattern[str], items: Mapping[str, str]
) -> list[Alternative]:
    """The readings after the best that say something else, likeliest first.

    Breath and room noise at the edges are often heard as talk too, and one form of an item as
    another of the same. A reading that differs only in that is the same reading, so their shares
    are added; one of nothing but talk is left out, for its share is already missing from the
    confidence of the words. ``forms`` finds spoken forms in a text, ``items`` names their items.
    """

    def meant(words: tuple[Word, ...]) -> str:
        text = " ".join(word.text for word in words)
        return forms.sub(lambda form: items[form.group()], text)

    shares: dict[str, Alternative] = {}
    for reading in readings:
        words = _without_edge_talk(reading.words)
        if not words:
            continue
        text = meant(words)
        share = reading.confidence + (shares[text].confidence if text in shares else 0.0)
        known = shares[text].words if text in shares else words
        shares[text] = Alternative(words=known, confidence=share)
    best = meant(_without_edge_talk(readings[0].words))
    others = [reading for text, reading in shares.items() if text != best]
    return sorted(others, key=lambda reading: -reading.confidence)


def _without_edge_talk(words: tuple[Word, ...]) -> tuple[Word, ...]:
    spoken = [index for index, word in enumerate(words) if word.text != TALK]
    return words[spoken[0] : spoken[-1] + 1] if spoken else ()
