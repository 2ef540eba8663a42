"""A second voice that repeats what was counted: one count, not two.

One person counts aloud, the other repeats it (common practice, no source). A repeat in an utterance
of its own, right after a complete count, adds nothing where it agrees and is asked about where it
does not. Voices are not told apart: that it is a repeat is taken from the words and from how soon
they come. What was added or removed and is said again with its verb is a line of its own that is
asked about: it may be done twice.
"""

from dataclasses import dataclass

from countersign.meaning.event import EventKind, Question, QuestionCode
from countersign.meaning.pieces import numbers_of
from countersign.meaning.questions import ask, said
from countersign.meaning.reading.clause import Clause, clause_numbers
from countersign.meaning.reading.count_place import WOUND
from countersign.meaning.reading.packs import pack_quantity
from countersign.meaning.reading.state import REPEAT_S, State, at_edge, kind_at
from countersign.meaning.scene import plural
from countersign.number_words import spell

_REPEATED = (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL, EventKind.CORRECTION)


@dataclass(frozen=True)
class _Again:
    """A number said again: of the same item, ``alone`` without anything else, up to ``end``."""

    number: int
    alone: bool
    end: int


def reads_back(state: State, clause: Clause, index: int) -> int | None:
    """Where an utterance ends that begins at ``index`` and only repeats the open count.

    It is the number, perhaps with the item, its part and its place, and nothing else. A number
    alone stays with a count that may go on.
    """
    again = _said_again(state, clause, index)
    if again is None or again.number != _quantity(state, clause):
        return None
    if again.alone and not _is_over(state, clause):
        return None
    said_tokens = range(state.pieces[index].start, state.pieces[again.end - 1].end)
    state.taken.update(said_tokens)
    return again.end


def disagrees(state: State, clause: Clause, index: int) -> Question | None:
    """What to ask where the pieces repeat the open count with another number."""
    again, quantity = _said_again(state, clause, index), _quantity(state, clause)
    if again is None or quantity is None or again.number == quantity:
        return None
    if clause.kind is EventKind.REMOVAL and clause.place == WOUND and not again.alone:
        return None  # "two laps out of the wound | laps five": they are counted again
    several = len(clause_numbers(state.scene, clause)) > 1 or quantity == 1
    if again.alone and again.number > quantity and several and not _is_over(state, clause):
        return None  # the next number of a count spoken slowly, or one was skipped
    if again.alone and again.number == 1 and any(e.kind == "pack" for e in clause.entries):
        return None  # the pack is counted out
    sentence = f"{said(quantity)} was counted, then {spell(again.number)} was said of the same."
    return ask(QuestionCode.READ_BACK_DISAGREES, sentence)


def _is_over(state: State, clause: Clause) -> bool:
    """Whether the count cannot go on with a number alone."""
    numbers = [entry.kind for entry in clause.entries if entry.kind in ("run", "pack")]
    if clause.place_closes or clause.number_first or numbers[-1:] == ["pack"]:
        return True
    if clause.item is None or _quantity(state, clause) != 1:
        return False
    return not plural(state.scene, clause.item)  # "penrose one | one"


def _said_again(state: State, clause: Clause, index: int) -> _Again | None:
    """The single number that the utterance at ``index`` says of the open count's item."""
    if kind_at(state, index - 1) != "pause" or state.verb is not None:
        return None
    name = clause.item_id
    if name is None or not clause.has_numbers or clause.talked or clause.total_next:
        return None
    if clause.kind not in _REPEATED or any(entry.kind == "restart" for entry in clause.entries):
        return None
    own = {"item": name, "part": clause.part}
    if not (clause.kind is EventKind.REMOVAL and clause.place == WOUND):
        own["cue"] = f"PLACE {clause.place}"
    found: dict[str, int] = {}
    at = index
    while not at_edge(state, at):
        piece = state.pieces[at]
        if piece.kind in found or (piece.kind != "run" and own.get(piece.kind) != piece.label):
            return None
        found[piece.kind] = at
        at += 1
    if "run" not in found:
        return None
    heard = state.scene.heard
    gap = heard[state.pieces[index].start].start_s - heard[clause.end - 1].end_s
    numbers = numbers_of(state.doc, state.pieces[found["run"]])
    if len(numbers) != 1 or gap > REPEAT_S:
        return None
    return _Again(numbers[0], len(found) == 1, at)


def _quantity(state: State, clause: Clause) -> int | None:
    totals = [entry for entry in clause.entries if entry.label == "total"]
    if totals:
        said_last = numbers_of(state.doc, totals[-1])[-1:]
        return said_last[0] if said_last else None  # a total beyond any count has no number
    packs = [entry for entry in clause.entries if entry.kind == "pack"]
    numbers = clause_numbers(state.scene, clause)
    if packs:
        whole = len(numbers) == 1
        return pack_quantity(state.scene, clause.item, packs[0])[0] if whole else None
    return numbers[-1].value if numbers else None
