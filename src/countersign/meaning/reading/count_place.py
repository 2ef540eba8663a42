"""What a count with a place is: a count, a removal into a bag, or something set up there."""

from countersign.kit.model import Group
from countersign.meaning.event import EventKind, Phase, Question
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import Clause
from countersign.meaning.scene import Scene

WOUND = "wound"
OFF_FIELD = "off_field"

LAID_OUT = ("mayo_stand", "back_table")
"""Where items are set up."""


def settle_place(scene: Scene, clause: Clause) -> list[Question]:
    """Decide what a count with a place is, and ask where it could be another thing."""
    if clause.kind is not EventKind.COUNT or clause.place is None:
        return []
    if clause.place == OFF_FIELD:
        # in a count the bags are counted, at any other time something goes into them; while the
        # first count goes on nothing has been used yet
        counted = scene.phase not in (None, Phase.INITIAL)
        led = clause.amid_counts and not clause.verb and not clause.place_closes
        clause.kind = EventKind.COUNT if counted else EventKind.REMOVAL
        if counted or not led or clause.item_id is None:
            return []
        # "in the bag, raytecs five" amid counts: that the count is another one was not heard
        name = scene.kit.item(clause.item_id).label
        return [doubt(f"{name} may have been counted in the bag, or put there.")]
    if clause.place == WOUND:
        return _not_packed(scene, clause)
    if clause.place not in LAID_OUT:
        return []
    if not clause.has_numbers:
        clause.kind = EventKind.SET_UP
        if not (clause.amid_counts or clause.tried) or clause.item_id is None:
            return []
        # "richardson on the field one | richardson on the mayo": its number may have been lost
        name = scene.kit.item(clause.item_id).label
        return [doubt(f"{name} may have been set up there or counted there; no number was heard.")]
    if scene.phase is not None:
        return []
    item_id = clause.item_id
    if item_id is None:
        return []
    stand = scene.kit.mayo_stand if clause.place == "mayo_stand" else scene.kit.back_table
    instrument = scene.kit.item(item_id).group is Group.INSTRUMENTS
    if not instrument and item_id not in stand:
        return []
    # where items were counted right before, the count that they are of may not have been heard
    if clause.number_first or not instrument or clause.amid_counts:
        name = scene.kit.item(item_id).label
        question = doubt(f"{name} may have been counted there or set up there.")
        if instrument and not clause.amid_counts:
            clause.kind = EventKind.SET_UP
        return [question]
    clause.kind = EventKind.SET_UP
    return []


def _not_packed(scene: Scene, clause: Clause) -> list[Question]:
    """A question where sound names what a wound is not packed with: "five aseptos in the wound" is
    heard for "five dissectors". Sponges are packed (common practice, no source).
    """
    if clause.item is None or not scene.heard[clause.item.start].is_sound:
        return []
    item = scene.kit.item(clause.item.label)
    if item.group is Group.SPONGES:
        return []
    return [doubt(f"{item.label} was heard in the wound, which is packed with sponges.")]
