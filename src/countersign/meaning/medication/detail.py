"""Reads what is said about one medication: name, additive, diluent, amounts, expiry, lot, people.

:func:`read_medication` goes through the words once. At each position the functions of
:data:`READERS` are asked in order; the first that finds something takes its words.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal

from countersign.hearing.utterance import TALK
from countersign.kit.model import Kit
from countersign.kit.written import read_strength
from countersign.meaning.cues import FILLERS
from countersign.meaning.event import MedicationDetail, Question, QuestionCode, Strength
from countersign.meaning.medication.amounts import UNITS_ALONE, strength_at, volume_at
from countersign.meaning.medication.dates import MONTHS, expiry_at
from countersign.meaning.medication.hands import hands_at
from countersign.meaning.medication.lots import lot_at
from countersign.meaning.medication.solutions import solutions
from countersign.meaning.medication.times import time_at
from countersign.meaning.numbers import decimal_at, is_number_word
from countersign.meaning.questions import ask, doubt
from countersign.meaning.words import BREAK, UNKNOWN

CONTAINERS = {
    "cup": "cup",
    "cups": "cup",
    "basin": "basin",
    "bowl": "bowl",
    "pitcher": "pitcher",
    "syringe": "syringe",
    "syringes": "syringe",
}
_UNTIL = {"good": ("until", "till", "through", "thru"), "use": ("by", "before")}
"""Pairs of words that lead to an expiry too."""
EXPIRY = frozenset({"expires", "expired", "expire", "expiring", "expiration", "expiry", "exp"})
_ADDITIVE = frozenset({"with", "plus"})
_MIXED = frozenset({"diluted", "dilute", "mixed", "dissolved", "reconstituted"})
_INTO = ("in", "into", "with", "to", "up")
_SMALL = frozenset({"of", "a", "an", "the", "some", "and"})
_FIELD_NAMES = {
    "name": "name",
    "additive": "additive",
    "diluent": "diluent",
    "strength": "strength",
    "additive_strength": "strength of the additive",
    "volume_ml": "volume",
    "diluent_volume_ml": "volume of the diluent",
    "expiry": "expiry",
    "expiry_time": "time of expiry",
    "lot": "lot",
    "container": "container",
    "received_by": "receiver",
    "received_from": "giver",
}


@dataclass(frozen=True)
class Said:
    """A medication detail with its questions and the positions of the words that mattered.

    ``known`` are the positions of all words that were understood, those that only lead to another
    ("expires", "from") among them.
    """

    detail: MedicationDetail
    questions: tuple[Question, ...]
    positions: tuple[int, ...]
    known: frozenset[int] = frozenset()


@dataclass
class _Taken:
    """What has been taken from the words so far; ``values`` are fields of the detail.

    ``about`` is what an amount belongs to: ``name``, ``additive`` or ``diluent``. ``doubted`` are
    the fields about which a question was asked already.
    """

    words: Sequence[str]
    names: dict[int, tuple[str, int]]
    kit: Kit | None
    today: date | None
    drawn: bool
    values: dict[str, object] = field(default_factory=dict)
    questions: list[Question] = field(default_factory=list)
    used: set[int] = field(default_factory=set)
    known: set[int] = field(default_factory=set)
    about: str = "name"
    mixed: bool = False
    total_next: bool = False


def read_medication(
    words: Sequence[str],
    names: dict[int, tuple[str, int]],
    today: date | None,
    kit: Kit | None = None,
    *,
    drawn: bool = False,
) -> Said:
    """What a phrase about one medication says.

    ``names`` gives, by the position where it begins, the medication id heard and where it ends.
    ``today`` is compared with the expiry; ``None`` leaves that out. ``kit`` says which of the names
    are diluents. ``drawn`` is true for a draw, where a syringe is where it goes and any other
    container where it comes from.
    """
    taken = _Taken(words, names, kit, today, drawn)
    position = 0
    while position < len(words):
        ends = (reader(taken, position) for reader in READERS)
        position = next((end for end in ends if end is not None), position + 1)
    if taken.mixed and "diluent" not in taken.values:
        sentence = "A dilution was heard, but not with what."
        taken.questions.append(ask(QuestionCode.NO_ITEM, sentence))
    _amount_in_a_solution(taken)
    if any(word == "per" and at not in taken.used for at, word in enumerate(words)):
        sentence = "“Per” was heard, but not what was said of which volume."
        taken.questions.append(doubt(sentence))
    expiry = taken.values.get("expiry")
    if isinstance(expiry, date) and today is not None and expiry < today:
        sentence = f"The expiry that was said, {expiry.isoformat()}, has passed."
        taken.questions.append(ask(QuestionCode.EXPIRY_PAST, sentence))
    detail = MedicationDetail.model_validate(taken.values)
    unique = tuple(dict.fromkeys(taken.questions))
    return Said(detail, unique, tuple(sorted(taken.used)), frozenset(taken.known | taken.used))


def loose_number(words: Sequence[str], starts: Iterable[int], said: Said) -> Decimal | None:
    """A number without a unit that begins at one of ``starts``, or after fillers from there.

    Numbers that ``said`` has taken for something are none.
    """
    for start in starts:
        at = start
        while at < len(words) and words[at] in FILLERS:
            at += 1
        number = decimal_at(words, at)
        if number is not None and at not in said.known:
            return number[0]
    return None


def _take(taken: _Taken, name: str, value: object, start: int, end: int) -> int:
    """Set a field to what the words from ``start`` to ``end`` say."""
    if name in taken.values and taken.values[name] != value:
        sentence = f"The {_FIELD_NAMES[name]} was said in two different ways."
        taken.questions.append(doubt(sentence))
    taken.values[name] = value
    taken.used.update(range(start, end))
    return end


def _amount_in_a_solution(taken: _Taken) -> None:
    """ "Five hundred milliliters saline with one gram cefazolin": the solution is the diluent."""
    strength = taken.values.get("additive_strength")
    if (
        _is_solution(taken, taken.values.get("name"))
        and isinstance(strength, Strength)
        and strength.unit in UNITS_ALONE
        and "diluent" not in taken.values
    ):
        values = taken.values
        values["diluent"], values["name"] = values["name"], values.pop("additive")
        values["strength"] = values.pop("additive_strength")
        if "volume_ml" in values:
            values["diluent_volume_ml"] = values.pop("volume_ml")


def _is_solution(taken: _Taken, medication: object) -> bool:
    return taken.kit is not None and medication in solutions(taken.kit)


def _ahead(taken: _Taken, start: int) -> str | None:
    """The medication named next, with only amounts and small words before it."""
    position = start
    while position < len(taken.words):
        if position in taken.names:
            return taken.names[position][0]
        amount = strength_at(taken.words, position) or volume_at(taken.words, position)
        if amount is not None:
            position = amount[1]
        elif taken.words[position] in _SMALL or taken.words[position] == BREAK:
            position += 1
        else:
            return None
    return None


# The readers: each gives where its words end, ``None`` if there is nothing of its kind.


def _name(taken: _Taken, start: int) -> int | None:
    if start not in taken.names:
        return None
    medication, end = taken.names[start]
    if taken.values.get("name", medication) != medication and taken.about == "name":
        taken.about = "additive"
    return _take(taken, taken.about, medication, start, end)


def _without(taken: _Taken, start: int) -> int | None:
    """ "Without epinephrine", "no epi": said so that nobody takes it for mixed in."""
    if taken.words[start] not in ("without", "no") or start + 1 not in taken.names:
        return None
    medication, end = taken.names[start + 1]
    taken.known.update(range(start, end))
    if medication in (taken.values.get("additive"), taken.values.get("name")):
        taken.questions.append(doubt("The additive was said in two different ways."))
    return end


def _with(taken: _Taken, start: int) -> int | None:
    words = taken.words
    if words[start] not in _ADDITIVE:
        return None
    taken.known.add(start)
    if "name" not in taken.values:
        return start + 1
    ahead = _ahead(taken, start + 1)
    if ahead is None:
        heard = words[start + 1 : start + 2]
        if heard and (heard[0] in (TALK, UNKNOWN) or heard[0] not in FILLERS):
            sentence = f"“{words[start]}” was heard, but not what it was mixed with."
            taken.questions.append(doubt(sentence[:1] + sentence[1:2].upper() + sentence[2:]))
        return start + 1
    taken.about = "diluent" if _is_solution(taken, ahead) else "additive"
    return start + 1


def _mixed(taken: _Taken, start: int) -> int | None:
    """ "Diluted with", "mixed in", or "in" before a solution."""
    words = taken.words
    position = start
    explicit = words[start] in _MIXED
    while position < len(words) and words[position] in (*_MIXED, *_INTO):
        position += 1
    if position == start or "name" not in taken.values:
        return None
    if not explicit:
        if words[start] not in ("in", "into") or not _is_solution(taken, _ahead(taken, position)):
            return None
    elif position == start + 1 and not _is_solution(taken, _ahead(taken, position)):
        return None
    taken.known.update(range(start, position))
    taken.about, taken.mixed = "diluent", explicit or taken.mixed
    taken.total_next = "to" in words[start:position]
    return position


def no_expiry_at(words: Sequence[str], start: int) -> bool:
    """Whether "no expiration date" stands there, and no date after it: that would correct one."""
    if words[start] not in ("no", "without") or start + 1 >= len(words):
        return False
    at = start + 1
    if words[at] not in ("expiration", "expiry"):
        return False
    while at < len(words) and words[at] in (*EXPIRY, "date", "is"):
        at += 1
    return expiry_at(words, at) is None


def _expiry(taken: _Taken, start: int) -> int | None:
    words = taken.words
    if no_expiry_at(words, start):
        taken.known.update((start, start + 1))
        sentence = "It was said to have no expiry on it."
        taken.questions.append(ask(QuestionCode.EXPIRY_UNREADABLE, sentence))
        return start + 2
    pair = words[start + 1 : start + 2] and words[start + 1] in _UNTIL.get(words[start], ())
    if words[start] not in EXPIRY and not pair:
        return None
    position = start + (2 if pair else 1)
    timed = False
    while position < len(words) and words[position] in _BEFORE_EXPIRY:
        timed = timed or words[position] in ("at", "time")
        days = _DAYS_FROM_NOW.get(words[position])
        if days is not None and taken.today is not None:
            day = taken.today + timedelta(days=days)
            _take(taken, "expiry", day, position, position + 1)
        position += 1
    taken.known.update(range(start, position))
    if not timed:
        found = expiry_at(words, position)
        if found is not None:
            end = _take(taken, "expiry", found[0], position, found[1])
            if words[end : end + 1] == ["at"]:
                taken.known.add(end)
                return _time(taken, end + 1, timed=True) or _unread(taken, end + 1, "time")
            return end
    timed_end = _time(taken, position, timed=timed)
    if timed_end is not None:
        return timed_end
    if (
        taken.today is not None
        and "expiry" in taken.values
        and words[position - 1] in _DAYS_FROM_NOW
    ):
        return position
    return _unread(taken, position, "time" if timed else "month and year")


_DAYS_FROM_NOW = {"today": 0, "tomorrow": 1}
_BEFORE_EXPIRY = (
    *("date", "time", "is", "on", "in", "of", "at", "by", "the", "end"),
    *_DAYS_FROM_NOW,
)


def _time(taken: _Taken, start: int, *, timed: bool) -> int | None:
    """A time of day; without "at" before it only one that can be nothing else."""
    found = time_at(taken.words, start)
    if found is None:
        return None
    heard = taken.words[start : found[1]]
    plain = heard[-1] in ("hundred", "hours", "m", "am", "pm", "noon", "midnight")
    if not timed and not plain and ":" not in heard[0]:
        return None
    if volume_at(taken.words, start) is not None:
        return None
    like_a_year = found[0].hour == _CENTURY and found[0].minute >= _CENTURY
    if like_a_year and not plain and ":" not in heard[0]:
        # The month before a year is easily lost: "september twenty twenty nine".
        year = " ".join(heard)
        taken.questions.append(doubt(f"“{year}” was taken for a time of day; it could be a year."))
    return _take(taken, "expiry_time", found[0], start, found[1])


_CENTURY = 20


def _unread(taken: _Taken, start: int, what: str) -> int:
    """Ask about an expiry that was not understood, and pass over its numbers."""
    words = taken.words
    verb = "were" if " and " in what else "was"
    sentence = f"An expiry was said, but its {what} {verb} not understood."
    taken.questions.append(ask(QuestionCode.EXPIRY_UNREADABLE, sentence))
    position = start
    # numbers that belong to the unread date are no strength or volume
    while position < len(words) and (
        decimal_at(words, position) is not None
        or is_number_word(words[position])
        or words[position] in MONTHS
    ):
        if volume_at(words, position) or strength_at(words, position):
            break
        position += 1
    unknown = position == start and words[start : start + 1] not in ([], [BREAK], [TALK])
    taken.known.update(range(start, position + unknown))
    return position


def _lot(taken: _Taken, start: int) -> int | None:
    words = taken.words
    if words[start] != "lot" or (start and words[start - 1] == "a"):
        return None
    position = start + 1
    while position < len(words) and words[position] in ("number", "is"):
        position += 1
    taken.known.update(range(start, position))
    lot, end, sure = lot_at(words, position)
    if lot and not sure:
        taken.questions.append(doubt("It is not clear where the lot ends and an amount begins."))
    return _take(taken, "lot", lot, position, end) if lot else end


def _hands(taken: _Taken, start: int) -> int | None:
    found = hands_at(taken.words, start)
    if found is None:
        return None
    name, role, end = found
    if taken.words[start - 1 : start] == ["back"]:  # "read back by the scrub"
        taken.known.update(range(start, end))
        return end
    return _take(taken, name, role, start, end)


def _container(taken: _Taken, start: int) -> int | None:
    container = CONTAINERS.get(taken.words[start])
    if container is None:
        return None
    before = taken.values.get("container")
    taken.known.add(start)
    if taken.drawn and before is not None and "syringe" in (before, container):
        if container == "syringe":
            return start + 1  # where it goes; where it comes from says more
        taken.values.pop("container")
    return _take(taken, "container", container, start, start + 1)


def _strength(taken: _Taken, start: int) -> int | None:
    found = strength_at(taken.words, start)
    if found is None:
        return None
    strength, end = found
    _unread_before(taken, "strength", start)
    _unsure_per(taken, strength, start, end)
    if taken.about == "diluent":
        return _of_the_diluent(taken, strength, start, end)
    following = min((at for at in taken.names if at >= end), default=None)
    # "one percent lidocaine with one to two hundred thousand epi": strength before name
    additive = taken.about == "additive"
    if following is not None and taken.words[end:following] in ([], ["of"]):
        additive = additive and taken.names[following][0] != taken.values.get("name")
    if strength.unit == "ratio" and "strength" in taken.values:
        named = "additive" in taken.values and "additive_strength" not in taken.values
        additive = additive or named
    return _take(taken, "additive_strength" if additive else "strength", strength, start, end)


def _unsure_per(taken: _Taken, strength: Strength, start: int, end: int) -> None:
    """Ask about a strength in another volume than one millilitre: it may have been begun again."""
    words = taken.words
    shared = next((at for at in range(start, end) if words[at] == "per"), end)
    if shared < end and decimal_at(words, shared + 1) is not None:
        taken.questions.append(doubt("A strength was said in another volume than one mL."))


def _of_the_diluent(taken: _Taken, strength: Strength, start: int, end: int) -> int:
    """A strength beside the diluent's name: known from the kit, or asked about."""
    taken.used.update(range(start, end))
    medication = taken.values.get("diluent") or _ahead(taken, start)
    if taken.kit is not None and isinstance(medication, str):
        stocked = taken.kit.medication(medication).strengths
        if (strength.value, strength.unit) in [read_strength(text) for text in stocked]:
            return end
    taken.questions.append(doubt("It is not clear what the strength said of the diluent is of."))
    return end


def _volume(taken: _Taken, start: int) -> int | None:
    found = volume_at(taken.words, start)
    if found is None:
        return None
    volume, end = found
    _unread_before(taken, "volume", start)
    if taken.about == "diluent":
        if taken.total_next:
            return _up_to(taken, volume, start, end)
        return _take(taken, "diluent_volume_ml", volume, start, end)
    if taken.about == "additive":
        before_name = "additive" not in taken.values and _ahead(taken, end) is not None
        if before_name and _is_solution(taken, taken.values.get("name")):
            before_name = "volume_ml" in taken.values
        if before_name or "volume_ml" in taken.values:
            sentence = "It is not clear whether a volume is of the additive or of the whole."
            taken.questions.append(doubt(sentence))
            if "volume_ml" in taken.values:
                taken.used.update(range(start, end))
                return end
    return _take(taken, "volume_ml", volume, start, end)


def _up_to(taken: _Taken, total: Decimal, start: int, end: int) -> int:
    """ "Diluted to forty milliliters": the diluent is the rest."""
    taken.total_next = False
    strength, volume = taken.values.get("strength"), taken.values.get("volume_ml")
    if isinstance(strength, Strength) and strength.unit in UNITS_ALONE and volume is None:
        return _take(taken, "volume_ml", total, start, end)
    if isinstance(volume, Decimal) and total > volume:
        return _take(taken, "diluent_volume_ml", total - volume, start, end)
    sentence = f"A dilution to {total} mL was heard, but it does not fit the volume before it."
    taken.questions.append(doubt(sentence))
    taken.used.update(range(start, end))
    return end


READERS: tuple[Callable[[_Taken, int], int | None], ...] = (
    _without,
    _name,
    _with,
    _mixed,
    _expiry,
    _lot,
    _hands,
    _container,
    _strength,
    _volume,
)


def _unread_before(taken: _Taken, what: str, start: int) -> None:
    """Ask about a number right before an amount that does not fit: "two five percent"."""
    before = start - 1
    if before < 0 or before in taken.used:
        return
    word = taken.words[before]
    if word == "point" or is_number_word(word):
        sentence = f"“{word}” was heard right before the {what}, but does not fit."
        taken.questions.append(doubt(sentence))
        while before >= 0 and (
            taken.words[before] == "point" or is_number_word(taken.words[before])
        ):
            taken.known.add(before)
            before -= 1
