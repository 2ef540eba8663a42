"""Phases: "initial count sponges", "closing the fascia", "can we do a count"."""

from dataclasses import replace

from countersign.kit.model import Group
from countersign.meaning.event import EventKind, Phase, Question
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.amid import amid_talk, utterance_of
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.groups import give_group_total
from countersign.meaning.reading.items import on_item
from countersign.meaning.reading.state import State, at_edge, cue_at, is_alone, kind_at, piece_at
from countersign.meaning.reading.verdicts import group_in, on_verdict
from countersign.meaning.words import BREAK


def settle_alone(state: State) -> None:
    """Some phrases begin a count only where nothing else is said: "we're closing"."""
    for index, piece in enumerate(state.pieces):
        if piece.kind != "cue" or not piece.label.startswith(("ALONE", "BREAK")):
            continue
        if not is_alone(state, index) or piece.label.startswith("BREAK"):
            state.pieces[index] = replace(piece, kind="stranger")


def on_alone(state: State, index: int) -> int:
    """A phrase that stands alone: a phase, or a verdict ("everything's accounted for")."""
    said = state.pieces[index].label.partition(" ")[2]
    return on_phase(state, index) if said in set(Phase) else on_verdict(state, index)


_SPOKEN_OF = frozenset(
    """
    did didn't when who who's why where what what's how before after until don't never has have
    haven't
    """.split()
)
"""First words of sentences that speak of a count and do not begin it."""


def _only_spoken_of(state: State, cue: Piece) -> list[Question]:
    index = state.pieces.index(cue)
    if cue_at(state, index - 1, "STRIKE"):
        heard = state.doc[state.pieces[index - 1].start : cue.end].text
        return [doubt(f"“{heard}” was heard; is the count not begun?")]
    start = cue.start
    while start and state.doc[start - 1].lower_ != BREAK:
        start -= 1
    if start == cue.start or state.doc[start].lower_ not in _SPOKEN_OF:
        return []
    heard = state.doc[start : cue.end].text
    return [doubt(f"“{heard}” was heard; was the count begun, or only spoken of?")]


def _group_lost(state: State, index: int) -> list[Question]:
    """A question where a little talk touches a count's name in sound: "initial count <talk>"."""
    cue = state.pieces[index]
    words = words_of(state.doc, cue)
    before, after = utterance_of(state, index, index)
    around = [*before, *after]
    kinds = {piece.kind for piece in around}
    if words[-1] not in ("count", "counts") or not state.scene.heard[cue.start].is_sound:
        return []
    if "talk" not in kinds or not kinds <= {"talk", "stranger"} or len(around) > _MOST_OF_A_GROUP:
        return []
    heard = " ".join(words)
    return [doubt(f"“{heard}” was heard beside other talk; is it the count of some items only?")]


_MOST_OF_A_GROUP = 2
"""Talk and unknown words that may be the name of a group are no more than these."""


def _is_counted(state: State, index: int) -> bool:
    """Whether an item after a phase has its number, with a place or a total: it is counted.

    "Scrub relief, laps on the Mayo nine" hands over all counts and goes on with the laps.
    """
    at = index + 1
    while cue_at(state, at, "PLACE", "TOTAL") or (at > index + 1 and kind_at(state, at) == "talk"):
        at += 1
    return kind_at(state, at) == "run"


def on_done(state: State, index: int) -> int:
    """ "Sponge count is complete": noted; it does not say that the count is correct."""
    cue = state.pieces[index]
    close(state)
    emit(state, cue.start, cue.end, kind=EventKind.REMARK)
    return index + 1


def on_phase(state: State, index: int) -> int:
    """A phase, with the count group or item named in it or after it."""
    close(state)
    cue = state.pieces[index]
    phase = Phase(cue.label.partition(" ")[2])
    group, end, after = group_in(state, cue), cue.end, index + 1
    following = piece_at(state, after)
    soft = False
    if group is None and following is not None:
        if following.kind == "group":
            group, end, after = Group(following.label), following.end, after + 1
        elif following.kind == "item" and not _is_counted(state, after):
            group, soft = state.kit.item(following.label).group, True
    state.scene.phase = phase
    group_value = group.value if group else None
    questions = [*amid_talk(state, index, after - 1), *_only_spoken_of(state, cue)]
    if group is None and not questions:
        questions += _group_lost(state, index)
    emit(
        state,
        cue.start,
        end,
        questions=questions,
        kind=EventKind.PHASE,
        phase=phase,
        group=group_value,
    )
    alone = kind_at(state, after) == "run" and at_edge(state, after + 1)
    if group_value is not None and alone and not soft:
        numbers = numbers_of(state.doc, state.pieces[after])
        if len(numbers) == 1:  # "initial count sponges ten"
            give_group_total(state, group_value, [state.pieces[after]])
            return after + 1
    if soft:
        after = on_item(state, after)
        if state.clause is not None:
            state.clause.soft = True
    return after
