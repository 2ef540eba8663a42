"""Remarks: "note that the raytec is soaked", "adson on the Mayo, tip up"."""

from dataclasses import replace

from countersign.meaning.event import EventKind
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.closing import close, emit, note
from countersign.meaning.reading.count_place import LAID_OUT
from countersign.meaning.reading.state import (
    State,
    at_edge,
    cue_at,
    item_before,
    kind_at,
)
from countersign.meaning.reading.talk import hear_talk
from countersign.meaning.scene import label


def on_note(state: State, index: int) -> int:
    """A remark at the beginning of an utterance: all of the utterance."""
    if index and kind_at(state, index - 1) != "pause":
        return index + 1
    close(state)
    at = index
    while not at_edge(state, at):
        at += 1
    start = state.pieces[index].start
    end = state.pieces[at].start if at < len(state.pieces) else len(state.doc)
    named = [piece for piece in state.pieces[index:at] if piece.kind == "item"]
    item = named[0].label if named else None
    questions = []
    if named and named[-1] is state.pieces[at - 1] and kind_at(state, at - 2) == "talk":
        # "three more cautery blades", of which the end was understood
        heard = label(state.scene, named[-1])
        questions = [doubt(f"{heard} was heard in a remark, behind talk; was it counted?")]
    emit(state, start, end, kind=EventKind.REMARK, item=item, questions=questions)
    return at


def settle_aside(state: State) -> None:
    """ "Set the pack of laps aside" is one piece; "set it aside" without an item before is talk."""
    for index, cue in enumerate(state.pieces):
        if cue.kind != "cue" or cue.label != "ASIDE":
            continue
        item = item_before(state, cue.start) or ""
        end = cue.end
        if kind_at(state, index + 1) == "item" and words_of(state.doc, cue)[-1] != "aside":
            item, end = state.pieces[index + 1].label, state.pieces[index + 1].end
            del state.pieces[index + 1]
        if item or _PACK.intersection(words_of(state.doc, cue)):
            state.pieces[index] = replace(cue, label=f"ASIDE {item}", end=end)
        else:
            state.pieces[index] = replace(cue, kind="stranger")


_PACK = frozenset({"pack", "package", "packet"})


def note_aside(state: State, heard: list[Piece]) -> None:
    """Add a remark with a question for each: what was counted of that pack, a person decides."""
    for piece in heard:
        if piece.kind != "cue" or not piece.label.startswith("ASIDE "):
            continue
        spoken = " ".join(words_of(state.doc, piece))
        sentence = f"“{spoken}” was heard; was something of that pack counted that must not be?"
        item = piece.label.partition(" ")[2] or None
        note(state, piece, questions=[doubt(sentence)], item=item)


def on_direction(state: State, index: int) -> int:
    """ "Adson on the Mayo, tip up": how an item that is set up lies. Elsewhere it is talk."""
    cue = state.pieces[index]
    clause = state.clause
    named = clause is not None and clause.item is not None and not clause.talked
    if clause is None and _stands_alone(state, index):
        item = _set_up_last(state)  # "… tip up | handles toward the back"
    elif clause is None or clause.item is None or not named or clause.after == "stranger":
        item = None
    elif clause.place in LAID_OUT:
        item = clause.item.label
    else:
        follows = not clause.has_numbers and kind_at(state, index - 1) == "item"
        item = clause.item.label if follows else None
    if item is None:
        hear_talk(state, cue)
        return index + 1
    if clause is not None and clause.place is None:
        state.clause = None  # "adson tip up": nothing was counted
    elif clause is not None:
        clause.amid_counts = False  # how it lies is said of what is set up
    close(state)
    emit(state, cue.start, cue.end, kind=EventKind.REMARK, item=item)
    return index + 1


def _stands_alone(state: State, index: int) -> bool:
    """Whether only directions are in the utterance, or others stand before it."""
    first = at_edge(state, index - 1) or cue_at(state, index - 1, "DIRECTION")
    return first and (at_edge(state, index + 1) or cue_at(state, index + 1, "DIRECTION"))


def _set_up_last(state: State) -> str | None:
    """The item that was set up last, if nothing but remarks came since."""
    for reading in reversed(state.done):
        if reading.event is not None and reading.event.kind is EventKind.SET_UP:
            return reading.event.item
        if reading.event is not None and reading.event.kind is not EventKind.REMARK:
            return None
    return state.before.set_up
