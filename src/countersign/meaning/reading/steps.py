"""Which function reads which piece. New phrases begin here and in ``cues.RULES``."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING

from countersign.kit.model import Kit
from countersign.meaning.pieces import pieces_of
from countersign.meaning.reading.breakage import on_broken
from countersign.meaning.reading.closing import close
from countersign.meaning.reading.corrections import (
    on_correction,
    on_loose,
    on_not,
    settle_loose,
    settle_not,
    settle_swaps,
    settle_those,
)
from countersign.meaning.reading.counts import on_number, on_pack
from countersign.meaning.reading.dropped import note_dropped, settle_dropped
from countersign.meaning.reading.found import note_found, settle_found
from countersign.meaning.reading.half_heard import on_half_heard, settle_half_heard
from countersign.meaning.reading.items import on_item
from countersign.meaning.reading.left_over import ask_about_numbers_left
from countersign.meaning.reading.listed import on_bare, on_listed
from countersign.meaning.reading.medications import (
    on_amount,
    on_draw,
    on_hands,
    on_label,
    on_name,
    on_read_back,
    on_receipt,
    settle_cues,
    settle_no_expiry,
)
from countersign.meaning.reading.parts import on_part, settle_misheard_parts
from countersign.meaning.reading.phases import on_alone, on_done, on_phase, settle_alone
from countersign.meaning.reading.places import (
    goes_on_setting_up,
    on_floor,
    on_inward,
    on_place,
    on_taking,
    on_unpacked,
    settle_set_up,
    settle_taking,
)
from countersign.meaning.reading.remarks import note_aside, on_direction, on_note, settle_aside
from countersign.meaning.reading.state import Before, Read, State, Verb, kind_at
from countersign.meaning.reading.talk import ask_if_full, on_talk
from countersign.meaning.reading.torn import on_torn, settle_torn
from countersign.meaning.reading.totals import (
    on_restart,
    on_total,
    settle_misheard_totals,
    settle_totals,
)
from countersign.meaning.reading.verbs import on_more, on_verb
from countersign.meaning.reading.verdicts import (
    on_denied,
    on_group,
    on_query,
    on_verdict,
    settle_again,
    settle_missing,
)
from countersign.meaning.scene import Scene

if TYPE_CHECKING:
    from spacy.tokens import Doc

Step = Callable[[State, int], int]
"""Reads the piece at an index and gives the index to go on from."""

CUES: dict[str, Step] = {
    "PHASE": on_phase,
    "ALONE": on_alone,
    "DONE": on_done,
    "QUERY": on_query,
    "VERDICT": on_verdict,
    "BARE": on_bare,
    "DENIED": on_denied,
    "ADD": on_verb,
    "REMOVE": on_verb,
    "MORE": on_more,
    "TAKE": on_taking,
    "FLOOR": on_floor,
    "UNPACKED": on_unpacked,
    "INWARD": on_inward,
    "FELL": on_talk,
    "FOUND_ITEM": on_talk,
    "NOT": on_not,
    "STRIKE": on_correction,
    "LOOSE": on_loose,
    "MEAN": on_correction,
    "TOTAL": on_total,
    "RESTART": on_restart,
    "PACK": on_pack,
    "PAIR": on_pack,
    "PLACE": on_place,
    "BAG": on_pack,
    "BROKEN": on_broken,
    "LABEL": on_label,
    "DRAW": on_draw,
    "RECEIPT": on_receipt,
    "READ_BACK": on_read_back,
    "HANDS": on_hands,
    "DIRECTION": on_direction,
    "NOTE": on_note,
    "PARTLY": on_half_heard,
    "TORN": on_torn,
    "ASIDE": on_talk,
    "AGAIN": on_talk,
}
"""By the first word of a cue's label; other cues mean something only beside an item."""


def on_cue(state: State, index: int) -> int:
    """A cue, by its label."""
    step = CUES.get(state.pieces[index].label.partition(" ")[0])
    return step(state, index) if step is not None else index + 1


def on_pause(state: State, index: int) -> int:
    """A pause ends a verb, unless it stands between the verb and what is added or removed."""
    over = kind_at(state, index - 1) != "cue" or (state.verb is not None and state.verb.used)
    if over and not goes_on_setting_up(state, index):
        state.verb = None
    state.breath_from = state.pieces[index].end
    if state.astray is not None:
        older = replace(state.astray, leads=False, pauses=state.astray.pauses + 1)
        state.astray = older if older.pauses == 1 else None
    ask_if_full(state, index)
    if state.clause is not None:
        state.clause.entries.append(state.pieces[index])
        state.clause.after = state.clause.after or "pause"
    return index + 1


def on_named(state: State, index: int) -> int:
    """An item or a count group: in a list of them that has one verdict, or by itself."""
    after = on_listed(state, index)
    if after is not None:
        return after
    return (on_item if kind_at(state, index) == "item" else on_group)(state, index)


PIECES: dict[str, Step] = {
    "run": on_number,
    "item": on_named,
    "part": on_part,
    "cue": on_cue,
    "medication": on_name,
    "amount": on_amount,
    "pause": on_pause,
    "talk": on_talk,
    "stranger": on_talk,
    "group": on_named,
}
"""By the kind of a piece."""


def read(
    doc: "Doc", kit: Kit, before: Before, today: date | None = None, *, ended: bool = False
) -> list[Read]:
    """The events of a document in order; the last may still be open, unless it has ``ended``.

    Pure: used for what was heard and, unchanged, for every other reading of the same sound.
    ``today`` is compared with expiries, ``None`` leaves that out.
    """
    verb = before.carried.verb
    state = State(
        scene=Scene(doc, kit, before.phase, today, before.recounting),
        pieces=pieces_of(doc),
        done=[],
        carried=before.carried,
        verb=Verb(verb, 0, place=before.carried.place) if verb is not None else None,
        last_item=before.item,
        last_placed=before.placed,
        talk_before=before.talked,
        before=before,
        first_before=before.carried.talk,
    )
    settle_no_expiry(state)
    settle_cues(state)
    settle_taking(state)
    settle_those(state)
    settle_not(state)
    settle_swaps(state)
    settle_loose(state)
    settle_again(state)
    settle_missing(state)
    settle_dropped(state)
    settle_found(state)
    settle_aside(state)
    settle_set_up(state)
    settle_alone(state)
    settle_totals(state)
    settle_misheard_totals(state)
    settle_misheard_parts(state)
    settle_half_heard(state)
    settle_torn(state)
    heard = list(state.pieces)
    index = 0
    while index < len(state.pieces):
        index = PIECES[state.pieces[index].kind](state, index)
    close(state, still_open=True)
    note_dropped(state, heard)
    note_found(state, heard)
    note_aside(state, heard)
    ask_about_numbers_left(state, heard, ended=ended)
    return state.done
