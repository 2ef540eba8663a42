"""Closing totals ("that's five", "five in all") and counts that start over."""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache

from countersign.kit.phone_distance import nearness
from countersign.kit.pronounce import readings_of
from countersign.meaning.event import Event, EventKind
from countersign.meaning.numbers import split_run
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import SHORTEST_SEQUENCE, Clause, clause_numbers
from countersign.meaning.reading.closing import close
from countersign.meaning.reading.state import (
    State,
    at_edge,
    cue_at,
    events_of,
    kind_at,
    talk_before,
)
from countersign.meaning.reading.talk import hear_talk


def on_total(state: State, index: int) -> int:
    """ "That's five": the number after it is a total."""
    if kind_at(state, index + 1) != "run":
        clause = state.clause
        if clause is not None and not clause.has_numbers and kind_at(state, index + 1) == "talk":
            clause.tried = True  # "kelly clamps total <talk>"
        return index + 1
    cue = state.pieces[index]
    if kind_at(state, index + 2) in ("stranger", "talk"):
        return index + 2 if state.clause is None else index + 1
    if state.clause is None or (state.clause.talked and not state.clause.has_numbers):
        close(state)
        if talk_before(state, index) == "stranger":
            return index + 2
        state.clause = Clause(start=cue.start, carry=cue.start)
    if _of_another(state, state.clause, index):
        sentence = "A total was heard after other talk; it may be of another item."
        state.clause.questions.append(doubt(sentence))
    if cue.label == MISHEARD:
        heard = " ".join(words_of(state.doc, cue))
        state.clause.questions.append(doubt(f"Heard “{heard}”, which sounds like “that's”."))
    state.clause.total_next = True
    state.clause.talked = False
    return index + 1


def _of_another(state: State, clause: Clause, index: int) -> bool:
    """Whether the name of a total may be in the talk that its utterance begins with: a single
    number before it has no need of one ("knife blade one | <talk> total one").
    """
    led = kind_at(state, index - 1) == "talk" and at_edge(state, index - 2)
    return led and len(clause_numbers(state.scene, clause)) == 1


_BEHIND = frozenset({"total", "all", "altogether", "together", "told"})
"""Last words of a total that may stand behind its number: "five in all"."""


def settle_totals(state: State) -> None:
    """In "four five five in all" the last number is not one of those counted."""
    for index in range(len(state.pieces) - 1, -1, -1):
        piece = state.pieces[index]
        named = kind_at(state, index + 1) == "item"
        if piece.kind != "run" or not _is_total_behind(state, index + 1 + named):
            continue
        words = [state.doc[at]._.number for at in range(piece.start, piece.end)]
        found = split_run(words)
        if len(found) > 1 and found[-1][0] != found[-2][0] + 1:
            at = piece.start + found[-1][1]
            state.pieces[index : index + 1] = [replace(piece, end=at), replace(piece, start=at)]


def settle_misheard_totals(state: State) -> None:
    """A name that sounds like "that's" between a sequence and its last number is the total's word.

    "… five six metz six" in one breath; of sound only. The count asks about it.
    """
    for index, piece in enumerate(state.pieces):
        if piece.kind != "item" or not state.scene.heard[piece.start].is_sound:
            continue
        if kind_at(state, index - 1) != "run" or kind_at(state, index + 1) != "run":
            continue
        if not at_edge(state, index + 2):
            continue
        counted = numbers_of(state.doc, state.pieces[index - 1])
        again = numbers_of(state.doc, state.pieces[index + 1])
        words = words_of(state.doc, piece)
        if len(counted) > 1 and again == counted[-1:] and len(words) == 1 and _sounds_like(*words):
            state.pieces[index] = replace(piece, kind="cue", label=MISHEARD)


MISHEARD = "TOTAL misheard"


@cache
def _sounds_like(word: str) -> bool:
    return nearness(readings_of(word), readings_of("that's")) is not None


def _is_total_behind(state: State, index: int) -> bool:
    if not cue_at(state, index, "TOTAL"):
        return False
    if kind_at(state, index + 1) in ("run", "item", "part", "stranger", "talk"):
        return False
    return words_of(state.doc, state.pieces[index])[-1] in _BEHIND


def closes_count(state: State, index: int) -> int | None:
    """Where an utterance's total ends that is said number first: "… four five | five in all".

    ``None`` if the number at ``index`` is none: without a count before it, it is itself the count.
    """
    clause = state.clause
    if clause is not None and _says_total_after_talk(state, clause, index):
        return index + 1
    if clause is None or not clause.has_numbers or clause.talked or clause.total_next:
        return None
    name = clause.item_id
    at = index + 1
    at += kind_at(state, at) == "item" and state.pieces[at].label == name
    return at + 1 if name is not None and _is_total_behind(state, at) else None


def _says_total_after_talk(state: State, clause: Clause, index: int) -> bool:
    """Whether talk at the end of a count hid the words of its total: "four five six <talk> six"."""
    numbers = [number.value for number in clause_numbers(state.scene, clause)]
    if not clause.cut_off or len(numbers) < SHORTEST_SEQUENCE or clause.item is None:
        return False
    alone = kind_at(state, index - 1) == "talk" and at_edge(state, index + 1)
    again = numbers_of(state.doc, state.pieces[index]) == numbers[-1:]
    return alone and again and numbers == list(range(1, len(numbers) + 1))


def counted_elsewhere(state: State, clause: Clause) -> int:
    """How many of the item were counted at other places in a row, right before the open count."""
    name = clause.item_id
    places, found = {clause.place}, 0
    for event in _backwards(state):
        same = event.kind is EventKind.COUNT and event.item == name and event.part == clause.part
        if not same or event.place in (None, *places) or event.quantity is None:
            break
        places.add(event.place)
        found += int(event.quantity)
    return found if clause.place is not None else 0


def _backwards(state: State) -> Iterator[Event]:
    for event in (*reversed(events_of(state)), *reversed(state.before.at_places)):
        if event.kind is not EventKind.REMARK:
            yield event


def on_restart(state: State, index: int) -> int:
    """ "Start over": the numbers before it no longer count."""
    cue = state.pieces[index]
    if talk_before(state, index) == "stranger" and cue.end - cue.start == 1:
        hear_talk(state, cue)  # "let me see the cord again"
        return index + 1
    if state.clause is not None and state.clause.has_numbers:
        state.clause.entries.append(Piece("restart", "", cue.start, cue.end))
        state.clause.talked = False
    return index + 1
