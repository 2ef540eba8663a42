"""One number for a whole count group: "instruments forty two".

A group is counted item by item, so that of which item the number is has to be asked.
"""

from countersign.kit.model import Group
from countersign.meaning.event import EventKind, QuestionCode, Spoken
from countersign.meaning.pieces import Piece, numbers_of
from countersign.meaning.questions import ask, said
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.state import Read, State, at_edge, cue_at, kind_at


def group_total(state: State, index: int) -> int | None:
    """Read a group and its number, alone in the utterance that begins at ``index``, or each alone
    in one of two.

    Gives the index after them, ``None`` if something else stands there.
    """
    if not at_edge(state, index - 1):
        return None
    first, second = index, index + 1
    if kind_at(state, index) == "group":
        second += cue_at(state, second, "TOTAL")
    paused = kind_at(state, second) == "pause"
    second += paused
    after = second + 1
    kinds = (kind_at(state, first), kind_at(state, second))
    if sorted(kinds) != ["group", "run"] or not at_edge(state, after):
        return None
    if paused and (state.clause is not None or not _one_number(state, first, second)):
        return None
    close(state)
    group = first if kinds[0] == "group" else second
    give_group_total(state, state.pieces[group].label, state.pieces[index:after])
    return after


def _one_number(state: State, first: int, second: int) -> bool:
    run = next(state.pieces[at] for at in (first, second) if kind_at(state, at) == "run")
    return len(numbers_of(state.doc, run)) == 1


def await_number(state: State, index: int) -> None:
    """A group alone in the last utterance: its number may come after a pause."""
    alone = at_edge(state, index - 1) and kind_at(state, index + 1) == "end"
    if alone and state.clause is None:
        state.done.append(Read(None, True, state.pieces[index].start))


def name_of_group(group: Group) -> str:
    """What several of a group are called."""
    several = {Group.SPONGES: "sponges", Group.SHARPS: "sharps", Group.SMALL_ITEMS: "small items"}
    return several.get(group, "instruments")


def give_group_total(state: State, group: str, pieces: list[Piece]) -> None:
    """Add the event; ``pieces`` are what was said, a run of numbers among it."""
    run = next(piece for piece in pieces if piece.kind == "run")
    quantity = numbers_of(state.doc, run)[-1]
    name = name_of_group(Group(group))
    sentence = f"{said(quantity)} {name} were heard as one number, but not of which item."
    emit(
        state,
        pieces[0].start,
        pieces[-1].end,
        questions=[ask(QuestionCode.NO_ITEM, sentence)],
        kind=EventKind.COUNT,
        group=group,
        quantity=quantity,
        unit="each",
        spoken=Spoken.TOTAL,
    )
