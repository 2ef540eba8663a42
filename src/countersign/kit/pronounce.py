"""How words are pronounced: by the kit, the dictionary, the rules of English, or a guess.

Pronunciations are ARPAbet phones without stress.
"""

import re
from collections.abc import Mapping, Sequence
from enum import StrEnum
from itertools import islice, product

from pydantic import BaseModel, ConfigDict

from countersign.kit.dictionary import look_up
from countersign.kit.guess import guesses
from countersign.kit.phones import Phones

Own = Mapping[str, Sequence[str]]
"""A kit's own pronunciations: for each word, phones with blanks between."""

_MOST_READINGS = 6
_USED_GUESSES = 3
_MOST_GUESSES = 6
_VOICELESS = frozenset("F K P T TH".split())
_SIBILANTS = frozenset("CH JH S SH Z ZH".split())


class Origin(StrEnum):
    """Who says that a word is pronounced so, surest first."""

    KIT = "kit"
    DICTIONARY = "dictionary"
    DERIVED = "derived"
    GUESSED = "guessed"


class Spoken(BaseModel):
    """The pronunciations of one word, likeliest first, and where they come from.

    ``because`` says for a derived word which words it was made from.
    """

    model_config = ConfigDict(frozen=True)

    word: str
    origin: Origin
    phones: tuple[Phones, ...]
    because: str = ""


def pronunciations_of(word: str, own: Own | None = None) -> tuple[Phones, ...]:
    """Every pronunciation that is used for one lower-case word, empty if there is none.

    ``own`` is the kit's ``pronunciations``; a word found there is taken from there only. Of
    guesses, the likeliest few.
    """
    spoken = spoken_as(word, own)
    if spoken is None:
        return ()
    return spoken.phones[:_USED_GUESSES] if spoken.origin is Origin.GUESSED else spoken.phones


def spoken_as(word: str, own: Own | None = None) -> Spoken | None:
    """How one lower-case word is pronounced, or ``None`` if it cannot even be guessed."""
    known = _known(word, own)
    if known is not None:
        return known
    if "-" in word:
        return _joined(word, own)
    abbreviation = _spelled_out(word)
    as_word = (*_guessed_ending(word), *guesses(word))
    if not re.search("[aeiouy]", word):
        as_word = (*abbreviation, *as_word)
    likely, others = as_word[:1], as_word[1 : _MOST_GUESSES - 1]
    found = tuple(dict.fromkeys((*likely, *_two_words(word), *others, *abbreviation)))
    return Spoken(word=word, origin=Origin.GUESSED, phones=found) if found else None


def readings_of(form: str, own: Own | None = None) -> tuple[Phones, ...]:
    """Pronunciations of a spoken form of one or more words (a few, where words have several).

    Empty if one of its words has no pronunciation.
    """
    choices = [pronunciations_of(word, own) for word in form.split()]
    if not choices or not all(choices):
        return ()
    return _products(choices)


def _products(choices: Sequence[Sequence[Phones]]) -> tuple[Phones, ...]:
    return tuple(
        tuple(phone for word in reading for phone in word)
        for reading in islice(product(*choices), _MOST_READINGS)
    )


def _known(word: str, own: Own | None) -> Spoken | None:
    """From the kit, the dictionary, or the singular of a word that one of them has."""
    if own and word in own:
        phones = tuple(dict.fromkeys(tuple(spoken.split()) for spoken in own[word]))
        return Spoken(word=word, origin=Origin.KIT, phones=phones) if phones else None
    if listed := look_up(word):
        return Spoken(word=word, origin=Origin.DICTIONARY, phones=listed)
    for singular in _singulars(word):
        of_singular = (
            tuple(tuple(spoken.split()) for spoken in own[singular])
            if own and singular in own
            else look_up(singular)
        )
        if of_singular:
            phones = tuple(way for one in of_singular for way in with_ending(one))
            return Spoken(word=word, origin=Origin.DERIVED, phones=phones, because=singular)
    return None


def _singulars(word: str) -> list[str]:
    """The words of which this one may be the plural or the possessive, by its spelling."""
    if word.endswith("s'"):
        return [word[:-2], *_singulars(word[:-1])]
    if word.endswith("'s"):
        return [word[:-2]]
    if re.search(r"[^aeiou]ies$", word):
        return [word[:-3] + "y", word[:-1]]
    if re.search(r"(?:[sxz]|ch|sh|o)es$", word):
        return [word[:-2], word[:-1]]
    # Not "virus", "allis" or "press": what ends so is seldom a plural.
    return [word[:-1]] if re.search(r"[^sui]s$", word) else []


def with_ending(singular: Phones) -> tuple[Phones, ...]:
    """A word with the ending of plural or possessive.

    The ending is a syllable after a sibilant, *s* after other voiceless sounds, else *z*
    (Ladefoged, A Course in Phonetics; from memory).
    """
    last = singular[-1] if singular else ""
    if last in _SIBILANTS:
        return ((*singular, "IH", "Z"), (*singular, "AH", "Z"))
    return ((*singular, "S" if last in _VOICELESS else "Z"),)


def _joined(word: str, own: Own | None) -> Spoken | None:
    """A word with hyphens, part by part."""
    parts = [spoken_as(part, own) for part in word.split("-")]
    known = [part for part in parts if part is not None]
    if len(known) < len(parts):
        return None
    guessed = any(part.origin is Origin.GUESSED for part in known)
    return Spoken(
        word=word,
        origin=Origin.GUESSED if guessed else Origin.DERIVED,
        phones=_products([part.phones for part in known]),
        because=" + ".join(part.word for part in known),
    )


def _spelled_out(word: str) -> tuple[Phones, ...]:
    """A short word letter by letter, as abbreviations are said."""
    if not re.fullmatch(r"[a-z]{2,4}", word):
        return ()
    return _products([look_up(letter)[:1] for letter in word])


def _guessed_ending(word: str) -> tuple[Phones, ...]:
    """Guesses of the singular with the ending, where the word can be a possessive."""
    return tuple(
        way
        for singular in (_singulars(word) if "'" in word else ())
        for one in guesses(singular)
        for way in with_ending(one)
    )


def _two_words(word: str) -> tuple[Phones, ...]:
    """Two dictionary words written as one, the most even cut first."""
    cuts = [
        (word[:at], word[at:])
        for at in range(4, len(word) - 3)
        if look_up(word[:at]) and look_up(word[at:])
    ]
    cuts.sort(key=lambda cut: abs(len(cut[0]) - len(cut[1])))
    return _products([look_up(part)[:1] for part in cuts[0]]) if cuts else ()
