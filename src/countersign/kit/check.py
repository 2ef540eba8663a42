"""Everything that is wrong with a kit file, with the line where it is."""

import os
import re
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import combinations
from typing import Any, NamedTuple

from countersign.kit.mistake import Mistake, read_toml
from countersign.kit.model import Kit
from countersign.kit.phone_distance import nearness
from countersign.kit.phones import PHONES
from countersign.kit.pronounce import Origin, pronunciations_of, readings_of, spoken_as
from countersign.kit.shape import Fault, fit
from countersign.kit.source import kit_text
from countersign.kit.source_lines import KeyPath, line_of, locate
from countersign.kit.words import COMMAND_WORDS, NUMBER_WORDS, is_command, is_number
from countersign.kit.written import UCUM, read_strength

_PLACES = ("mayo_stand", "back_table")
_FORM = re.compile(r"[a-z']+(?:-[a-z']+)*(?: [a-z']+(?:-[a-z']+)*)*")


class _Form(NamedTuple):
    """One spoken form and whose it is."""

    text: str
    path: KeyPath
    owner: str


def check_kit(path: str | os.PathLike[str]) -> list[Mistake]:
    """Every mistake in a kit file in order of lines, empty if there is none.

    Raises :class:`~countersign.problems.BadInput` only if there is no text to look at. Of faults
    in the TOML itself only the first is known: what follows it cannot be told apart.
    """
    text = kit_text(path)
    document = read_toml(text)
    if isinstance(document, Mistake):
        return [document]
    mistakes = _fitted(text, document)[1]
    lines = locate(text)
    for level, faults in (
        ("error", _unpronounceable(document)),
        ("notice", _guessed(document)),
        ("warning", _doubts(document)),
    ):
        for where, sentence in faults:
            mistakes.append(
                Mistake.model_validate(
                    {"line": line_of(lines, where), "sentence": sentence, "level": level}
                )
            )
    return sorted(mistakes, key=lambda mistake: mistake.line)


def load(text: str) -> tuple[Kit | None, list[Mistake]]:
    """The kit written in ``text``, or ``None`` and the errors that make it unusable.

    Pronunciations that are missing are not among them: only hearing needs them.
    """
    document = read_toml(text)
    return (None, [document]) if isinstance(document, Mistake) else _fitted(text, document)


def _fitted(text: str, document: dict[str, Any]) -> tuple[Kit | None, list[Mistake]]:
    kit, faults = fit(document)
    faults = [*faults, *_clashes(document)]
    if not faults:
        return kit, []
    lines = locate(text)
    mistakes = [Mistake(line=line_of(lines, path), sentence=said) for path, said in faults]
    return None, sorted(mistakes, key=lambda mistake: mistake.line)


# What follows reads the document as it is, so that one fault does not hide another: whatever has
# the wrong type is passed over here, because its shape was already complained about.


def _tables(document: dict[str, Any]) -> Iterator[tuple[KeyPath, dict[str, Any]]]:
    for name in ("item", "medication"):
        entries = document.get(name)
        for position, entry in enumerate(entries if isinstance(entries, list) else []):
            if isinstance(entry, dict):
                yield (name, position), entry


def _words(value: object) -> Iterator[tuple[int, str]]:
    for position, word in enumerate(value if isinstance(value, list) else []):
        if isinstance(word, str):
            yield position, word


def _forms(document: dict[str, Any]) -> list[_Form]:
    return [
        _Form(form, (*path, "spoken", position), _name(path, entry))
        for path, entry in _tables(document)
        for position, form in _words(entry.get("spoken"))
    ]


def _name(path: KeyPath, entry: dict[str, Any]) -> str:
    said = entry.get("id")
    return said if isinstance(said, str) and said else f"{path[0]} number {int(path[1]) + 1}"


def _own(document: dict[str, Any]) -> dict[str, list[str]]:
    """The kit's pronunciations, only those that are made of known phones."""
    given = document.get("pronunciations")
    return {
        word: usable
        for word, spoken in (given.items() if isinstance(given, dict) else ())
        if (usable := [s for _, s in _words(spoken) if s.split() and set(s.split()) <= PHONES])
    }


def _clashes(document: dict[str, Any]) -> Iterator[Fault]:
    yield from _empty_texts(document)
    yield from _id_clashes(document)
    yield from _form_clashes(_forms(document))
    yield from _phone_faults(document)
    yield from _set_up_faults(document)
    yield from _diluent_faults(document)


def _empty_texts(document: dict[str, Any]) -> Iterator[Fault]:
    for key in ("title", "procedure"):
        if isinstance(document.get(key), str) and not document[key].strip():
            yield (key,), f"The kit has an empty {key}."
    for path, entry in _tables(document):
        if isinstance(entry.get("label"), str) and not entry["label"].strip():
            yield (*path, "label"), f"“{_name(path, entry)}” has an empty label."


def _id_clashes(document: dict[str, Any]) -> Iterator[Fault]:
    seen: set[str] = set()
    for path, entry in _tables(document):
        said = entry.get("id")
        if isinstance(said, str):
            if said in seen:
                yield (*path, "id"), f"The id “{said}” is used twice."
            seen.add(said)


def _form_clashes(forms: Sequence[_Form]) -> Iterator[Fault]:
    first: dict[str, _Form] = {}
    for form in forms:
        text = form.text
        if not text.strip():
            yield form.path, f"“{form.owner}” has an empty spoken form."
        elif re.search(r"\d", text):
            yield form.path, f"“{text}” has digits in it; write it as it is said."
        elif not _FORM.fullmatch(text):
            yield (
                form.path,
                f"“{text}” must be lower-case words of letters a to z, with single blanks between.",
            )
        elif is_number(text):
            yield form.path, f"“{text}” is a number, so it cannot be the name of “{form.owner}”."
        elif is_command(text):
            yield (
                form.path,
                f"“{text}” already steers the count, so it cannot be the name of “{form.owner}”.",
            )
        key = " ".join(text.lower().split())
        if key and key in first:
            other = first[key].owner
            if other == form.owner:
                yield form.path, f"“{text}” is given twice for “{other}”."
            else:
                yield form.path, f"“{text}” is said for both “{other}” and “{form.owner}”."
        first.setdefault(key, form)


def _phone_faults(document: dict[str, Any]) -> Iterator[Fault]:
    given = document.get("pronunciations")
    for word, spoken in given.items() if isinstance(given, dict) else ():
        path: KeyPath = ("pronunciations", word)
        if not _FORM.fullmatch(word) or " " in word:
            yield path, f"“{word}” must be one lower-case word."
        if spoken == []:
            yield path, f"“{word}” has an empty list of pronunciations."
        for position, phones in _words(spoken):
            if not phones.split():
                yield (*path, position), f"“{word}” has an empty pronunciation."
            for phone in dict.fromkeys(phones.split()):
                if phone not in PHONES:
                    yield (*path, position), f"“{word}”: {_why_no_phone(phone)}"


def _why_no_phone(phone: str) -> str:
    plain = phone.upper().rstrip("012")
    if plain in PHONES:
        return f"write the phone “{phone}” as “{plain}”, without stress and in capitals."
    return f"“{phone}” is not one of the 39 ARPAbet phones ({' '.join(sorted(PHONES))})."


def _set_up_faults(document: dict[str, Any]) -> Iterator[Fault]:
    known = {
        entry["id"]
        for path, entry in _tables(document)
        if path[0] == "item" and isinstance(entry.get("id"), str)
    }
    for item, _ in _set_up_notes(document):
        if item not in known:
            yield ("set_up", item), f"set_up names “{item}”, which is no item of the kit."
    for place in _PLACES:
        seen: set[str] = set()
        for position, item in _words(document.get(place)):
            if item not in known:
                yield (place, position), f"{place} names “{item}”, which is no item of the kit."
            elif item in seen:
                yield (place, position), f"{place} names “{item}” twice."
            seen.add(item)


def _diluent_faults(document: dict[str, Any]) -> Iterator[Fault]:
    tables = [(path, entry) for path, entry in _tables(document) if path[0] == "medication"]
    known = {entry["id"] for _, entry in tables if isinstance(entry.get("id"), str)}
    for path, entry in tables:
        diluent = entry.get("diluent")
        if not isinstance(diluent, str):
            continue
        if diluent not in known:
            yield (
                (*path, "diluent"),
                f"“{_name(path, entry)}” is mixed with “{diluent}”, which is no medication "
                "of the kit.",
            )
        elif diluent == entry.get("id"):
            yield (*path, "diluent"), f"“{diluent}” cannot be its own diluent."


def _words_asked(document: dict[str, Any]) -> Iterator[tuple[KeyPath, str]]:
    """The words of spoken forms for which the kit gives no pronunciation, each where it first is.

    One that it gives wrongly is not among them: that was complained about.
    """
    given = document.get("pronunciations")
    asked: set[str] = set(given) if isinstance(given, dict) else set()
    for form in _forms(document):
        if not _FORM.fullmatch(form.text):
            continue
        for word in form.text.split():
            if word not in asked:
                yield form.path, word
            asked.add(word)


def _unpronounceable(document: dict[str, Any]) -> Iterator[Fault]:
    own = _own(document)
    for path, word in _words_asked(document):
        if spoken_as(word, own) is None:
            yield (
                path,
                f"Nobody knows how “{word}” is pronounced: "
                f'add it under [pronunciations], for example {word} = ["R EY T EH K"].',
            )


def _guessed(document: dict[str, Any]) -> Iterator[Fault]:
    own = _own(document)
    for path, word in _words_asked(document):
        spoken = spoken_as(word, own)
        if spoken is not None and spoken.origin is Origin.GUESSED:
            yield (
                path,
                f"“{word}” is in no dictionary; its sound is guessed as "
                f"“{' '.join(spoken.phones[0])}”. Hear it with “countersign kit say {word}”, and "
                f"confirm or mend it with “countersign kit teach FILE {word}”.",
            )


def _doubts(document: dict[str, Any]) -> Iterator[Fault]:
    for path, entry in _tables(document):
        if path[0] == "item":
            yield from _number_doubts(path, entry)
        else:
            yield from _strength_doubts(path, entry)
    yield from _order_doubts(document)
    forms = [form for form in _forms(document) if _FORM.fullmatch(form.text)]
    given = document.get("pronunciations")
    used = {word for form in forms for word in form.text.split()} | NUMBER_WORDS | COMMAND_WORDS
    for word in given if isinstance(given, dict) else ():
        if word not in used:
            yield ("pronunciations", word), f"No spoken form uses the word “{word}”."
    own = _own(document)
    yield from _number_traps(forms, own)
    yield from _sound_alikes(forms, own)
    yield from _like_a_number(forms, own)


def _strength_doubts(path: KeyPath, entry: dict[str, Any]) -> Iterator[Fault]:
    for position, text in _words(entry.get("strengths")):
        read = read_strength(text)
        if read is None or (read[1] != "ratio" and read[1] not in UCUM):
            yield (
                (*path, "strengths", position),
                f"“{_name(path, entry)}”: the strength “{text}” cannot be compared with what is "
                "said; write it like “0.5 %”, “1:200,000”, “10 mg/mL” or “1 g”.",
            )


def _order_doubts(document: dict[str, Any]) -> Iterator[Fault]:
    """Notes on what is set up nowhere, and two items that are both used first."""
    listed = {item for place in _PLACES for _, item in _words(document.get(place))}
    first: dict[int, str] = {}
    for item, note in _set_up_notes(document):
        if item not in listed:
            yield ("set_up", item), f"There is a set-up note on “{item}”, but no list names it."
        order = note.get("order")
        if not isinstance(order, int) or isinstance(order, bool):
            continue
        if order in first:
            yield (
                ("set_up", item, "order"),
                f"“{item}” and “{first[order]}” have the same place {order} in the order of use.",
            )
        first.setdefault(order, item)


def _set_up_notes(document: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    given = document.get("set_up")
    for item, note in given.items() if isinstance(given, dict) else ():
        if isinstance(note, dict):
            yield item, note


def _number_doubts(path: KeyPath, entry: dict[str, Any]) -> Iterator[Fault]:
    def number(key: str) -> int | None:
        value = entry.get(key)
        return value if isinstance(value, int) and not isinstance(value, bool) else None

    name = _name(path, entry)
    pack, expected, most = number("pack"), number("expected"), number("most")
    parts = entry.get("parts")
    if expected is None:
        return
    where = (*path, "expected")
    if pack is not None and pack >= 2 and expected % pack:
        yield where, f"“{name}” comes in packs of {pack}, but {expected} are expected."
    if isinstance(parts, list) and len(parts) > 1 and expected % len(parts):
        yield where, f"“{name}” is counted as {len(parts)} parts, but {expected} are expected."
    if most is not None and expected > most:
        yield where, f"“{name}”: {expected} are expected, more than the {most} called plausible."


def _number_traps(forms: Sequence[_Form], own: dict[str, list[str]]) -> Iterator[Fault]:
    """Forms whose first word is, or sounds like, a number before the rest of the form.

    "Free needles" and "three needles" differ in one fricative, and "twenty four by fours" can be
    twenty or twenty-four of something.
    """
    owners = {form.text: form.owner for form in forms}
    numbers = {word: pronunciations_of(word) for word in sorted(NUMBER_WORDS - {"a", "an", "and"})}
    for form in forms:
        first, _, rest = form.text.partition(" ")
        if not rest:
            continue
        if first in NUMBER_WORDS:
            yield (
                form.path,
                f"“{form.text}” starts with a number word: "
                f"“twenty {form.text}” can be understood in two ways.",
            )
        elif owners.get(rest, form.owner) != form.owner:
            for word, readings in numbers.items():
                if nearness(pronunciations_of(first, own), readings) is not None:
                    yield (
                        form.path,
                        f"“{form.text}” (“{form.owner}”) sounds like “{word} {rest}” "
                        f"(“{owners[rest]}”).",
                    )


def _sound_alikes(forms: Sequence[_Form], own: dict[str, list[str]]) -> Iterator[Fault]:
    """Pairs of forms of different items that sound alike, the nearest pair for each two items.

    Words that both begin or end with are passed over, singular or plural: "kelly clamp" and "kocher
    clamps" are told apart by "kelly" and "kocher" alone.
    """
    readings = cache(lambda text: readings_of(text, own))
    nearest: dict[tuple[str, str], tuple[float, _Form, _Form]] = {}
    for first, second in combinations(forms, 2):
        if first.owner == second.owner or first.text == second.text:
            continue
        one, other = _told_apart_by(first.text.split(), second.text.split())
        apart = nearness(readings(one), readings(other))
        pair = (first.owner, second.owner)
        if apart is not None and (pair not in nearest or apart < nearest[pair][0]):
            nearest[pair] = (apart, first, second)
    for _, first, second in nearest.values():
        yield (
            second.path,
            f"“{second.text}” (“{second.owner}”) sounds like “{first.text}” (“{first.owner}”).",
        )


def _told_apart_by(first: list[str], second: list[str]) -> tuple[str, str]:
    while first and second and first[-1].removesuffix("s") == second[-1].removesuffix("s"):
        first, second = first[:-1], second[:-1]
    while first and second and first[0] == second[0]:
        first, second = first[1:], second[1:]
    return " ".join(first), " ".join(second)


def _like_a_number(forms: Sequence[_Form], own: dict[str, list[str]]) -> Iterator[Fault]:
    """Forms that sound like a number word, the nearest form and number for each item."""
    numbers = {word: pronunciations_of(word) for word in sorted(NUMBER_WORDS - {"a", "an", "and"})}
    nearest: dict[str, tuple[float, _Form, str]] = {}
    for form in forms:
        readings = () if is_number(form.text) else readings_of(form.text, own)
        for word, spoken in numbers.items():
            apart = nearness(readings, spoken)
            if apart is not None and apart < nearest.get(form.owner, (1.0, form, word))[0]:
                nearest[form.owner] = (apart, form, word)
    for _, form, word in nearest.values():
        yield form.path, f"“{form.text}” (“{form.owner}”) sounds like the number “{word}”."
