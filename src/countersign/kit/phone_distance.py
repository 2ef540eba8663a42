"""How far apart two pronunciations are, and when they may be mistaken for each other."""

from collections.abc import Sequence
from functools import cache

from countersign.kit.phones import MANNER, Phones

_VOICE_PAIRS = frozenset(
    frozenset(pair.split())
    for pair in ("B P", "D T", "G K", "F V", "TH DH", "S Z", "SH ZH", "CH JH")
)

NEAREST = 1.75
"""Distance up to which two short forms may be mistaken for each other: one phone lost and one taken
for a near one."""
NEAREST_SHARE = 0.45
"""The same as a share of the longer form's phones, so that very short forms are not all alike."""
NEAREST_LONG = 1 / 3
"""Share of the longer form's phones up to which forms of any length may be mistaken.

With these limits all pairs of *-teen* and *-ty* are near, and more than half of 25 pairs from lists
of confused drug names, but only one in a thousand pairs of dictionary words drawn at random; the
rest of the drug names are confused in writing, not in speech. See
``tests/kit/test_kit_sound_alikes.py``.
"""


@cache
def substitution(first: str, second: str) -> float:
    """The cost of one phone taken for another, 0 to 1."""
    if first == second:
        return 0.0
    if frozenset((first, second)) in _VOICE_PAIRS:
        return 0.4
    if MANNER[first] != MANNER[second]:
        return 1.0
    return 0.5 if MANNER[first] == "vowel" else 0.6


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
                diagonal + substitution(phone, other), row[column] + 1.0, row[column - 1] + 1.0
            )
            diagonal, row[column] = row[column], cost
        if min(row) > limit:
            return min(row)
    return row[-1]


def nearness(some: Sequence[Phones], others: Sequence[Phones]) -> float | None:
    """The least distance between two sets of pronunciations, as a share of the longer one's phones,
    if they may be mistaken for each other; else ``None``.
    """
    shares = []
    for one in some:
        for other in others:
            longer = max(len(one), len(other))
            limit = min(max(NEAREST, NEAREST_LONG * longer), NEAREST_SHARE * longer)
            if longer and (apart := distance(one, other, limit)) <= limit:
                shares.append(apart / longer)
    return min(shares, default=None)
