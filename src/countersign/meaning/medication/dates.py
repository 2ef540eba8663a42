"""Expiries: "march twenty twenty eight", "03/2028"."""

import calendar
import re
from collections.abc import Sequence
from datetime import date

from countersign.meaning.medication.amounts import is_unit
from countersign.meaning.numbers import ZEROS, cardinal, decimal_at, year_at

_MONTHS = "january february march april may june july august september october november december"
MONTHS = {name: number for number, name in enumerate(_MONTHS.split(), start=1)}
MONTHS |= {name[:3]: number for name, number in MONTHS.items()}
_DAYS = (
    "first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth thirteenth "
    "fourteenth fifteenth sixteenth seventeenth eighteenth nineteenth twentieth"
)
_ORDINALS = {name: number for number, name in enumerate(_DAYS.split(), start=1)} | {"thirtieth": 30}


_GO_ON = (["hundred"], ["thousand"], ["point"])


def expiry_at(words: Sequence[str], start: int) -> tuple[date, int] | None:
    """A date that begins at ``start`` and where it ends; a month and year mean its last day.

    "march twenty twenty eight", "march fifth twenty twenty eight", "oh three twenty seven" (month
    and year), "oh three fifteen twenty seven", "03/2028", "3 2028", "2028-03-05" (cut into "2028",
    "03", "05"). ``None`` also where its last number could belong to a volume or strength after it.
    """
    found = _expiry_at(words, start)
    if found is None or is_unit(words, found[1]) or words[found[1] : found[1] + 1] in _GO_ON:
        return None
    return found


def _expiry_at(words: Sequence[str], start: int) -> tuple[date, int] | None:
    if start >= len(words):
        return None
    written = re.fullmatch(r"(\d{1,2})/(\d{4}|\d{2})", words[start])
    if written and 1 <= int(written[1]) <= 12:
        if words[start + 1 : start + 2] == ["/"]:
            return _written_day(words, start, int(written[1]), int(written[2]))
        year = int(written[2])
        return _last_day(year if year > 99 else 2000 + year, int(written[1])), start + 1
    if re.fullmatch(r"20\d\d", words[start]) and words[start + 1 : start + 2]:
        month_text = words[start + 1]
        if month_text.isdigit() and 1 <= int(month_text) <= 12:
            day_text = words[start + 2] if start + 2 < len(words) else ""
            if day_text.isdigit():
                made = _date(int(words[start]), int(month_text), int(day_text))
                return (made, start + 3) if made else None
            return _last_day(int(words[start]), int(month_text)), start + 2
    read = _month_at(words, start)
    if read is None:
        return None
    month, position, spelled = read
    if words[position : position + 1] in (["of"], ["the"]):
        position += 1
    day, after_day = _day_at(words, position)
    after_slash = after_day + (words[after_day : after_day + 1] == ["/"])
    of_day = year_at(words, after_slash) if day is not None else None
    alone = year_at(words, position) if of_day is None else None
    if alone is None and of_day is None:
        # a year of two figures only where no year of four can be meant: "march twenty twenty eight"
        of_day = _short_year_at(words, after_slash) if day is not None else None
        alone = _short_year_at(words, position) if of_day is None and spelled else None
    if day is not None and of_day is not None:
        made = _date(of_day[0], month, day)
        return (made, of_day[1]) if made else None
    return (_last_day(alone[0], month), alone[1]) if alone is not None else None


def _written_day(words: Sequence[str], start: int, month: int, day: int) -> tuple[date, int] | None:
    """ "03/05/2028", cut into "03/05", "/" and "2028"."""
    year = year_at(words, start + 2)
    made = _date(year[0], month, day) if year is not None else None
    return (made, year[1]) if made is not None and year is not None else None


def _month_at(words: Sequence[str], start: int) -> tuple[int, int, bool] | None:
    """A month, where it ends, and whether it was spelled with a zero ("oh three")."""
    if words[start] in MONTHS:
        return MONTHS[words[start]], start + 1, False
    zero = words[start] in ZEROS
    # one word: in "ten twenty twenty eight" the month is ten
    last = start + zero + 1
    number = decimal_at(words[:last], start + zero)
    if number is None or number[0] != int(number[0]) or not 1 <= number[0] <= (9 if zero else 12):
        return None
    end = number[1]
    return int(number[0]), end + (words[end : end + 1] == ["/"]), zero


def _short_year_at(words: Sequence[str], start: int) -> tuple[int, int] | None:
    """A year of two figures after a month or day ("twenty seven" is 2027): 2020 to 2069."""
    for end in (start + 2, start + 1):
        piece = words[start:end]
        if len(piece) == end - start and (value := cardinal(*piece)) is not None:
            return (2000 + value, end) if 20 <= value < 70 else None
    return None


def _day_at(words: Sequence[str], start: int) -> tuple[int | None, int]:
    rest = list(words[start : start + 2])
    if not rest:
        return None, start
    if rest[0] in ("twenty", "thirty") and rest[1:] and rest[1] in _ORDINALS:
        tens = 20 if rest[0] == "twenty" else 30
        if _ORDINALS[rest[1]] < 10:
            return tens + _ORDINALS[rest[1]], start + 2
    if rest[0] in _ORDINALS:
        return _ORDINALS[rest[0]], start + 1
    zero = rest[0] in ZEROS
    for end in (start + 2, start + 1) if not zero else (start + 2,):
        piece = words[start + zero : end]
        if len(piece) != end - start - zero:
            continue
        value = cardinal(*piece)
        # "march twenty one twenty twenty eight": two words only where a year follows them
        if value is None or not 1 <= value <= (9 if zero else 31):
            continue
        if end - start == 1 or zero or _short_year_at(words, end) or year_at(words, end):
            return value, end
    return None, start


def _last_day(year: int, month: int) -> date:
    return date(year, month, calendar.monthrange(year, month)[1])


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None
