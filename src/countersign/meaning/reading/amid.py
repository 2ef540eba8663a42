"""Phrases of a word or two that were heard in the middle of talk: were they said to the count?"""

from countersign.meaning.event import Question
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.state import State, at_edge

_SHORT = 2
"""Phrases of so many words at most are made out of talk by a recogniser (seen on recordings)."""


def utterance_of(state: State, first: int, last: int) -> tuple[list[Piece], list[Piece]]:
    """What was said in the same utterance before the pieces ``first`` to ``last``, and after."""
    start, end = first, last + 1
    while not at_edge(state, start - 1):
        start -= 1
    while not at_edge(state, end):
        end += 1
    return state.pieces[start:first], state.pieces[last + 1 : end]


def amid_talk(state: State, first: int, last: int, *, alone: bool = False) -> list[Question]:
    """A question where a phrase stands amid talk.

    With ``alone`` it is one that is said by itself or after a count: then talk on one side is
    enough, and so are numbers right after it.
    """
    before, after = utterance_of(state, first, last)
    talk_before, talk_after = _has_talk(before), _has_talk(after)
    words = [
        word for piece in state.pieces[first : last + 1] for word in words_of(state.doc, piece)
    ]
    short = len(words) <= _SHORT
    if alone and short:
        numbers = bool(after) and after[0].kind == "run"
        amid = talk_before or talk_after or numbers
    elif alone:
        amid = talk_before and talk_after
    else:
        amid = short and talk_before and talk_after
    if not amid:
        return []
    heard = " ".join(words)
    return [doubt(f"“{heard}” was heard amid other talk; it may not have been said.")]


def _has_talk(pieces: list[Piece]) -> bool:
    return any(piece.kind in ("talk", "stranger") for piece in pieces)
