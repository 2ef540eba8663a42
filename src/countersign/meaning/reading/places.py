"""Places: "two needles on the Mayo" counts there, "Adson on the Mayo stand" sets one up."""

from countersign.kit.model import Group
from countersign.meaning.event import EventKind, Question
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import Clause
from countersign.meaning.reading.state import State, Verb, cue_at, kind_at, talk_before
from countersign.meaning.scene import Scene, label

WOUND = "wound"
OFF_FIELD = "off_field"

_LAID_OUT = ("mayo_stand", "back_table")
"""Where items are set up."""


def on_place(state: State, index: int) -> int:
    """A place: of the count before it, or of what follows."""
    cue = state.pieces[index]
    place = cue.label.partition(" ")[2]
    clause = state.clause
    if clause is not None and (clause.item is not None or clause.has_numbers):
        if clause.talked:
            return index + 1  # the talk is what lies there
        _put(state, clause, place, cue.end)
        return index + 1
    leads = clause is None and (
        kind_at(state, index + 1) in ("item", "run") or cue_at(state, index + 1, "PACK", "BAG")
    )
    if leads:
        verb = EventKind.COUNT if state.verb is None else state.verb.kind
        start = cue.start if state.verb is None or state.verb.used else state.verb.start
        state.verb = Verb(verb, start, talk_before(state, index), place=place)
    return index + 1


def on_out_of_wound(state: State, index: int) -> int:
    """ "Two laps out of the wound": off the packed ones, not off the count."""
    cue = state.pieces[index]
    clause = state.clause
    if clause is not None and clause.item is not None and not clause.talked:
        clause.kind, clause.verb, clause.place = EventKind.REMOVAL, True, WOUND
        clause.end = max(clause.end, cue.end)
    elif clause is None and kind_at(state, index + 1) in ("item", "run"):
        before = talk_before(state, index)
        state.verb = Verb(EventKind.REMOVAL, cue.start, before, place=WOUND)
    return index + 1


def inherit_item(state: State, clause: Clause) -> None:
    """Give a number with a place the item that was counted before it: "… two on the Mayo"."""
    if clause.item is not None or clause.inherited is not None or state.last_item is None:
        return
    clause.inherited = state.last_item
    if not state.last_placed:
        name = state.kit.item(state.last_item).label
        clause.questions.append(doubt(f"No item was named here; {name} was taken."))


def _put(state: State, clause: Clause, place: str, end: int) -> None:
    if clause.place not in (None, place) and clause.place_closes:
        sentence = f"Two places were heard, {_said(clause.place)} and {_said(place)}."
        clause.questions.append(doubt(sentence))
    inherit_item(state, clause)
    clause.place, clause.place_closes = place, clause.has_numbers
    clause.end = max(clause.end, end)
    clause.after = clause.after or "pause"  # what follows does not make it talk
    state.last_placed = True
    if clause.item is None and clause.inherited is None:
        state.clause = None  # "one on the table": nothing that is counted
        state.last_placed = False


def _said(place: str | None) -> str:
    return (place or "").replace("_", " ")


def settle_place(scene: Scene, clause: Clause) -> list[Question]:
    """Decide what a count with a place is, and ask where it could be another thing."""
    if clause.kind is not EventKind.COUNT or clause.place is None:
        return []
    if clause.place == OFF_FIELD:
        # in a count the bags are counted, at any other time something goes into them
        clause.kind = EventKind.COUNT if scene.phase is not None else EventKind.REMOVAL
        return []
    if clause.place not in _LAID_OUT:
        return []
    if not clause.has_numbers:
        clause.kind = EventKind.SET_UP
        return []
    if scene.phase is not None:
        return []
    item_id = clause.item.label if clause.item is not None else clause.inherited
    if item_id is None:
        return []
    stand = scene.kit.mayo_stand if clause.place == "mayo_stand" else scene.kit.back_table
    instrument = scene.kit.item(item_id).group is Group.INSTRUMENTS
    if not instrument and item_id not in stand:
        return []
    if clause.number_first or not instrument:
        name = label(scene, clause.item) if clause.item is not None else item_id
        question = doubt(f"{name} may have been counted there or set up there.")
        if instrument:
            clause.kind = EventKind.SET_UP
        return [question]
    clause.kind = EventKind.SET_UP
    return []
