"""Which decision holds for each line."""

from collections.abc import Sequence
from datetime import datetime

from countersign.meaning.event import Question, QuestionCode
from countersign.tally.acts import Act, Decision


def decisions_in_force(
    decisions: Sequence[Decision], line_count: int
) -> tuple[dict[int, Decision], list[Decision]]:
    """The act that holds for each line, and acts on lines that do not exist.

    Decisions that are kept take effect in the order of the ledger, whatever the clocks of those who
    made them said; decisions that are not kept come after them, in order of time.
    """
    last: dict[int, Decision] = {}
    for decision in sorted(decisions, key=_order):
        last[decision.line] = decision
    held = {n: made for n, made in sorted(last.items()) if made.act is not Act.UNDO}
    known = {n: made for n, made in held.items() if 1 <= n <= line_count}
    return known, [made for n, made in held.items() if n not in known]


def _order(decision: Decision) -> tuple[int, int, datetime | int]:
    if decision.entry is not None:
        return 0, decision.entry, 0
    return 1, 0, decision.at


def no_such_line(decision: Decision, line_count: int) -> Question:
    """The question that a decision on no line raises."""
    lines = "1 line" if line_count == 1 else f"{line_count} lines"
    return Question(
        code=QuestionCode.NOTHING_TO_CORRECT,
        sentence=f"A decision by {decision.initials} is about line {decision.line}, "
        f"but the record has {lines}.",
    )
