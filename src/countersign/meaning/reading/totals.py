"""Closing totals ("that's five") and counts that start over."""

from countersign.meaning.pieces import Piece
from countersign.meaning.reading.clause import Clause
from countersign.meaning.reading.closing import close
from countersign.meaning.reading.state import State, kind_at, talk_before
from countersign.meaning.reading.talk import hear_talk


def on_total(state: State, index: int) -> int:
    """ "That's five": the number after it is a total."""
    if kind_at(state, index + 1) != "run":
        clause = state.clause
        if clause is not None and not clause.has_numbers and kind_at(state, index + 1) == "talk":
            clause.tried = True  # "kelly clamps total <talk>"
        return index + 1
    cue = state.pieces[index]
    if kind_at(state, index + 2) in ("stranger", "talk"):
        return index + 2 if state.clause is None else index + 1
    if state.clause is None or (state.clause.talked and not state.clause.has_numbers):
        close(state)
        if talk_before(state, index) == "stranger":
            return index + 2
        state.clause = Clause(start=cue.start, carry=cue.start)
    state.clause.total_next = True
    state.clause.talked = False
    return index + 1


def on_restart(state: State, index: int) -> int:
    """ "Start over": the numbers before it no longer count."""
    cue = state.pieces[index]
    if talk_before(state, index) == "stranger" and cue.end - cue.start == 1:
        hear_talk(state, cue)  # "let me see the cord again"
        return index + 1
    if state.clause is not None and state.clause.has_numbers:
        state.clause.entries.append(Piece("restart", "", cue.start, cue.end))
        state.clause.talked = False
    return index + 1
