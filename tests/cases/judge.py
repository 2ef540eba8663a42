"""What became of every line of a case that was read: exact, questioned, or wrong in silence."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from tests.cases.acts import Add, Remove
from tests.cases.generate import Case, Step

from countersign.meaning.event import Event, EventKind
from countersign.tally import CountRecord, Line


class Outcome(StrEnum):
    """``EXACT``: the event that should come came, and nothing else. ``QUESTIONED``: something else
    came, but a question was raised about it. ``SILENT``: something wrong, missing or invented that
    changes what is done to the record, and no question. ``LOST``: nothing came of a line that
    changes nothing. ``STAYED``: talk from which nothing came.
    """

    EXACT = "exact"
    QUESTIONED = "questioned"
    SILENT = "silent"
    LOST = "lost"
    STAYED = "stayed"


@dataclass(frozen=True)
class Judged:
    """One step with what came of it. ``needless``: meaning asked about a line that is exact."""

    step: Step
    got: tuple[Line, ...]
    outcome: Outcome
    needless: bool = False

    @property
    def sentence(self) -> str:
        """What was said, what should come and what came, on one line."""
        said = " | ".join(each.text for each in self.step.utterances)
        if self.step.read_back:
            said += f" || {self.step.read_back.text}"
        came = "; ".join(brief(line.event) for line in self.got) or "nothing"
        wanted = brief(self.step.event) if self.step.event else "nothing"
        return f"{self.outcome.value}: “{said}” should give {wanted}; gave {came}"


def brief(event: Event) -> str:
    """The fields of an event that matter, and its questions."""
    shown = {
        name: getattr(event, name)
        for name in ("item", "quantity", "phase", "group", "verdict", "place", "part")
        if getattr(event, name) is not None
    }
    fields = " ".join(f"{value}" for value in shown.values())
    detail = event.medication
    if detail is not None:
        fields += f" {detail.model_dump(exclude_none=True, exclude_defaults=True, mode='json')}"
    codes = ",".join(question.code.value for question in event.questions)
    return f"[{event.kind.value} {fields}{f' ?{codes}' if codes else ''}]"


def same(wanted: Event, got: Event) -> bool:
    """Whether an event says what was meant, in every field that changes the record."""
    if wanted.kind is not got.kind:
        return False
    if wanted.kind is EventKind.REMARK:
        return True
    items = (wanted.item, None) if wanted.kind is EventKind.CORRECTION else (wanted.item,)
    fields = ("quantity", "verdict", "part")
    if got.item not in items or any(getattr(wanted, f) != getattr(got, f) for f in fields):
        return False
    if wanted.phase is not None and wanted.phase is not got.phase:
        return False
    if wanted.group != got.group and wanted.item is None:
        return False
    if wanted.kind in (EventKind.COUNT, EventKind.ADDITION) and wanted.place != got.place:
        return False
    if wanted.kind is EventKind.REMOVAL and (wanted.place == "wound") != (got.place == "wound"):
        return False
    if wanted.kind is EventKind.CORRECTION and got.place is not None:
        return False
    return wanted.medication is None or _same_medication(wanted, got)


def _same_medication(wanted: Event, got: Event) -> bool:
    one, other = wanted.medication, got.medication
    if one is None or other is None:
        return False
    names = ("name", "strength", "additive", "additive_strength", "volume_ml", "expiry")
    if any(getattr(one, name) != getattr(other, name) for name in names):
        return False
    return one.container in (None, other.container)


def judge(case: Case, record: CountRecord) -> list[Judged]:
    """What became of every step. Lines are paired with steps in order, where they were said."""
    pairs = _pair(case.steps, record.lines)
    return [
        _judged(step, lines, record.lines) for step, lines in zip(case.steps, pairs, strict=True)
    ]


def _judged(step: Step, lines: list[Line], everything: Sequence[Line]) -> Judged:
    questioned = any(line.questions for line in lines)
    if step.event is None:
        if not lines:
            outcome = Outcome.STAYED
        elif questioned or all(line.event.kind is EventKind.REMARK for line in lines):
            outcome = Outcome.QUESTIONED
        else:
            outcome = Outcome.SILENT
        return Judged(step, tuple(lines), outcome)
    event = step.event
    exact = [line for line in lines if same(event, line.event)]
    others = [line for line in lines if line not in exact]
    if exact and step.read_back:
        # said again by the second voice: harmless for a count of the same, not for what moves
        again = exact[1:]
        if again and isinstance(step.act, Add | Remove) and not any(q.questions for q in again):
            return Judged(step, tuple(lines), Outcome.SILENT)
        exact = exact[:1]
    if len(exact) == 1 and not others:
        own = bool(exact[0].event.questions)
        return Judged(step, tuple(lines), Outcome.EXACT, needless=own)
    if questioned:
        return Judged(step, tuple(lines), Outcome.QUESTIONED)
    if not lines and event.kind is EventKind.REMARK:
        return Judged(step, (), Outcome.LOST)
    if not lines and _is_in_a_question(step, everything):
        return Judged(step, (), Outcome.QUESTIONED)
    return Judged(step, tuple(lines), Outcome.SILENT)


def _is_in_a_question(step: Step, everything: Sequence[Line]) -> bool:
    """Whether the words of a step went into another line, about which something is asked."""
    return any(
        line.questions
        and line.event.start_s <= step.last_line
        and line.event.end_s >= step.first_line
        for line in everything
    )


def _pair(steps: Sequence[Step], lines: Sequence[Line]) -> list[list[Line]]:
    """The lines of every step.

    In their order, every step takes the line that fits it best; what is left over goes to the step
    in whose words it began.
    """
    rows, columns = len(steps), len(lines)
    best = [[0.0] * (columns + 1) for _ in range(rows + 1)]
    for row in range(rows - 1, -1, -1):
        for column in range(columns - 1, -1, -1):
            best[row][column] = max(
                best[row + 1][column],
                best[row][column + 1],
                best[row + 1][column + 1] + _fit(steps[row], lines[column]),
            )
    found: list[list[Line]] = [[] for _ in steps]
    row = column = 0
    while column < columns:
        line = lines[column]
        if row == rows:
            found[_home(steps, line)].append(line)
            column += 1
            continue
        fit = _fit(steps[row], line)
        if fit > 0 and best[row][column] == best[row + 1][column + 1] + fit:
            found[row].append(line)
            row, column = row + 1, column + 1
        elif best[row][column] == best[row][column + 1]:
            found[_home(steps, line)].append(line)
            column += 1
        else:
            row += 1
    return found


def _fit(step: Step, line: Line) -> float:
    event = line.event
    if step.event is None or event.start_s > step.last_line or event.end_s < step.first_line:
        return 0.0
    begins = step.first_line <= event.start_s
    return (3.0 if same(step.event, event) else 0.0) + (1.0 if begins else 0.1)


def _home(steps: Sequence[Step], line: Line) -> int:
    start = line.event.start_s
    return next(at for at, step in enumerate(steps) if step.first_line <= start <= step.last_line)
