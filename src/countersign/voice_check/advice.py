"""Which model to use with a voice, and how sure that is."""

from collections.abc import Sequence

from countersign.voice_check.chance import Share, sign_test
from countersign.voice_check.score import ModelScore, Outcome

CHANCE = 0.05
"""Differences that chance makes at least this often are called chance."""
_USABLE = 0.5


def ranked(scores: Sequence[ModelScore]) -> list[ModelScore]:
    """Best first: fewest silent errors, then most exact lines, then fewest questions.

    Those that have less than half of the lines right come last, most exact lines first: who hears
    nothing makes no silent errors either. Models that are alike stay in the order given.
    """

    def place(one: ModelScore) -> tuple[bool, float, float, float]:
        exact, silent = one.number(Outcome.EXACT), one.number(Outcome.SILENT)
        if one.exact.value < _USABLE:
            return True, -exact, silent, one.questions_a_line
        return False, silent, -exact, one.questions_a_line

    return sorted(scores, key=place)


def advice(scores: Sequence[ModelScore]) -> list[str]:
    """Sentences: what to use, how sure that is, and what a few lines do not show."""
    best, *others = ranked(scores)
    lines = len(best.lines)
    said = [_recommendation(best, alone=not others)]
    silent = best.number(Outcome.SILENT)
    if silent:
        said.append(
            f"{_times(silent, 'line was', 'lines were')} wrong without a question: look at them "
            "above before you rely on this voice and microphone."
        )
    else:
        said.append(
            f"No silent error in {lines} lines still leaves room for up to "
            f"{_percent(best.silent.high)} of lines."
        )
    for other in others:
        said.append(_compared(best, other))
    if lines < 20:
        said.append(f"Only {lines} lines were heard; read the whole script for a firmer answer.")
    return said


def _recommendation(best: ModelScore, *, alone: bool) -> str:
    exact = (
        f"{best.number(Outcome.EXACT)} of {len(best.lines)} lines exact ({interval(best.exact)})"
    )
    if best.exact.value < _USABLE:
        return (
            f"No model that was tried hears this voice well; the best, {best.model}, has {exact}. "
            "Try a microphone nearer to the mouth, or a quieter room."
        )
    if not alone:
        return f"Of the models tried, use {best.model} with this voice: {exact}."
    if best.number(Outcome.SILENT):
        return f"{best.model} makes silent errors with this voice: {exact}."
    return f"{best.model} can be used with this voice: {exact}."


def _compared(best: ModelScore, other: ModelScore) -> str:
    right = [
        {line.number for line in score.lines if line.outcome is Outcome.EXACT}
        for score in (best, other)
    ]
    chance = sign_test(len(right[0] - right[1]), len(right[1] - right[0]))
    if right[0] == right[1]:
        return f"{other.model} had the same lines right."
    if len(right[0]) < len(right[1]):
        return f"{other.model} had more lines right, but also more silent errors."
    if chance >= CHANCE:
        return (
            f"The difference from {other.model} can be chance ({_p(chance)}): so few lines do "
            "not tell the two apart."
        )
    return f"{other.model} had fewer lines right, more than chance explains ({_p(chance)})."


def interval(share: Share) -> str:
    """The 95 % interval in words."""
    return f"95 % interval {_percent(share.low)} to {_percent(share.high)}"


def _p(chance: float) -> str:
    return f"p = {chance:.2f}" if chance >= 0.01 else "p < 0.01"


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %"


def _times(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
