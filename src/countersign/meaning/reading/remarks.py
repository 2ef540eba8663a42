"""Remarks: "note that the raytec is soaked", "adson on the Mayo, tip up"."""

from countersign.meaning.event import EventKind
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.count_place import LAID_OUT
from countersign.meaning.reading.state import State, kind_at
from countersign.meaning.reading.talk import hear_talk


def on_note(state: State, index: int) -> int:
    """A remark at the beginning of an utterance: all of the utterance."""
    if index and kind_at(state, index - 1) != "pause":
        return index + 1
    close(state)
    at = index
    while kind_at(state, at) not in ("end", "pause"):
        at += 1
    start = state.pieces[index].start
    end = state.pieces[at].start if at < len(state.pieces) else len(state.doc)
    item = next((p.label for p in state.pieces[index:at] if p.kind == "item"), None)
    emit(state, start, end, kind=EventKind.REMARK, item=item)
    return at


def on_direction(state: State, index: int) -> int:
    """ "Adson on the Mayo, tip up": how an item that is set up lies. Elsewhere it is talk."""
    cue = state.pieces[index]
    clause = state.clause
    named = clause is not None and clause.item is not None and not clause.talked
    if clause is None or clause.item is None or not named or clause.after == "stranger":
        hear_talk(state, cue)
        return index + 1
    if clause.place not in LAID_OUT and (clause.has_numbers or kind_at(state, index - 1) != "item"):
        hear_talk(state, cue)
        return index + 1
    item = clause.item
    if clause.place is None:
        state.clause = None  # "adson tip up": nothing was counted
    close(state)
    emit(state, cue.start, cue.end, kind=EventKind.REMARK, item=item.label)
    return index + 1
