"""Something fell: "dropped a needle", "lap on the floor". It is still counted, and is noted.

With a number ("two needles on the floor") it is asked about where the numbers are read.
"""

from dataclasses import replace

from countersign.meaning.pieces import Piece
from countersign.meaning.reading.closing import note
from countersign.meaning.reading.items import is_asked
from countersign.meaning.reading.state import State, cue_at, kind_at


def settle_dropped(state: State) -> None:
    """Put an item and what says that it fell into one piece; elsewhere "dropped" is talk."""
    index = 0
    while index < len(state.pieces):
        at = index + (kind_at(state, index) == "cue" and state.pieces[index].label == "DROP")
        item = at
        at += 1
        while cue_at(state, at, "DROP", "FLOOR"):
            at += 1
        fell = kind_at(state, item) == "item" and at - index > 1
        numbered = kind_at(state, index - 1) == "run" or kind_at(state, at) in ("run", "item")
        if fell and not numbered:
            start, end = state.pieces[index].start, state.pieces[at - 1].end
            piece = Piece("cue", f"FELL {state.pieces[item].label}", start, end)
            if is_asked(state, state.pieces[item]):
                piece = Piece("stranger", "", start, end)
            state.pieces[index:at] = [piece]
        elif item > index:
            state.pieces[index] = replace(state.pieces[index], kind="stranger")
        index += 1


def note_dropped(state: State, heard: list[Piece]) -> None:
    """Add a remark for each; a count that is under way goes on."""
    for piece in heard:
        if piece.kind != "cue" or not piece.label.startswith("FELL "):
            continue
        note(state, piece, item=piece.label.partition(" ")[2])
