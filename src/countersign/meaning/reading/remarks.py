"""Remarks: "note that the raytec is soaked"."""

from countersign.meaning.event import EventKind
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.state import State, kind_at


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
