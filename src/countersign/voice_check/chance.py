"""What a few lines can prove, and what they cannot."""

import math
from typing import NamedTuple

Z = 1.959964
"""Of a 95 % interval."""


class Share(NamedTuple):
    """A share from 0 to 1 and the ends of its 95 % interval."""

    value: float
    low: float
    high: float


def wilson(number: int, of: int) -> Share:
    """The share ``number / of`` with its score interval.

    Wilson 1927, Journal of the American Statistical Association 22:209-212. ``ValueError``
    unless 0 <= number <= of and of > 0.
    """
    if not 0 <= number <= of or of == 0:
        raise ValueError(f"{number} of {of} is no share")
    value = number / of
    spread = Z * math.sqrt(value * (1 - value) / of + Z**2 / (4 * of**2))
    middle = value + Z**2 / (2 * of)
    scale = 1 + Z**2 / of
    low = (middle - spread) / scale if number else 0.0
    high = (middle + spread) / scale if number < of else 1.0
    return Share(value, low, high)


def sign_test(better: int, worse: int) -> float:
    """How likely chance alone makes a difference at least as large, either way.

    Of the lines that only one of two models had right, ``better`` are the one's and ``worse`` the
    other's (McNemar 1947, Psychometrika 12:153-157, in its exact form).
    """
    total = better + worse
    tail = sum(math.comb(total, k) for k in range(min(better, worse) + 1))
    return float(min(1.0, 2 * tail / 2**total))
