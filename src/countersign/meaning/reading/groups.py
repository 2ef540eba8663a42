"""One number for a whole count group: "instruments forty two".

A group is counted item by item, so that of which item the number is has to be asked.
"""

from countersign.kit.model import Group
from countersign.meaning.event import EventKind, QuestionCode, Spoken
from countersign.meaning.pieces import Piece, numbers_of
from countersign.meaning.questions import ask, said
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.state import State, cue_at, kind_at

_ENDS = ("end", "pause")


def group_total(state: State, index: int) -> int | None:
    """Read a group and its number, alone in the utterance that begins at ``index``.

    Gives the index after them, ``None`` if something else stands there.
    """
    if kind_at(state, index - 1) not in _ENDS:
        return None
    if kind_at(state, index) == "group":
        group, number = index, index + 1 + cue_at(state, index + 1, "TOTAL")
    else:
        group, number = index + 1, index
    after = max(group, number) + 1
    kinds = (kind_at(state, group), kind_at(state, number), kind_at(state, after))
    if kinds[:2] != ("group", "run") or kinds[2] not in _ENDS:
        return None
    close(state)
    give_group_total(state, state.pieces[group].label, state.pieces[index:after])
    return after


def give_group_total(state: State, group: str, pieces: list[Piece]) -> None:
    """Add the event; ``pieces`` are what was said, a run of numbers among it."""
    run = next(piece for piece in pieces if piece.kind == "run")
    quantity = numbers_of(state.doc, run)[-1]
    several = {Group.SPONGES: "sponges", Group.SHARPS: "sharps", Group.SMALL_ITEMS: "small items"}
    name = several.get(Group(group), "instruments")
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
