"""What is said about a few lines, against published intervals and tests."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from countersign.voice_check.advice import advice, ranked
from countersign.voice_check.chance import sign_test, wilson
from countersign.voice_check.score import LineScore, ModelScore, Outcome


@pytest.mark.parametrize(
    ("number", "of", "low", "high"),
    [
        # Newcombe 1998, Statistics in Medicine 17:857-872, table I, score method (from memory).
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
    ],
)
def test_intervals_are_the_published_ones(number: int, of: int, low: float, high: float) -> None:
    share = wilson(number, of)
    assert share.low == pytest.approx(low, abs=5e-5)
    assert share.high == pytest.approx(high, abs=5e-5)
    assert share.value == number / of


@given(st.integers(1, 200).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_the_ends_solve_the_score_equation(pair: tuple[int, int]) -> None:
    # Wilson's definition: the shares at which the observed one is 1.96 standard errors away.
    number, of = pair
    share = wilson(number, of)
    assert 0 <= share.low <= share.value <= share.high <= 1
    for end in (share.low, share.high):
        if 0 < end < 1:
            error = math.sqrt(end * (1 - end) / of)
            assert abs(share.value - end) / error == pytest.approx(1.959964, rel=1e-6)


def test_shares_that_are_none() -> None:
    for number, of in ((1, 0), (-1, 5), (6, 5)):
        with pytest.raises(ValueError):
            wilson(number, of)


def test_the_sign_test_is_the_binomial_distribution() -> None:
    # Two-sided tails of a fair coin, by arithmetic: 6 of 6 heads is 2/64, 5 of 6 is 14/64.
    assert sign_test(6, 0) == pytest.approx(2 / 64)
    assert sign_test(1, 5) == pytest.approx(14 / 64)
    assert sign_test(0, 0) == sign_test(3, 3) == 1


def score(name: str, outcomes: str, questions: int = 0) -> ModelScore:
    letters = {"e": Outcome.EXACT, "a": Outcome.ASKED, "m": Outcome.MISSED, "s": Outcome.SILENT}
    lines = tuple(
        LineScore(number=n, text="t", outcome=letters[o], questions=questions, heard=())
        for n, o in enumerate(outcomes, start=1)
    )
    return ModelScore(model=name, path=name, lines=lines)


def test_silent_errors_weigh_most_but_hearing_nothing_is_no_merit() -> None:
    quiet = score("quiet", "e" * 18 + "a" * 4)
    bold = score("bold", "e" * 21 + "s")
    deaf = score("deaf", "m" * 22)
    chatty = score("chatty", "e" * 18 + "a" * 4, questions=2)
    found = ranked([deaf, chatty, bold, quiet])
    assert [one.model for one in found] == ["quiet", "chatty", "bold", "deaf"]
    same = score("twin", "e" * 18 + "a" * 4)
    assert ranked([same, quiet])[0] is same and ranked([quiet, same])[0] is quiet


def said(*scores: ModelScore) -> str:
    return " ".join(advice(list(scores)))


def test_advice_says_how_little_is_known() -> None:
    alone = said(score("one", "e" * 20 + "aa"))
    assert "one can be used with this voice: 20 of 22 lines exact" in alone
    assert "95 % interval 72 % to 97 %" in alone
    assert "still leaves room for up to 15 % of lines" in alone
    assert "same lines right" in said(score("one", "e" * 22), score("two", "e" * 22))
    close = said(score("one", "e" * 22), score("two", "e" * 20 + "aa"))
    assert "use one with this voice" in close
    assert "two can be chance (p = 0.50)" in close
    clear = said(score("one", "e" * 22), score("two", "e" * 10 + "m" * 12))
    assert "two had fewer lines right, more than chance explains (p < 0.01)" in clear
    assert "Only 5 lines were heard" in said(score("one", "eeeee"))


def test_advice_warns() -> None:
    assert "1 line was wrong without a question" in said(score("one", "e" * 21 + "s"))
    assert "makes silent errors" in said(score("one", "e" * 20 + "ss"))
    assert "No model that was tried hears this voice well" in said(score("one", "m" * 22))
    bold = said(score("careful", "e" * 18 + "aaaa"), score("bold", "e" * 20 + "ss"))
    assert "bold had more lines right, but also more silent errors" in bold
