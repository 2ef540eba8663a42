"""One verdict about several: "sponges and sharps are correct"."""

from dataclasses import replace

from countersign.kit.model import Group
from countersign.meaning.event import EventKind, Verdict
from countersign.meaning.pieces import words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.items import is_asked
from countersign.meaning.reading.state import State, at_edge, cue_at, kind_at
from countersign.meaning.reading.talk import hear_talk
from countersign.meaning.reading.verdicts import group_in
from countersign.meaning.scene import label

_NAMES = ("item", "group")


def on_listed(state: State, index: int) -> int | None:
    """Read names that stand side by side at the beginning of an utterance and their verdict.

    Gives the index after it, ``None`` if something else stands there.
    """
    if not at_edge(state, index - 1):
        return None
    at = index
    while kind_at(state, at) in _NAMES:
        at += 1
    names = state.pieces[index:at]
    said = cue_at(state, at, "BARE", "VERDICT") and not cue_at(state, at, "VERDICT recount")
    if not names or not said:
        return None
    if len(names) > 1 and is_asked(state, names[0]):
        close(state)
        return at + 1
    cue = state.pieces[at]
    last = group_in(state, cue)
    if len(names) + (last is not None) < 2:
        return None
    close(state)
    groups = [
        (Group(piece.label), None)
        if piece.kind == "group"
        else (state.kit.item(piece.label).group, piece.label)
        for piece in names
    ]
    groups += [(last, None)] if last is not None else []
    for group, item in groups:
        emit(
            state,
            names[0].start,
            cue.end,
            kind=EventKind.VERDICT,
            verdict=Verdict(cue.label.partition(" ")[2]),
            item=item,
            group=group.value,
        )
    return at + 1


def on_bare(state: State, index: int) -> int:
    """ "Needle tip is missing": something of an item is, with a word between that is not known."""
    cue = state.pieces[index]
    named = kind_at(state, index - 1) == "stranger" and kind_at(state, index - 2) == "item"
    if cue.label != "BARE not_correct":
        return index + 1
    if "missing" not in words_of(state.doc, cue) or not named:
        hear_talk(state, replace(cue, kind="stranger"))  # "laps five missing"
        return index + 1
    piece = state.pieces[index - 2]
    if is_asked(state, piece):
        return index + 1
    close(state)
    heard = " ".join(words_of(state.doc, state.pieces[index - 1]))
    question = doubt(f"“{heard}” was heard after {label(state.scene, piece)}; what is missing?")
    emit(
        state,
        piece.start,
        cue.end,
        questions=[question],
        kind=EventKind.VERDICT,
        verdict=Verdict.NOT_CORRECT,
        item=piece.label,
        group=state.kit.item(piece.label).group.value,
    )
    return index + 1
