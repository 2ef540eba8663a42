"""Places: "two needles on the Mayo" counts there, "Adson on the Mayo stand" sets one up."""

from dataclasses import replace

from countersign.meaning.event import EventKind, QuestionCode
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.clause import Clause
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.count_place import LAID_OUT, WOUND
from countersign.meaning.reading.items import is_asked
from countersign.meaning.reading.read_back import reads_back
from countersign.meaning.reading.state import (
    Astray,
    Read,
    State,
    Verb,
    at_edge,
    cue_at,
    is_alone,
    kind_at,
    no_item_named,
    talk_before,
)
from countersign.meaning.reading.talk import hear_talk
from countersign.meaning.scene import plural
from countersign.meaning.words import BREAK


def on_place(state: State, index: int) -> int:
    """A place: of the count before it, or of what follows.

    An utterance that begins with a place says what is there: "on the field, kellys three". So does
    a place behind a number whose own place came first: "laps on the field two, on the Mayo three".
    """
    cue = state.pieces[index]
    place = cue.label.partition(" ")[2]
    clause = state.clause
    end = reads_back(state, clause, index) if clause is not None else None
    if clause is not None and end is not None:
        clause.end = state.pieces[end - 1].end
        return end
    placed = clause is not None and clause.place in LAID_OUT and not clause.has_numbers
    if placed and is_alone(state, index):
        close(state)  # "on the Mayo | adson | on the back table | …"
        clause = None
    under_way = clause is not None and (clause.item is not None or clause.has_numbers)
    if _goes_astray(state, index, clause):
        return index + 1
    if clause is not None and under_way and not _leads(state, index, clause):
        if clause.talked and not _leads_after_talk(state, index):
            # the talk is what lies there, or what follows: "two <talk> on the Mayo three laps"
            if talk_before(state, index) == "talk":
                state.astray = _astray(state, index)
            return index + 1
        if clause.talked:
            _lead(state, index)
            return index + 1
        _put(state, clause, place, cue.end)
        return index + 1
    alone = clause is None and is_alone(state, index)
    if alone and kind_at(state, index + 1) == "end":
        state.done.append(Read(None, True, cue.start))  # "on the Mayo | …"
    elif _is_of_what_follows(state, index + alone):
        _lead(state, index)
    elif alone:
        state.astray = _astray(state, index)  # "on the Mayo | <talk> laps two"
    return index + 1


def _lead(state: State, index: int) -> None:
    """Put what follows at a place; behind talk it may be the place of that."""
    close(state)
    cue = state.pieces[index]
    before = talk_before(state, index)
    question = None
    if before == "talk" and names_ahead(state, index + 1):  # without a name that is asked about
        heard = " ".join(words_of(state.doc, cue))
        question = doubt(f"“{heard}” was heard after other talk; is it where these were?")
    kind = EventKind.COUNT if state.verb is None else state.verb.kind
    start = cue.start if state.verb is None or state.verb.used else state.verb.start
    place = cue.label.partition(" ")[2]
    state.verb = Verb(kind, start, before, question, place=place)


def _leads_after_talk(state: State, index: int) -> bool:
    """Whether only talk stands before a place in its utterance, and what lies there after it."""
    first, _ = _talk_beside(state, index)
    return first < index and at_edge(state, first - 1) and _is_of_what_follows(state, index)


def _goes_astray(state: State, index: int, clause: Clause | None) -> bool:
    """Whether a place stands beside talk, which may be what lies there, and beside nothing else.

    What comes next then takes the place, or is asked about; so is a count that it stands behind.
    """
    first, last = _talk_beside(state, index)
    waits = clause is not None and clause.item is not None and not clause.has_numbers
    if last > index and at_edge(state, index - 1) and not waits:
        leads = _is_of_what_follows(state, last)
        heads = leads or kind_at(state, last + 1) in ("cue", "pause", "end")
    else:
        leads, heads = False, False
    follows = first < index and at_edge(state, last + 1) and (clause is None or clause.talked)
    if not (heads or follows):
        return False
    astray = _astray(state, index, leads=leads)
    if clause is not None and clause.has_numbers and not leads:
        own = not clause.talked if heads else not at_edge(state, first - 1)
        if own and clause.place is None and clause.item_id is not None:
            sentence = f"“{astray.heard}” was heard after it beside talk; were these there?"
            clause.questions.append(doubt(sentence))
    elif leads:
        close(state)
    elif clause is None and kind_at(state, last + 1) == "end":
        state.done.append(Read(None, True, state.pieces[first].start))  # "<talk> on the Mayo | …"
    state.astray = astray
    return True


def _astray(state: State, index: int, *, leads: bool = False) -> Astray:
    cue = state.pieces[index]
    heard = " ".join(words_of(state.doc, cue))
    return Astray(cue.label.partition(" ")[2], heard, cue.start, leads)


def _talk_beside(state: State, index: int) -> tuple[int, int]:
    """The first and last piece of the talk that stands on both sides of a piece."""
    first = last = index
    while kind_at(state, first - 1) == "talk":
        first -= 1
    while kind_at(state, last + 1) == "talk":
        last += 1
    return first, last


def _leads(state: State, index: int, clause: Clause) -> bool:
    """Whether a place stands before what it is the place of, though a count is under way."""
    if not _is_of_what_follows(state, index):
        return False
    first = at_edge(state, index - 1)
    place_first = clause.place is not None and clause.has_numbers and not clause.place_closes
    if not (first or place_first):
        return False
    # "kellys | on the Mayo two": the number that kellys waited for
    waits = clause.item is not None and not clause.has_numbers and not clause.talked
    return not waits or names_ahead(state, index + 1)


def _is_of_what_follows(state: State, index: int) -> bool:
    following = kind_at(state, index + 1) in ("item", "run", "part")
    moved = cue_at(state, index + 1, "ADD verb", "REMOVE verb") and kind_at(state, index + 2) in (
        "item",
        "run",
    )
    # "on the Mayo adding needles two"
    return following or moved or cue_at(state, index + 1, "PACK", "PAIR", "BAG")


def names_ahead(state: State, index: int) -> bool:
    """Whether an item or part is named in the same utterance from ``index`` on."""
    at = index
    while not at_edge(state, at):
        if kind_at(state, at) in ("item", "part"):
            return True
        at += 1
    return False


_STANDS = ("PLACE mayo_stand", "PLACE back_table")


def goes_on_setting_up(state: State, index: int) -> bool:
    """Whether the item after a pause is named for the stand that was: "on the Mayo | adson | metz".

    Outside counts, and without a number.
    """
    verb = state.verb
    if verb is None or verb.place not in LAID_OUT or verb.kind is not EventKind.COUNT:
        return False
    after = kind_at(state, index + 2)
    alone = after in ("item", "end", "pause") or cue_at(state, index + 2, "DIRECTION")
    return state.scene.phase is None and kind_at(state, index + 1) == "item" and alone


def settle_set_up(state: State) -> None:
    """ "Put the metz on the Mayo", "back table: laps, needles": how a set-up is told.

    The verbs, and a stand named first, are talk where no item and place go with them, or a number.
    """
    index = 0
    while index < len(state.pieces):
        piece = state.pieces[index]
        if cue_at(state, index, "DIRECTION") and cue_at(state, index + 1, *_STANDS):
            # "kelly clamps, curve down, on the Mayo": the place goes with the item
            state.pieces[index : index + 2] = [state.pieces[index + 1], piece]
        elif piece.kind == "cue" and piece.label == "SET":
            if _sets_up(state, index):
                del state.pieces[index]
                continue
            state.pieces[index] = replace(piece, kind="stranger")
        elif piece.kind == "cue" and piece.label.startswith("HEADS"):
            first = at_edge(state, index - 1)
            heads = first and kind_at(state, index + 1) == "item"
            place = replace(piece, label=piece.label.replace("HEADS", "PLACE"))
            state.pieces[index] = place if heads else replace(piece, kind="stranger")
        index += 1


def _sets_up(state: State, index: int) -> bool:
    first, last = index, index + 1
    while not at_edge(state, first - 1):
        first -= 1
    while not at_edge(state, last):
        last += 1
    said = state.pieces[first:last]
    kinds = {piece.kind for piece in said}
    places = [piece for piece in said if piece.label in _STANDS]
    return "item" in kinds and bool(places) and not kinds & {"run", "stranger", "talk"}


def on_floor(state: State, index: int) -> int:
    """ "Two needles on the floor": no place to count at, and never passed over."""
    clause = state.clause
    if clause is None or clause.item is None or not clause.has_numbers or clause.talked:
        hear_talk(state, state.pieces[index])
        return index + 1
    clause.questions.append(doubt("“On the floor” was heard; is it all of them, or some?"))
    clause.end = max(clause.end, state.pieces[index].end)
    clause.after = clause.after or "pause"  # what follows does not make it talk
    return index + 1


def settle_taking(state: State) -> None:
    """ "Taking" is talk where it does not go on as "two laps out of the wound"."""
    for index, piece in enumerate(state.pieces):
        if piece.kind != "cue" or piece.label != "TAKE":
            continue
        at = index + 1
        while kind_at(state, at) in ("run", "item") or cue_at(state, at, "PACK", "PAIR"):
            at += 1
        if not cue_at(state, at, "REMOVE wound"):
            state.pieces[index] = replace(piece, kind="stranger")


def on_taking(state: State, index: int) -> int:
    """ "Taking two laps out of the wound"."""
    close(state)
    before = talk_before(state, index)
    state.verb = Verb(EventKind.REMOVAL, state.pieces[index].start, before, place=WOUND)
    return index + 1


def on_out_of_wound(state: State, index: int) -> int:
    """ "Two laps out of the wound": off the packed ones, not off the count."""
    cue = state.pieces[index]
    clause = state.clause
    bare = words_of(state.doc, cue) in (["out"], ["coming", "out"])
    if bare and not _is_told_of_item(state, index):
        hear_talk(state, cue)
        return index + 1
    if bare and clause is not None:
        one_if_single(state, clause)
    if clause is not None and clause.item is not None and not clause.talked:
        if bare:
            clause.questions.append(doubt("Out of what was not heard; the wound was taken."))
        clause.kind, clause.verb, clause.place = EventKind.REMOVAL, True, WOUND
        clause.end = max(clause.end, cue.end)
    elif clause is None and kind_at(state, index + 1) in ("item", "run"):
        before = talk_before(state, index)
        state.verb = Verb(EventKind.REMOVAL, cue.start, before, place=WOUND)
    return index + 1


def _is_told_of_item(state: State, index: int) -> bool:
    """Whether an utterance ends with what became of an item: "two laps out", "lap going in"."""
    clause = state.clause
    if clause is None or clause.item is None or clause.talked or not at_edge(state, index + 1):
        return False
    if clause.has_numbers:
        return True
    start = clause.item.start
    if clause.before == "stranger" and start and state.doc[start - 1].lower_ in ("all", "both"):
        clause.before = None  # "all laps are out"
    return kind_at(state, index - 1) == "item" and clause.before is None


def one_if_single(state: State, clause: Clause) -> None:
    """Take an item in the singular without a number for one, and ask."""
    item = clause.item
    if item is None or clause.has_numbers or plural(state.scene, item):
        return
    clause.entries.append(Piece("pack", "one 1", item.start, item.end))
    name = state.kit.item(item.label).label
    clause.questions.append(doubt(f"{name} was heard without a number; is it one?"))


def on_inward(state: State, index: int) -> int:
    """ "Two laps going in": into what has to be asked."""
    cue = state.pieces[index]
    clause = state.clause
    told = _is_told_of_item(state, index) or (
        # "one lap tucked under the retractor"
        clause is not None and kind_at(state, index - 1) == "item" and clause.before is None
    )
    paused = kind_at(state, index - 1) == "pause"
    if clause is None or not told or paused or clause.place is not None:
        hear_talk(state, cue)
        return index + 1
    one_if_single(state, clause)
    clause.questions.append(doubt("Into what was not heard; the wound was taken."))
    clause.place, clause.place_closes = WOUND, True
    clause.end = max(clause.end, cue.end)
    clause.after = clause.after or "pause"  # what follows does not make it talk
    return index + 1


def on_unpacked(state: State, index: int) -> int:
    """ "All packing is out": of what, and how many, has to be asked."""
    cue = state.pieces[index]
    if talk_before(state, index) is not None or not at_edge(state, index + 1):
        hear_talk(state, cue)
        return index + 1
    close(state)
    heard = " ".join(words_of(state.doc, cue))
    question = ask(QuestionCode.NO_ITEM, f"“{heard}” was heard; of what, and how many?")
    emit(
        state,
        cue.start,
        cue.end,
        questions=[question],
        kind=EventKind.REMOVAL,
        place=WOUND,
    )
    return index + 1


def inherit_item(state: State, clause: Clause) -> None:
    """Give a number with a place the item that was counted before it: "… two on the Mayo"."""
    if clause.item is not None or clause.inherited is not None or state.last_item is None:
        return
    # "strike that | <talk> on the mayo one": what was struck may have had a wrong name
    if clause.before == "talk" and (state.before.struck or state.before.unnamed is not None):
        return
    clause.inherited = state.last_item
    # "blade on the field one | <talk> on the Mayo one": another item may have been named there
    if not state.last_placed or clause.before in ("talk", "stranger"):
        clause.questions.append(no_item_named(state, state.last_item))


def _put(state: State, clause: Clause, place: str, end: int) -> None:
    said_before = clause.has_numbers and clause.place not in (None, place)
    if said_before:
        sentence = f"Two places were heard, {_said(clause.place)} and {_said(place)}."
        clause.questions.append(doubt(sentence))
    inherit_item(state, clause)
    if place == WOUND and clause.item is not None and not clause.has_numbers:
        if is_asked(state, clause.item):
            state.clause = None  # "is there a lap in the wound"
            return
        _ask_if_one(state, clause, clause.item, end)
    clause.place, clause.place_closes = place, clause.has_numbers
    clause.end = max(clause.end, end)
    clause.after = clause.after or "pause"  # what follows does not make it talk
    state.last_placed = True
    if clause.item is None and clause.inherited is None:
        state.clause = None  # "one on the table": nothing that is counted
        state.last_placed = False


def _ask_if_one(state: State, clause: Clause, item: Piece, end: int) -> None:
    """ "There's a lap in the wound": one, or only spoken of."""
    over = end >= len(state.doc) or state.doc[end].lower_ == BREAK
    if not over or clause.talked or clause.before is not None:
        return
    if plural(state.scene, item) or state.verb is not None:
        return
    clause.entries.append(Piece("pack", "one 1", item.start, item.end))
    name = state.kit.item(item.label).label
    clause.questions.append(doubt(f"{name} in the wound was heard without a number; is it one?"))


def _said(place: str | None) -> str:
    return (place or "").replace("_", " ")
