"""Reads what is said about a medication or solution: strength, additive, volume, expiry, lot."""

import calendar
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from countersign.meaning.event import MedicationDetail, Question, QuestionCode, Strength
from countersign.meaning.numbers import ONES, ZEROS, decimal_at, is_number_word, year_at

CONTAINERS = {
    "cup": "cup",
    "cups": "cup",
    "basin": "basin",
    "bowl": "bowl",
    "pitcher": "pitcher",
    "syringe": "syringe",
    "syringes": "syringe",
}
_MONTHS = "january february march april may june july august september october november december"
MONTHS = {name: number for number, name in enumerate(_MONTHS.split(), start=1)}
MONTHS |= {name[:3]: number for name, number in MONTHS.items()}
_DAYS = (
    "first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth thirteenth "
    "fourteenth fifteenth sixteenth seventeenth eighteenth nineteenth twentieth"
)
_ORDINALS = {name: number for number, name in enumerate(_DAYS.split(), start=1)} | {"thirtieth": 30}
_EXPIRY = frozenset({"expires", "expire", "expiring", "expiration", "expiry", "exp"})
_ADDITIVE = frozenset({"with", "plus"})

# The units that people say, longest first, as UCUM codes.
_VOLUME_UNITS: tuple[tuple[str, ...], ...] = (
    ("m", "l", "s"),
    ("m", "l"),
    ("c", "c"),
    ("c", "cs"),
    ("milliliters",),
    ("milliliter",),
    ("millilitres",),
    ("millilitre",),
    ("mls",),
    ("ml",),
    ("ccs",),
    ("cc",),
    ("mils",),
    ("mil",),
)
_MASS_UNITS: dict[tuple[str, ...], str] = {
    ("milligrams",): "mg",
    ("milligram",): "mg",
    ("mg",): "mg",
    ("migs",): "mg",
    ("m", "g"): "mg",
    ("micrograms",): "ug",
    ("microgram",): "ug",
    ("mcg",): "ug",
    ("ug",): "ug",
    ("mics",): "ug",
    ("grams",): "g",
    ("gram",): "g",
    ("g",): "g",
    ("units",): "[U]",
    ("unit",): "[U]",
    ("international", "units"): "[U]",
    ("milliequivalents",): "meq",
    ("milliequivalent",): "meq",
    ("meq",): "meq",
}
_WRITTEN_UNITS = {
    "mg/ml": "mg/mL",
    "mcg/ml": "ug/mL",
    "ug/ml": "ug/mL",
    "units/ml": "[U]/mL",
    "u/ml": "[U]/mL",
    "meq/ml": "meq/mL",
}
_UNITS_ALONE = frozenset({"mg", "ug", "g", "[U]"})


@dataclass(frozen=True)
class Said:
    """A medication detail with its questions and the positions of the words that mattered."""

    detail: MedicationDetail
    questions: tuple[Question, ...]
    positions: tuple[int, ...]


def _starts(words: Sequence[str], at: int, phrase: tuple[str, ...]) -> bool:
    return tuple(words[at : at + len(phrase)]) == phrase


def volume_at(words: Sequence[str], start: int) -> tuple[Decimal, int] | None:
    """A volume in millilitres that begins at ``start`` and where it ends."""
    number = decimal_at(words, start)
    if number is None:
        return None
    value, end = number
    for unit in _VOLUME_UNITS:
        if _starts(words, end, unit):
            return value, end + len(unit)
    if words[end : end + 1] and words[end] in ("liter", "liters", "litre", "litres"):
        return value * 1000, end + 1
    return None


def _ratio_at(words: Sequence[str], start: int) -> tuple[Strength, int] | None:
    written = re.fullmatch(r"1:(\d+(?:,\d{3})*)", words[start])
    if written:
        return Strength(value=Decimal(written[1].replace(",", "")), unit="ratio"), start + 1
    if words[start] not in ("one", "1"):
        return None
    if words[start + 1 : start + 2] not in (["to"], ["in"], ["per"]):
        return None
    # "one to two hundred thousand" is 1:200,000; a small second number is a range, not a ratio
    second = decimal_at(words, start + 2)
    if second is None or second[0] < 100 or second[0] != int(second[0]):
        return None
    return Strength(value=Decimal(int(second[0])), unit="ratio"), second[1]


def strength_at(words: Sequence[str], start: int) -> tuple[Strength, int] | None:
    """A strength that begins at ``start`` and where it ends.

    Percent, ratio ("one to two hundred thousand"), mass or units per millilitre, mass or units.
    """
    ratio = _ratio_at(words, start)
    if ratio is not None:
        return ratio
    number = decimal_at(words, start)
    if number is None:
        return None
    value, end = number
    if words[end : end + 2] == ["of", "a"] or words[end : end + 2] == ["a", "percent"]:
        end += 1 if words[end] == "a" else 2  # "half a percent", "half of a percent"
    if words[end : end + 1] in (["percent"], ["%"]):
        return Strength(value=value, unit="%"), end + 1
    if words[end : end + 2] == ["per", "cent"]:
        return Strength(value=value, unit="%"), end + 2
    if words[end : end + 1] and words[end] in _WRITTEN_UNITS:
        return Strength(value=value, unit=_WRITTEN_UNITS[words[end]]), end + 1
    for phrase, unit in sorted(_MASS_UNITS.items(), key=lambda entry: -len(entry[0])):
        if not _starts(words, end, phrase):
            continue
        after = end + len(phrase)
        if words[after : after + 1] in (["per"], ["/"], ["a"]):
            for volume in _VOLUME_UNITS:
                if _starts(words, after + 1, volume):
                    return Strength(value=value, unit=f"{unit}/mL"), after + 1 + len(volume)
        if unit in _UNITS_ALONE:
            return Strength(value=value, unit=unit), after
    return None


def expiry_at(words: Sequence[str], start: int) -> tuple[date, int] | None:
    """A date that begins at ``start`` and where it ends; a month and year mean its last day.

    "march twenty twenty eight", "march fifth twenty twenty eight", "03/2028", "3 2028",
    "2028-03-05" (cut into "2028", "03", "05").
    """
    if start >= len(words):
        return None
    written = re.fullmatch(r"(\d{1,2})/(\d{4}|\d{2})", words[start])
    if written and 1 <= int(written[1]) <= 12:
        year = int(written[2])
        return _last_day(year if year > 99 else 2000 + year, int(written[1])), start + 1
    position = start
    day: int | None = None
    if re.fullmatch(r"20\d\d", words[start]) and words[start + 1 : start + 2]:
        month_text = words[start + 1]
        if month_text.isdigit() and 1 <= int(month_text) <= 12:
            day_text = words[start + 2] if start + 2 < len(words) else ""
            if day_text.isdigit():
                made = _date(int(words[start]), int(month_text), int(day_text))
                return (made, start + 3) if made else None
            return _last_day(int(words[start]), int(month_text)), start + 2
    if words[position] in MONTHS:
        month = MONTHS[words[position]]
        position += 1
    else:
        number = decimal_at(words, position)
        if number is None or number[0] != int(number[0]) or not 1 <= number[0] <= 12:
            return None
        month, position = int(number[0]), number[1]
        if words[position : position + 1] == ["/"]:
            position += 1
    if words[position : position + 1] in (["of"], ["the"]):
        position += 1
    day, after_day = _day_at(words, position)
    if day is not None:
        after_slash = after_day + (words[after_day : after_day + 1] == ["/"])
        of_day = year_at(words, after_slash)
        if of_day is not None:
            made = _date(of_day[0], month, day)
            return (made, of_day[1]) if made else None
    found = year_at(words, position)
    if found is None:
        return None
    return _last_day(found[0], month), found[1]


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
    number = decimal_at(words[: start + 1], start)
    if number is not None and number[0] == int(number[0]) and 1 <= number[0] <= 31:
        return int(number[0]), start + 1
    return None, start


def _last_day(year: int, month: int) -> date:
    return date(year, month, calendar.monthrange(year, month)[1])


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def read_medication(
    words: Sequence[str], names: dict[int, tuple[str, int]], today: date | None
) -> Said:
    """What a phrase about one medication says.

    ``names`` gives, by the position where it begins, the medication id heard and where it ends.
    ``today`` is compared with the expiry; ``None`` leaves that out.
    """
    values: dict[str, object] = {}
    questions: list[Question] = []
    used: list[int] = []
    additive_slot = False
    position = 0

    def take(field: str, value: object, start: int, end: int) -> None:
        if field in values and values[field] != value:
            questions.append(
                Question(
                    code=QuestionCode.OTHER_READING,
                    sentence=f"The {_FIELD_NAMES[field]} was said in two different ways.",
                )
            )
        values[field] = value
        used.extend(range(start, end))

    def unread_before(what: str, start: int) -> None:
        """Ask about a number right before an amount that does not fit: "two five percent"."""
        before = start - 1
        if before >= 0 and before not in used and _is_unread(words[before]):
            sentence = f"“{words[before]}” was heard right before the {what}, but does not fit."
            questions.append(Question(code=QuestionCode.OTHER_READING, sentence=sentence))

    while position < len(words):
        word = words[position]
        if position in names:
            medication, end = names[position]
            if additive_slot or ("name" in values and values["name"] != medication):
                additive_slot = True
                take("additive", medication, position, end)
            else:
                take("name", medication, position, end)
            position = end
            continue
        if word in _ADDITIVE:
            additive_slot = "name" in values
            position += 1
            continue
        if word in _EXPIRY:
            start = position + 1
            while start < len(words) and words[start] in ("date", "is", "on", "in", "of"):
                start += 1
            found = expiry_at(words, start)
            if found is None:
                questions.append(
                    Question(
                        code=QuestionCode.EXPIRY_UNREADABLE,
                        sentence="An expiry was said, but its month and year were not understood.",
                    )
                )
                position = start
                # numbers that belong to the unread date are no strength or volume
                while position < len(words) and (
                    decimal_at(words, position) is not None or words[position] in MONTHS
                ):
                    if volume_at(words, position) or strength_at(words, position):
                        break
                    position += 1
            else:
                take("expiry", found[0], start, found[1])
                position = found[1]
            continue
        if word == "lot":
            start = position + 1
            while start < len(words) and words[start] in ("number", "is"):
                start += 1
            lot, position = _lot_at(words, start)
            if lot:
                take("lot", lot, start, position)
            continue
        if word in CONTAINERS and "container" not in values:
            take("container", CONTAINERS[word], position, position + 1)
            position += 1
            continue
        strength = strength_at(words, position)
        if strength is not None:
            ratio = strength[0].unit == "ratio"
            following = min((at for at in names if at >= strength[1]), default=None)
            # "one percent lidocaine with one to two hundred thousand epi": strength before name
            additive = (
                additive_slot
                if following is None or words[strength[1] : following] not in ([], ["of"])
                else additive_slot and names[following][0] != values.get("name")
            )
            if ratio and "strength" in values and "additive_strength" not in values:
                additive = additive or "additive" in values or additive_slot
            unread_before("strength", position)
            take(
                "additive_strength" if additive else "strength",
                strength[0],
                position,
                strength[1],
            )
            position = strength[1]
            continue
        volume = volume_at(words, position)
        if volume is not None:
            unread_before("volume", position)
            take("volume_ml", volume[0], position, volume[1])
            position = volume[1]
            continue
        position += 1

    expiry = values.get("expiry")
    if isinstance(expiry, date) and today is not None and expiry < today:
        questions.append(
            Question(
                code=QuestionCode.EXPIRY_PAST,
                sentence=f"The expiry that was said, {expiry.isoformat()}, has passed.",
            )
        )
    return Said(MedicationDetail.model_validate(values), tuple(questions), tuple(sorted(set(used))))


_FIELD_NAMES = {
    "name": "name",
    "additive": "additive",
    "strength": "strength",
    "additive_strength": "strength of the additive",
    "volume_ml": "volume",
    "expiry": "expiry",
    "lot": "lot",
    "container": "container",
}


def _is_unread(word: str) -> bool:
    return word == "point" or is_number_word(word)


def _is_lot_piece(word: str) -> bool:
    return word.isalnum() and (len(word) == 1 or any(sign.isdigit() for sign in word))


def _lot_at(words: Sequence[str], start: int) -> tuple[str, int]:
    """A lot of single letters, digits and spelled digits, or one written word of both."""
    lot = ""
    position = start
    while position < len(words):
        word = words[position]
        if word in ONES:
            lot += str(ONES[word])
        elif word in ZEROS:
            lot += "0"
        elif _is_lot_piece(word) and (len(word) == 1 or word.isdigit() or not lot):
            lot += word.upper()
        else:
            number = decimal_at(words, position)
            if number is None or "." in str(number[0]) or number[1] == position:
                break
            lot += str(number[0])
            position = number[1]
            continue
        position += 1
    return lot, position


def label_questions(detail: MedicationDetail, *, diluent_known: bool = False) -> list[Question]:
    """What a label lacks of name, strength and amount.

    The Joint Commission NPSG.03.04.01 (from memory): a label on the sterile field bears the name,
    strength, amount, diluent and volume, and the expiry when not used within 24 hours. Diluent and
    expiry depend on the preparation, so only the elements that always apply are asked for.
    """
    missing = []
    if detail.name is None:
        missing.append("name")
    if detail.strength is None and not diluent_known:
        missing.append("strength")
    if detail.volume_ml is None:
        missing.append("amount")
    if detail.additive is not None and detail.additive_strength is None:
        missing.append("strength of the additive")
    if not missing:
        return []
    listed = missing[0] if len(missing) == 1 else f"{', '.join(missing[:-1])} and {missing[-1]}"
    return [
        Question(
            code=QuestionCode.LABEL_INCOMPLETE,
            sentence=f"The label lacks the {listed}.",
        )
    ]
