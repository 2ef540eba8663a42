"""The number grammar, against two reference libraries and the ways counts are said."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from text_to_num import text2num
from word2number import w2n

from countersign.meaning.numbers import (
    cardinal,
    decimal_at,
    is_number_word,
    split_run,
    teen_or_ten,
    year_at,
)
from countersign.number_words import spell


def values(text: str, previous: int | None = None) -> list[int]:
    words = [None if word == "/" else word for word in text.split()]
    return [value for value, _, _ in split_run(words, previous)]


@pytest.mark.parametrize("joint", ["", " and"])
def test_every_cardinal_agrees_with_text2num_and_word2number(joint: str) -> None:
    # outside references: text2num 3.1 and word2number 1.1
    for number in range(1000):
        words = spell(number)
        if joint and number > 100 and number % 100:
            words = words.replace(" hundred", f" hundred{joint}")
        assert cardinal(*words.split()) == number, words
        assert text2num(words, "en") == number, words
        assert w2n.word_to_num(words) == number, words


@given(st.integers(0, 999))
def test_words_round_trip(number: int) -> None:
    assert cardinal(*spell(number).split()) == number
    assert values(spell(number)) == [number]


@pytest.mark.parametrize(
    ("said", "reference_says", "meant"),
    [
        ("one two three", 5, [1, 2, 3]),
        ("twenty twenty one", 401, [20, 21]),
        ("a hundred and five", 500, [105]),
        ("hundred five", 500, [105]),
        ("one oh five", 6, [105]),
        ("nineteen twenty", 39, [19, 20]),
    ],
)
def test_known_wrong_answers_of_word2number(
    said: str, reference_says: int, meant: list[int]
) -> None:
    assert w2n.word_to_num(said) == reference_says
    assert values(said) == meant


@pytest.mark.parametrize("said", ["oh", "a dozen", "half"])
def test_words_that_word2number_lacks(said: str) -> None:
    with pytest.raises(ValueError, match="No valid number words"):
        w2n.word_to_num(said)
    assert decimal_at(said.split(), 0) is not None


@pytest.mark.parametrize(
    ("said", "numbers"),
    [
        ("nineteen twenty twenty one twenty two", [19, 20, 21, 22]),
        ("twenty nine thirty thirty one", [29, 30, 31]),
        ("twenty one", [21]),
        ("ninety nine one hundred one hundred one one hundred two", [99, 100, 101, 102]),
        ("ninety nine one hundred one hundred and one", [99, 100, 101]),
        ("one one two two three three", [1, 1, 2, 2, 3, 3]),
        ("a dozen", [12]),
        ("two dozen", [24]),
        ("10 11 12", [10, 11, 12]),
        ("twenty / one", [20, 1]),
        ("one hundred twenty one", [121]),
        ("five ten", [5, 10]),
        ("zero", [0]),
    ],
)
def test_runs_are_cut_by_continuity(said: str, numbers: list[int]) -> None:
    assert values(said) == numbers


def test_what_came_before_decides_an_ambiguous_run() -> None:
    assert values("twenty one", previous=20) == [21]
    assert values("twenty twenty one", previous=19) == [20, 21]


@given(st.integers(1, 150), st.integers(1, 40))
def test_any_run_of_successive_numbers_is_cut_right(start: int, length: int) -> None:
    numbers = list(range(start, start + length))
    assert values(" ".join(spell(number) for number in numbers)) == numbers


@pytest.mark.parametrize(
    "text", ["one two", "twenty twenty", "hundred and", "five teen", "and", "a", "lap", ""]
)
def test_no_cardinal(text: str) -> None:
    assert cardinal(*text.split()) is None


@pytest.mark.parametrize(
    ("said", "value", "used"),
    [
        ("point two five percent", "0.25", 3),
        ("zero point five", "0.5", 3),
        ("oh point five", "0.5", 3),
        ("point twenty five", "0.25", 3),
        ("half", "0.5", 1),
        ("one and a half", "1.5", 4),
        ("two hundred thousand", "200000", 3),
        ("one hundred thousand thirty", "100000", 3),
        ("five thousand five hundred units", "5500", 4),
        ("0.25", "0.25", 1),
        (".5", "0.5", 1),
        ("200,000", "200000", 1),
        ("thirty milliliters", "30", 1),
        ("two point five", "2.5", 3),
    ],
)
def test_decimals(said: str, value: str, used: int) -> None:
    assert decimal_at(said.split(), 0) == (Decimal(value), used)


def test_decimals_agree_with_word2number() -> None:
    # outside reference: word2number 1.1
    for said in ("point two five", "zero point five", "one point seven five", "two point five"):
        found = decimal_at(said.split(), 0)
        assert found is not None
        assert float(found[0]) == pytest.approx(w2n.word_to_num(said))


@pytest.mark.parametrize(
    ("said", "year"),
    [
        ("twenty twenty seven", 2027),
        ("twenty thirty", 2030),
        ("twenty oh nine", 2009),
        ("two thousand twenty seven", 2027),
        ("two thousand and nine", 2009),
        ("two thousand", 2000),
        ("2028", 2028),
        ("27", 2027),
    ],
)
def test_years(said: str, year: int) -> None:
    found = year_at(said.split(), 0)
    assert found == (year, len(said.split()))


@pytest.mark.parametrize("said", ["march", "twenty", "seven", ""])
def test_no_year(said: str) -> None:
    assert year_at(said.split(), 0) is None


def test_teens_and_tens_that_sound_alike() -> None:
    alike = {(teen, (teen - 10) * 10) for teen in range(13, 20)}
    found = {(a, b) for a in range(100) for b in range(a, 100) if teen_or_ten(a, b)}
    assert found == alike


@pytest.mark.parametrize("word", ["to", "for", "ate", "won", "a", "and", "lap"])
def test_words_that_alone_are_no_numbers(word: str) -> None:
    assert not is_number_word(word)
