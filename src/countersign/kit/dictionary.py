"""The CMU Pronouncing Dictionary as it is packed in ``cmudict.gz``.

The file is text under gzip, one word a line in order of bytes: the word, then each pronunciation
after a blank, a letter for each phone (A to Z and a to m for the 39 phones in alphabetical order).
A word is found by halving the text, so that no line but the ones looked at is ever parsed.
``models/recipe/dictionary.py`` makes the file.
"""

import gzip
from functools import cache
from importlib.resources import files
from string import ascii_lowercase, ascii_uppercase

from countersign.kit.phones import PHONES, Phones

FILE = "cmudict.gz"
LETTERS = dict(zip(ascii_uppercase + ascii_lowercase, sorted(PHONES), strict=False))
"""Which phone each letter of the file stands for."""


@cache
def _text() -> bytes:
    return gzip.decompress((files("countersign.kit") / FILE).read_bytes())


@cache
def look_up(word: str) -> tuple[Phones, ...]:
    """Every pronunciation the dictionary gives a lower-case word, in its order; empty for none."""
    text = _text()
    wanted = word.encode()
    low, high = 0, len(text)  # the line looked for starts at or after low and before high
    while low < high:
        start = text.rfind(b"\n", low, (low + high) // 2) + 1 or low
        end = text.index(b"\n", start)
        found, *pronunciations = text[start:end].split(b" ")
        if found == wanted:
            return tuple(
                tuple(LETTERS[letter] for letter in one.decode()) for one in pronunciations
            )
        if found < wanted:
            low = end + 1
        else:
            high = start
    return ()
