"""Times of day: "fourteen hundred", "oh eight thirty", "two thirty p m"."""

import re
from collections.abc import Sequence
from datetime import time

from countersign.meaning.numbers import ZEROS, cardinal
from countersign.number_words import spell

_HALVES = {("p", "m"): 12, ("pm",): 12, ("a", "m"): 0, ("am",): 0}
_WORDS_OF_AN_HOUR = {hour: len(spell(hour).split()) for hour in range(24)}
_NAMED = {"noon": time(12), "midnight": time(0)}


def time_at(words: Sequence[str], start: int) -> tuple[time, int] | None:
    """A time of day that begins at ``start`` and where it ends.

    An hour below thirteen without a zero before it, "hundred" after it, or "a m" or "p m" could be
    either half of the day and is none. Midnight as the end of a day is ``00:00``.
    """
    if start >= len(words):
        return None
    if words[start] in _NAMED:
        return _NAMED[words[start]], start + 1
    found = _clock(words, start)
    if found is None:
        return None
    hour, minute, end, sure = found
    for phrase, later in _HALVES.items():
        if tuple(words[end : end + len(phrase)]) == phrase:
            if not 1 <= hour <= 12:
                return None
            return time(hour % 12 + later, minute), end + len(phrase)
    if not (sure or (hour >= 13 and end - start > _WORDS_OF_AN_HOUR[hour])):
        return None
    return time(hour, minute), end + (words[end : end + 1] == ["hours"])


def _clock(words: Sequence[str], start: int) -> tuple[int, int, int, bool] | None:
    """Hour, minute, where they end, and whether the hour can only be one of twenty four."""
    written = re.fullmatch(r"(\d{1,2}):(\d{2})", words[start])
    if written:
        hour, zeroed = int(written[1]), written[1][0] == "0"
        return _valid(hour, int(written[2]), start + 1, sure=zeroed or hour >= 13)
    if re.fullmatch(r"\d{4}", words[start]):
        return _valid(int(words[start][:2]), int(words[start][2:]), start + 1, sure=True)
    zero = words[start] in ZEROS
    at = start + zero
    if zero and words[at : at + 1] == ["hundred"]:
        return _valid(0, 0, at + 1, sure=True)
    if zero and words[at : at + 1] and words[at] in ZEROS:
        at += 1  # "zero zero thirty"
        hour, after = 0, at
    else:
        read = _below(words, at, 24)
        if read is None or (zero and read[0] > 9):
            return None
        hour, after = read
    if words[after : after + 1] == ["hundred"]:
        return _valid(hour, 0, after + 1, sure=True)
    if words[after : after + 1] == ["o'clock"]:
        return _valid(hour, 0, after + 1, sure=zero)
    minute_zero = after < len(words) and words[after] in ZEROS
    minutes = _below(words, after + minute_zero, 60)
    if minutes is not None and (minutes[0] >= 10 or minute_zero):
        return _valid(hour, minutes[0], minutes[1], sure=zero)
    if zero or minutes is not None:
        return None  # "twenty four hundred"
    return _valid(hour, 0, after, sure=False)


def _below(words: Sequence[str], start: int, limit: int) -> tuple[int, int] | None:
    """A cardinal below a limit, the longest that fits."""
    for end in (start + 2, start + 1):
        piece = words[start:end]
        if len(piece) == end - start:
            value = cardinal(*piece)
            if value is not None and 0 < value < limit:
                return value, end
    return None


def _valid(hour: int, minute: int, end: int, *, sure: bool) -> tuple[int, int, int, bool] | None:
    return (hour, minute, end, sure) if hour < 24 and minute < 60 else None
