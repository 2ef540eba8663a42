"""Speech that is no part of the count, and items and numbers that are named in passing."""

from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import (
    SHORTEST_SEQUENCE,
    Clause,
    follows_at_once,
    last_number,
)
from countersign.meaning.reading.state import State, at_edge, cue_at, kind_at, talk_before
from countersign.meaning.scene import plural


def hear_talk(state: State, piece: Piece) -> None:
    """Talk ends a verb and parts the numbers of a count."""
    state.verb = None
    clause = state.clause
    if clause is None:
        return
    if clause.after is None and clause.end:
        clause.after = "talk" if piece.kind == "talk" else "stranger"
        clause.cut_off = piece.kind == "talk" and follows_at_once(state.scene, clause, piece)
    clause.talked = True
    clause.entries.append(Piece("pause", "", piece.start, piece.end))


_NOT_FULL = frozenset({"only", "short", "missing", "extra", "over", "incomplete"})


def ask_if_full(state: State, index: int) -> None:
    """Ask about a pack where what is said right after it may be that it is short or over."""
    clause = state.clause
    if clause is None or not clause.entries or clause.entries[-1].kind != "pack":
        return
    at = index + 1
    while not at_edge(state, at):
        at += 1
    start = state.pieces[index].end
    end = state.pieces[at].start if at < len(state.pieces) else len(state.doc)
    words = [token.lower_ for token in state.doc[start:end]]
    if _NOT_FULL.intersection(words):
        heard = " ".join(words)
        clause.questions.append(doubt(f"“{heard}” was heard right after the pack; is it full?"))


def on_talk(state: State, index: int) -> int:
    """A word or stretch of talk; a bare "free" behind "one two" may be "three"."""
    piece, clause = state.pieces[index], state.clause
    free = words_of(state.doc, piece) == ["free"] and state.scene.heard[piece.start].is_sound
    if clause is not None and free and at_edge(state, index + 1):
        _ask_if_three(state, clause)
    hear_talk(state, piece)
    return index + 1


def _ask_if_three(state: State, clause: Clause) -> None:
    if last_number(state.scene, clause) == 2:
        clause.questions.append(doubt("Heard “free”, which sounds like “three”."))


def stranger_at(state: State, index: int) -> bool:
    """Whether an unknown word stands there, or a "more" that adds nothing."""
    if cue_at(state, index, "MORE"):
        return kind_at(state, index + 1) not in ("item", "run")
    return kind_at(state, index) == "stranger"


def number_in_passing(state: State, index: int, piece: Piece, following: int) -> bool:
    """Whether a number in the middle of a count is part of talk and not of the count."""
    clause = state.clause
    if clause is None or clause.total_next or piece.kind != "run":
        return False
    verb = state.verb is not None and state.verb.before == "stranger"
    before = talk_before(state, index) == "stranger" or verb
    then = following + (kind_at(state, following) == "item")
    after = stranger_at(state, then)
    straight = kind_at(state, index - 1) == "item" and not clause.has_numbers
    if not (before or after) or (straight and not before):
        return False
    if clause.displaced is not None:
        _ask_if_it_goes_on(state, clause.displaced, piece)
    last = last_number(state.scene, clause)
    numbers = numbers_of(state.doc, piece, last)
    if numbers[:1] == [1] and len(numbers) >= SHORTEST_SEQUENCE:
        return len(numbers) == SHORTEST_SEQUENCE
    rising = last is not None and numbers == list(range(last + 1, last + 1 + len(numbers)))
    if not numbers or not rising or then != following:
        _ask_if_it_goes_on(state, clause, piece)
        return True
    if len(numbers) == 1 and before and after:
        return True
    if len(numbers) == 1:
        _ask_if_it_goes_on(state, clause, piece)
    return False


def _ask_if_it_goes_on(state: State, clause: Clause, piece: Piece) -> None:
    """Ask about numbers amid talk that have in them the one that was to come next."""
    last = last_number(state.scene, clause)
    if last is not None and last + 1 in numbers_of(state.doc, piece, last):
        heard = " ".join(words_of(state.doc, piece))
        sentence = f"“{heard}” was heard amid other talk; it may belong to the count or not."
        clause.questions.append(doubt(sentence))


def item_in_passing(state: State, index: int) -> bool:
    """Whether an item in the middle of a count is part of talk: it does not end the count."""
    clause = state.clause
    if clause is None or not (clause.has_numbers or clause.item is not None):
        return False
    if kind_at(state, index + 1) == "run":
        numbers = numbers_of(state.doc, state.pieces[index + 1])
        counts = numbers[:1] == [1] and len(numbers) >= SHORTEST_SEQUENCE
        sure = state.scene.phase is not None and plural(state.scene, state.pieces[index])
        return stranger_at(state, index + 2) and not counts and not sure
    if clause.item is None and not clause.talked:
        return False  # the item that the numbers were for
    return talk_before(state, index) == "stranger" or stranger_at(state, index + 1)
