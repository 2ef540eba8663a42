"""The number words that the grammar of a count knows, each as a word of its graphs."""

from countersign import number_words
from countersign.number_words import CARDINALS, ONES, SPOKEN_ZERO, ZERO, spell

UNITS = tuple(ONES)
TEENS = tuple(number_words.TEENS)
TENS = tuple(number_words.TENS)
DIGITS = (ZERO, *UNITS, SPOKEN_ZERO)

_LARGEST = max(CARDINALS.values()) + max(ONES.values())


def spoken_number(value: int) -> str:
    """The words for 0..99 (``twenty one``); ``ValueError`` outside that range."""
    if not 0 <= value <= _LARGEST:
        raise ValueError(f"{value} is not between 0 and {_LARGEST}")
    return spell(value)
