"""How well one model heard the lines of a script."""

from collections.abc import Sequence
from enum import StrEnum
from typing import Any

from pydantic import BaseModel, ConfigDict

from countersign.meaning import Event, EventKind
from countersign.voice_check.chance import Share, wilson
from countersign.voice_check.script import Prompt

_JUDGED = ("kind", "item", "quantity", "unit", "phase", "group", "verdict")
_JUDGED_OF_MEDICATION = ("name", "strength", "additive", "additive_strength", "volume_ml", "expiry")


class Outcome(StrEnum):
    """What became of a line. ``silent`` is the worst: wrong, and nobody is asked."""

    EXACT = "exact"
    ASKED = "asked"
    MISSED = "missed"
    SILENT = "silent"


class LineScore(BaseModel):
    """One line as one model heard it.

    ``asked`` is wrong, and at least one question warns of it in every wrong event; ``missed`` gave
    no event at all. ``questions`` counts those raised while hearing, on right lines too.
    """

    model_config = ConfigDict(frozen=True)

    number: int
    text: str
    outcome: Outcome
    questions: int
    heard: tuple[str, ...]


class ModelScore(BaseModel):
    """All lines as one model heard them; ``model`` is its name, ``path`` its folder."""

    model_config = ConfigDict(frozen=True)

    model: str
    path: str
    lines: tuple[LineScore, ...]

    def number(self, outcome: Outcome) -> int:
        """How many lines came out so."""
        return sum(line.outcome is outcome for line in self.lines)

    @property
    def exact(self) -> Share:
        """The share of exact lines with its 95 % interval."""
        return wilson(self.number(Outcome.EXACT), len(self.lines))

    @property
    def silent(self) -> Share:
        """The share of silent errors with its 95 % interval."""
        return wilson(self.number(Outcome.SILENT), len(self.lines))

    @property
    def questions_a_line(self) -> float:
        """Questions raised while hearing, for each line."""
        return sum(line.questions for line in self.lines) / len(self.lines)


def same(wanted: Event, heard: Event) -> bool:
    """Whether two events say the same: kind, item, quantity, phase, verdict and medication."""
    return _judged(wanted) == _judged(heard)


def _judged(event: Event) -> tuple[Any, ...]:
    medication = event.medication
    details = (
        tuple(getattr(medication, name) for name in _JUDGED_OF_MEDICATION)
        if medication is not None
        else ()
    )
    return (*(getattr(event, name) for name in _JUDGED), *details)


def score_line(prompt: Prompt, events: Sequence[Event]) -> LineScore:
    """Judge what was heard while one line was read. Remarks change no record and count for nothing.

    A line with an event beside the right one is not exact: the record would hold it too.
    """
    heard = [event for event in events if event.kind is not EventKind.REMARK]
    wrong = [event for event in heard if not same(prompt.event, event)]
    if not heard:
        outcome = Outcome.MISSED
    elif not wrong and len(heard) == 1:
        outcome = Outcome.EXACT
    elif not wrong or any(not event.questions for event in wrong):
        outcome = Outcome.SILENT  # said once and heard twice is wrong too
    else:
        outcome = Outcome.ASKED
    return LineScore(
        number=prompt.number,
        text=prompt.text,
        outcome=outcome,
        questions=sum(len(event.questions) for event in heard),
        heard=tuple(event.words for event in heard),
    )


def deal_out(prompts: Sequence[Prompt], events: Sequence[Event]) -> list[list[Event]]:
    """Give the events of one recording of the whole script to its lines, in order.

    The longest list of events that are right, in order, stays with its lines; what was heard
    between two of those goes to the lines between, one each, and the rest to the last of them.
    """
    heard = [event for event in events if event.kind is not EventKind.REMARK]
    given: list[list[Event]] = [[] for _ in prompts]
    line = place = 0
    for right_line, right_place in [*_right(prompts, heard), (len(prompts), len(heard))]:
        between = heard[place:right_place]
        lines = range(line, right_line)
        for offset, event in enumerate(between):
            if lines:
                given[lines[min(offset, len(lines) - 1)]].append(event)
            else:
                given[max(line - 1, 0)].append(event)
        if right_line < len(prompts):
            given[right_line].append(heard[right_place])
        line, place = right_line + 1, right_place + 1
    return given


def _right(prompts: Sequence[Prompt], heard: Sequence[Event]) -> list[tuple[int, int]]:
    return in_order([[same(prompt.event, event) for event in heard] for prompt in prompts])


def in_order(match: Sequence[Sequence[bool]]) -> list[tuple[int, int]]:
    """The most pairs of row and column that match, both rising: a longest common subsequence."""
    rows, columns = len(match), len(match[0]) if match else 0
    best = [[0] * (columns + 1) for _ in range(rows + 1)]
    for i in reversed(range(rows)):
        for j in reversed(range(columns)):
            pair = best[i + 1][j + 1] + 1 if match[i][j] else 0
            best[i][j] = max(best[i + 1][j], best[i][j + 1], pair)
    pairs, i, j = [], 0, 0
    while i < rows and j < columns:
        if match[i][j] and best[i][j] == best[i + 1][j + 1] + 1:
            pairs.append((i, j))
            i, j = i + 1, j + 1
        elif best[i + 1][j] >= best[i][j + 1]:
            i += 1
        else:
            j += 1
    return pairs
