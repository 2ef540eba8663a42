"""The number grammar: what runs of spoken or written number words mean.

``word2number`` gives the value of a cardinal once this grammar has decided where the cardinal
begins and ends. On its own it cannot be trusted with speech: it adds up a spoken sequence ("one two
three" gives 5, "twenty twenty one" gives 401), reads "hundred five" and "a hundred and five" as 500
and knows neither "oh" nor "dozen" nor "half".
"""

import re
from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache

from word2number import w2n

from countersign import number_words

LARGEST_COUNT = number_words.LARGEST
"""The largest count that is read."""

ONES = number_words.ONES
TEENS = number_words.TEENS
TENS = number_words.TENS | {"fourty": 40}
ZEROS = {number_words.ZERO: 0, number_words.SPOKEN_ZERO: 0, "o": 0}

HOMOPHONES = {"to": 2, "too": 2, "for": 4, "ate": 8, "won": 1}
"""Words that a recogniser may write for a number, and the number."""

_VALUES = ONES | TEENS | TENS | ZEROS
_DIGITS = re.compile(r"\d{1,3}(,\d{3})+|\d+")
_DECIMAL = re.compile(r"\d*\.\d+|(\d{1,3}(,\d{3})+|\d+)(\.\d+)?")


def is_number_word(text: str) -> bool:
    """Whether the word can only be part of a number (homophones and "a", "and" are not)."""
    return (
        text in _VALUES
        or text in ("hundred", "dozen", "thousand")
        or _DIGITS.fullmatch(text) is not None
    )


def _below_hundred(words: Sequence[str]) -> int | None:
    match tuple(words):
        case (only,) if only in ONES or only in TEENS or only in TENS:
            return _VALUES[only]
        case (tens, ones) if tens in TENS and ones in ONES:
            return TENS[tens] + ONES[ones]
    return None


@lru_cache(maxsize=4096)
def cardinal(*words: str) -> int | None:
    """The value 0..999 if all the words together are one cardinal, else ``None``.

    "one hundred and five", "a hundred", "one oh five", "a dozen", "two dozen" and written digits
    are cardinals; "twenty twenty" and "one two" are not.
    """
    match words:
        case (digits,) if _DIGITS.fullmatch(digits):
            figures = digits.replace(",", "").lstrip("0") or "0"
            return int(figures) if len(figures) <= len(str(LARGEST_COUNT)) else None
        case (zero,) if zero in ZEROS:
            return 0
        case ("dozen",) | ("a", "dozen"):
            return 12
        case (*count, "dozen"):
            dozens = cardinal(*count)
            return dozens * 12 if dozens and dozens * 12 <= LARGEST_COUNT else None
        case (ones, "oh" | "o", unit) if ones in ONES and unit in ONES:
            return ONES[ones] * 100 + ONES[unit]
    if _below_hundred(words) is not None:
        return int(w2n.word_to_num(" ".join(words).replace("fourty", "forty")))
    head: tuple[str, ...]
    match words:
        case ("hundred", *rest):
            head = ("one",)
        case (("a" | "one") as first, "hundred", *rest):
            head = ("one",) if first == "a" else (first,)
        case (first, "hundred", *rest) if first in ONES:
            head = (first,)
        case _:
            return None
    if rest and rest[0] == "and":
        rest = rest[1:]
        if not rest:
            return None
    if rest and _below_hundred(rest) is None:
        return None
    tail = " ".join(rest).replace("fourty", "forty")
    return int(w2n.word_to_num(f"{head[0]} hundred {tail}".strip()))


Cuts = tuple[tuple[int, int, int], "Cuts | None"]
"""A number as ``(value, start, end)``, and those before it."""

Readings = dict[int | None, tuple[int, int, Cuts | None]]
"""What may have been spoken so far, by its last number: how often the numbers do not follow on from
the one before, how many they are, and the last of them."""

_LONGEST = 5  # "one hundred and twenty one" is the longest cardinal below a thousand


def split_run(
    words: Sequence[str | None], previous: int | None = None
) -> list[tuple[int, int, int]]:
    """Cut a run of number words into the numbers that were most plausibly spoken.

    ``None`` in ``words`` is a pause that no number spans. ``previous`` is the number spoken before
    the run. Gives ``(value, start, end)`` for each number, with positions in ``words``. Where the
    words can be cut in several ways ("twenty twenty one" as 20, 21 or 20, 20, 1) the cut in which
    most numbers follow on from the one before is taken, then the one with fewest numbers.
    """
    found = []
    cuts = likeliest(read_on(nothing_read(previous), words))
    while cuts is not None:
        cut, cuts = cuts
        found.append(cut)
    return found[::-1]


def nothing_read(previous: int | None = None) -> Readings:
    """Before any number, or after ``previous``."""
    return {previous: (0, 0, None)}


def likeliest(readings: Readings) -> Cuts | None:
    """The most plausible reading, from its last number on."""
    return min(readings.values(), key=lambda reading: reading[:2])[2]


def read_on(readings: Readings, words: Sequence[str | None], offset: int = 0) -> Readings:
    """The readings with more words, the first of which is at ``offset``.

    What was read before must end with a pause, as a number may not go on into these words.
    """
    best: list[Readings] = [readings, *({} for _ in words)]
    for start in range(len(words)):
        if not best[start]:
            continue
        options: list[tuple[int | None, int]] = []
        for end in range(start + 1, min(start + _LONGEST, len(words)) + 1):
            piece = words[start:end]
            if None in piece:
                break
            value = cardinal(*(word for word in piece if word is not None))
            if value is not None:
                options.append((value, end))
        if not options:
            options.append((None, start + 1))  # a pause, or a word that stands for nothing
        for last, (breaks, count, cuts) in best[start].items():
            for option, end in options:
                if option is None:
                    key, candidate = last, (breaks, count, cuts)
                else:
                    follows = last is None or option == last + 1
                    key = option
                    cut = (option, offset + start, offset + end)
                    candidate = (breaks + (not follows), count + 1, (cut, cuts))
                known = best[end].get(key)
                if known is None or candidate[:2] < known[:2]:
                    best[end][key] = candidate
    return best[-1]


def teen_or_ten(first: int | Decimal, second: int | Decimal) -> bool:
    """Whether one is a teen and the other the ten that sounds like it, as fifteen and fifty."""
    low, high = sorted((first, second))
    return low in range(13, 20) and high == (low - 10) * 10


def decimal_at(words: Sequence[str], start: int) -> tuple[Decimal, int] | None:
    """The number that begins at ``start``, with decimals and thousands, and where it ends.

    Reads "point two five", "zero point five", "one and a half", "half", "three quarters",
    "two hundred thousand", "0.25" and "200,000". ``None`` if no number begins there. The longest
    reading is taken. More than :data:`MOST_FIGURES` figures are no amount that anybody says; of
    more said behind a point the first are taken.
    """
    found = _amount_at(words, start)
    if found is None:
        return None
    _, figures, exponent = found[0].as_tuple()
    within = len(figures) <= MOST_FIGURES and -MOST_FIGURES <= int(exponent) <= MOST_FIGURES
    return found if within else None


def _amount_at(words: Sequence[str], start: int) -> tuple[Decimal, int] | None:
    if start >= len(words):
        return None
    first = words[start]
    part = _part_at(words, start)
    if part is not None:
        return part
    if _DECIMAL.fullmatch(first):
        written = Decimal(first.replace(",", ""))
        if words[start + 1 : start + 2] == ["thousand"]:
            return written * 1000, start + 2
        return written, start + 1
    whole: int | None = None
    position = start
    if first != "point":
        for end in range(min(start + _LONGEST, len(words)), start, -1):
            whole = cardinal(*words[start:end])
            if whole is not None:
                position = end
                break
        if whole is None:
            return None
    if words[position : position + 1] == ["thousand"] and whole:
        whole, position = whole * 1000, position + 1
        skip = position + (words[position : position + 1] == ["and"])
        rest = decimal_at(words, skip)
        # "two thousand five hundred", but "two hundred thousand, thirty millilitres" is two numbers
        if rest is not None and 100 <= rest[0] < 1000 and rest[0] == int(rest[0]):
            return whole + rest[0], rest[1]
        return Decimal(whole), position
    part = _part_at(words, position + 1) if words[position : position + 1] == ["and"] else None
    if part is not None and part[1] > position + 2:
        return Decimal(whole or 0) + part[0], part[1]
    if words[position : position + 1] == ["point"]:
        digits, end = _decimals(words, position + 1)
        if digits:
            return Decimal(f"{whole or 0}.{digits}"), end
        if whole is None:
            return None
    return Decimal(whole or 0), position


MOST_FIGURES = 15
"""The most figures of an amount, before and behind the point."""

_PARTS = {
    ("half",): Decimal("0.5"),
    ("a", "half"): Decimal("0.5"),
    ("quarter",): Decimal("0.25"),
    ("a", "quarter"): Decimal("0.25"),
    ("three", "quarters"): Decimal("0.75"),
    ("three", "quarter"): Decimal("0.75"),
}
"""Parts of one. "One half" is none: it may as well be "one and a half", half heard."""


def _part_at(words: Sequence[str], start: int) -> tuple[Decimal, int] | None:
    for phrase, value in _PARTS.items():
        if tuple(words[start : start + len(phrase)]) == phrase:
            return value, start + len(phrase)
    return None


def _decimals(words: Sequence[str], start: int) -> tuple[str, int]:
    """The digits after "point": one by one ("two five"), or as a cardinal ("twenty five")."""
    digits = ""
    position = start
    while position < len(words) and (words[position] in ONES or words[position] in ZEROS):
        digits += str(_VALUES[words[position]])
        position += 1
    if digits:
        return digits[: MOST_FIGURES - 3], position
    for end in range(min(start + 2, len(words)), start, -1):
        value = _below_hundred(words[start:end])
        if value is not None:
            return str(value), end
        if end == start + 1 and words[start].isdigit():
            return words[start], end
    return "", start


def year_at(words: Sequence[str], start: int) -> tuple[int, int] | None:
    """A year 2000..2099 that begins at ``start`` and where it ends.

    "twenty twenty seven", "two thousand twenty seven", "two thousand and nine", "twenty oh nine",
    "2027", and two-digit years only when written ("27").
    """
    rest = list(words[start : start + 5])
    if not rest:
        return None
    if re.fullmatch(r"20\d\d", rest[0]):
        return int(rest[0]), start + 1
    if re.fullmatch(r"\d\d", rest[0]):
        return 2000 + int(rest[0]), start + 1
    if rest[:2] == ["two", "thousand"]:
        offset = 2 + (rest[2:3] == ["and"])
        for end in (offset + 2, offset + 1):
            value = _below_hundred(rest[offset:end])
            if value is not None and len(rest) >= end:
                return 2000 + value, start + end
        return 2000, start + 2
    if rest[0] == "twenty":
        if rest[1:2] and rest[1] in ("oh", "o", "zero") and rest[2:3] and rest[2] in ONES:
            return 2000 + ONES[rest[2]], start + 3
        for end in (3, 2):
            value = _below_hundred(rest[1:end])
            if value is not None and value >= 10 and len(rest) >= end:
                return 2000 + value, start + end
    return None
