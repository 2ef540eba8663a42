"""A spoken sequence and what may go wrong in it."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from countersign.meaning import QuestionCode
from countersign.meaning.sequence import check

LONG = st.integers(2, 40)


def codes(numbers: list[int]) -> set[QuestionCode]:
    return {question.code for question in check(numbers).questions}


@given(st.integers(1, 40))
def test_one_to_n_is_n_without_a_question(n: int) -> None:
    counted = check(list(range(1, n + 1)))
    assert counted.quantity == n
    assert counted.questions == ()


@given(LONG, st.data())
def test_a_dropped_number_is_asked_about(n: int, data: st.DataObject) -> None:
    gone = data.draw(st.integers(1, n - 1))
    numbers = [number for number in range(1, n + 1) if number != gone]
    assume(len(numbers) > 1)
    expected = QuestionCode.SEQUENCE_START if gone == 1 else QuestionCode.NUMBER_SKIPPED
    assert codes(numbers) & {expected, QuestionCode.TEEN_OR_TEN}


@given(LONG, st.data())
def test_a_number_said_twice_is_asked_about(n: int, data: st.DataObject) -> None:
    twice = data.draw(st.integers(1, n))
    numbers = sorted([*range(1, n + 1), twice])
    assert QuestionCode.NUMBER_REPEATED in codes(numbers)


@given(LONG, st.data())
def test_two_numbers_that_changed_places_are_asked_about(n: int, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, n - 2))
    numbers = list(range(1, n + 1))
    numbers[at], numbers[at + 1] = numbers[at + 1], numbers[at]
    assert QuestionCode.NUMBER_SWAPPED in codes(numbers)


@given(st.lists(st.integers(1, 40), min_size=2, max_size=12))
def test_only_a_clean_count_or_a_read_back_raises_no_question(numbers: list[int]) -> None:
    if check(numbers).questions:
        return
    clean = numbers == list(range(1, len(numbers) + 1))
    doubled = numbers[::2] == numbers[1::2]
    announced = numbers[0] == numbers[-1] and numbers[1:] == list(range(1, numbers[0] + 1))
    assert clean or doubled or announced


@pytest.mark.parametrize(
    ("numbers", "sentence"),
    [
        ([1, 2, 3, 4, 5, 6, 8], "Seven was not heard between six and eight."),
        ([1, 2, 5], "Three and four were not heard between two and five."),
        ([1, 2, 9], "Three to eight were not heard between two and nine."),
        ([1, 2, 2, 3], "Two was heard more than once."),
        ([1, 3, 2, 4], "Three was heard before two."),
        ([2, 1, 3], "Two was heard before one."),
        ([3, 4, 5], "The count was first heard at three, not at one."),
        ([15, 50], "Both fifteen and fifty were heard."),
        ([1, 2, 3, 2], "Two was heard more than once."),
    ],
)
def test_the_sentence_names_the_number(numbers: list[int], sentence: str) -> None:
    assert sentence in [question.sentence for question in check(numbers).questions]


def test_a_restart_counts_and_is_asked_about() -> None:
    counted = check([1, 2, 3, 1, 2, 3, 4, 5])
    assert counted.quantity == 5
    assert counted.numbers == (1, 2, 3, 4, 5)
    assert [q.code for q in counted.questions] == [QuestionCode.NUMBER_REPEATED]


def test_an_announced_restart_raises_no_question() -> None:
    counted = check([1, 2, 3, 1, 2, 3, 4, 5], restart=3)
    assert (counted.quantity, counted.questions) == (5, ())


@pytest.mark.parametrize("numbers", [[1, 1, 2, 2, 3, 3], [5, 5]])
def test_a_consistent_read_back_is_accepted(numbers: list[int]) -> None:
    assert check(numbers).questions == ()
    assert check(numbers).quantity == numbers[-1]


def test_one_one_may_be_two_things() -> None:
    assert codes([1, 1]) == {QuestionCode.NUMBER_REPEATED}


@pytest.mark.parametrize(
    ("numbers", "disagrees"), [([10, *range(1, 11)], False), ([10, *range(1, 10)], True)]
)
def test_a_number_announced_and_then_counted_out(numbers: list[int], disagrees: bool) -> None:
    assert (QuestionCode.TOTAL_DISAGREES in codes(numbers)) is disagrees
    assert check(numbers).quantity == numbers[-1]
