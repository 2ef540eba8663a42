"""Short names for cases that can be read aloud and typed."""

import secrets
from datetime import datetime

# No letters that sound or look alike when read across a room (b/p, m/n apart from vowels, c/k/s).
_CONSONANTS = "bdfgklmrtvz"
_VOWELS = "aeiou"


def new_case_name(opened_at: datetime) -> str:
    """A name such as ``1125-bolu``: month and day, then two different syllables drawn at random.

    Names are not unique by themselves: the ledger draws again when one is taken.
    """
    first = _syllable()
    second = _syllable()
    while second == first:
        second = _syllable()
    return f"{opened_at:%m%d}-{first}{second}"


def _syllable() -> str:
    return secrets.choice(_CONSONANTS) + secrets.choice(_VOWELS)
