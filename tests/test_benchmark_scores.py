"""The benchmark's own arithmetic, by hand and beside jiwer."""

import random
from decimal import Decimal

import pytest
from tests.benchmarks.scores import (
    Score,
    agrees,
    pair,
    score,
    word_error_rate,
    word_errors,
)


def count(item: str, quantity: int, *questions: str) -> dict[str, object]:
    return {"kind": "count", "item": item, "quantity": quantity, "questions": list(questions)}


def test_all_exact() -> None:
    said = [count("lap_sponge", 5), {"kind": "verdict", "verdict": "correct"}]
    assert score(said, said) == Score(
        wanted=2, heard=2, exact=2, lines_wanted=1, lines_heard=1, lines_exact=1
    )


def test_a_wrong_number_without_a_question_is_silent() -> None:
    result = score([count("raytec", 15)], [count("raytec", 50)])
    assert (result.silent_errors, result.missing, result.exact) == (1, 0, 0)
    assert result.precision == 0 and result.recall == 0


def test_a_wrong_number_with_a_question_is_not_silent() -> None:
    result = score([count("raytec", 15)], [count("raytec", 50, "teen_or_ten")])
    assert (result.silent_errors, result.lines_asked, result.asked_needlessly) == (0, 1, 0)


def test_a_wrong_item_is_silent() -> None:
    assert score([count("raytec", 5)], [count("lap_sponge", 5)]).silent_errors == 1


def test_an_addition_heard_as_a_count_is_silent() -> None:
    said = {"kind": "addition", "item": "raytec", "quantity": 5}
    assert score([said], [count("raytec", 5)]).silent_errors == 1


def test_nothing_heard_is_missing_and_not_silent() -> None:
    result = score([count("raytec", 5), count("peanut", 5)], [])
    assert (result.missing, result.silent_errors) == (2, 0)
    assert result.precision is None and result.recall == 0


def test_a_count_in_talk_is_silent_unless_asked() -> None:
    assert score([], [count("raytec", 5)]).silent_errors == 1
    assert score([], [count("raytec", 5, "low_confidence")]).silent_errors == 0
    assert score([], [{"kind": "remark"}]) == Score()


def test_a_misspoken_sequence_needs_its_question() -> None:
    said = {"kind": "count", "item": "lap_sponge", "questions": ["number_skipped"]}
    asked = score([said], [count("lap_sponge", 5, "number_skipped")])
    assert (asked.exact, asked.asked_needlessly, asked.silent_errors) == (1, 0, 0)
    silent = score([said], [count("lap_sponge", 5)])
    assert (silent.exact, silent.silent_errors) == (0, 1)


def test_a_question_on_an_exact_line_is_counted_as_needless() -> None:
    result = score([count("raytec", 5)], [count("raytec", 5, "low_confidence")])
    assert (result.lines_exact, result.asked_needlessly, result.question_rate) == (1, 1, 1.0)


def test_one_extra_event_shifts_nothing() -> None:
    said = [count("raytec", 10), count("lap_sponge", 5), count("peanut", 5)]
    heard = [count("raytec", 10), count("mesh", 1), count("lap_sponge", 5), count("peanut", 5)]
    assert pair(said, heard) == [(0, 0), (1, 2), (2, 3)]
    assert score(said, heard).precision == pytest.approx(3 / 4)


def test_order_of_time_matters() -> None:
    said = [count("raytec", 10), count("lap_sponge", 5)]
    assert len(pair(said, said[::-1])) == 1


def test_fields_left_out_are_not_judged_and_numbers_compare_by_value() -> None:
    assert agrees({"kind": "draw", "quantity": 10}, {"kind": "draw", "quantity": "10.0"})
    assert agrees(
        {"kind": "draw", "quantity": "0.5"}, {"kind": "draw", "quantity": Decimal("0.50")}
    )
    assert not agrees(
        {"kind": "correction", "item": None}, {"kind": "correction", "item": "raytec"}
    )
    assert agrees(
        {"kind": "receipt", "medication": {"strength": {"value": "1"}}},
        {"kind": "receipt", "medication": {"strength": {"value": "1", "unit": "%"}, "lot": None}},
    )
    assert not agrees(
        {"kind": "count", "sequence": [1, 2]}, {"kind": "count", "sequence": [1, 2, 3]}
    )


def test_scores_add() -> None:
    both = score([count("raytec", 5)], [count("raytec", 5)]) + score([count("raytec", 5)], [])
    assert (both.wanted, both.exact, both.missing, both.recall) == (2, 1, 1, 0.5)


def test_word_errors_by_hand() -> None:
    said = "laps one two three four five".split()
    assert word_errors(said, "laps one two three four five".split()) == 0
    assert word_errors(said, "laps one two four five".split()) == 1
    assert word_errors(said, "lapse one two two three for five".split()) == 3
    assert word_errors(said, []) == 6
    assert word_errors([], ["five", "five"]) == 2
    assert word_error_rate([(said, []), (said, said)]) == 0.5
    assert word_error_rate([]) is None


def test_word_error_rate_agrees_with_jiwer() -> None:
    """jiwer (Apache-2.0) is the outside reference for the word error rate."""
    jiwer = pytest.importorskip("jiwer")
    draw = random.Random(5)
    words = "laps one two three four five raytecs needles ten".split()
    said = [draw.choices(words, k=draw.randint(1, 12)) for _ in range(60)]
    heard = [
        [
            draw.choice(words) if draw.random() < 0.2 else word
            for word in line
            if draw.random() > 0.1
        ]
        + draw.choices(words, k=draw.randint(0, 2))
        for line in said
    ]
    reference = jiwer.wer([" ".join(line) for line in said], [" ".join(line) for line in heard])
    assert word_error_rate(zip(said, heard, strict=True)) == pytest.approx(reference)
