"""Short wordings that only stand on paper: who decided, what a line says."""

from pathlib import PurePath

from countersign.caution import CONFIRMED, NOT_CONFIRMED
from countersign.papers.printing import Printing
from countersign.tally.record import Act, Decision, Line, LineState
from countersign.wording import clock_text, is_confirmed, number_text

_ACTS = {
    Act.ACCEPT: "accepted",
    Act.AMEND: "amended",
    Act.SET_ASIDE: "set aside",
    Act.UNDO: "decision undone",
}


def who(made: Printing, decision: Decision) -> str:
    """``circulator CD 10:42``."""
    return f"{decision.role.value} {decision.initials} {made.clock(decision.at)}"


def act_text(decision: Decision) -> str:
    """What a person did with a line."""
    return _ACTS[decision.act]


def standing_text(line: Line) -> str:
    """``CONFIRMED``, or ``NOT CONFIRMED`` and why where the line no longer waits."""
    match line.state:
        case LineState.ACCEPTED:
            return CONFIRMED
        case LineState.AMENDED:
            return f"{CONFIRMED}, amended"
        case LineState.SET_ASIDE:
            return f"{NOT_CONFIRMED} (set aside)"
        case LineState.STRUCK:
            by = f" by line {line.struck_by}" if line.struck_by else ""
            return f"{NOT_CONFIRMED} (struck{by})"
        case LineState.HEARD:
            return f"{NOT_CONFIRMED} (outside the totals)" if line.waits else NOT_CONFIRMED


def confirmed_number(line: Line) -> str:
    """The number a person confirmed, ``-`` where there is none."""
    if not is_confirmed(line):
        return "-"
    return number_text(line.confirmed_quantity, line.event.unit)


def heard_at(line: Line) -> str:
    """Where in the source a line was said; empty for written words."""
    event = line.event
    return clock_text(event.start_s) if event.end_s > event.start_s else ""


def source_name(made: Printing) -> str:
    """The name of the source without its folders."""
    return PurePath(made.history.source.replace("\\", "/")).name or made.history.source
