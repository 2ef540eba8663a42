"""Something was found: "found the needle", "the lap was found", "we found it".

It is a remark on what is searched for. It adds nothing and closes nothing: only a count that agrees
does that. With a number, or without an item, it is asked about.
"""

from countersign.kit.model import Kit
from countersign.meaning.event import EventKind, Phase, Question, QuestionCode, Verdict
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.closing import note
from countersign.meaning.reading.items import is_asked
from countersign.meaning.reading.state import (
    State,
    at_edge,
    cue_at,
    item_before,
    kind_at,
)
from countersign.meaning.words import BREAK

_DENIES = frozenset(
    """
    not no never nobody haven't hasn't hadn't didn't don't can't couldn't wasn't isn't if have has
    did who when until once you where can could
    """.split()
)
"""Words before "found" after which nothing was: "have you found it", "we haven't found it"."""


def settle_found(state: State) -> None:
    """Put what was found and what says so into one piece; elsewhere "found" only fills."""
    index = 0
    while index < len(state.pieces):
        if not cue_at(state, index, "FOUND"):
            index += 1
            continue
        bounds = _bounds(state, index)
        if bounds is None:
            index = _pass_over(state, index)
            continue
        first, last = bounds
        start, end = state.pieces[first].start, state.pieces[last].end
        items = [piece.label for piece in state.pieces[first : last + 1] if piece.kind == "item"]
        label = items[0] if items else ""
        runs = [piece for piece in state.pieces[first : last + 1] if piece.kind == "run"]
        numbers = numbers_of(state.doc, runs[0]) if runs else []
        number = str(numbers[-1]) if numbers else ""
        piece = Piece("cue", f"FOUND_ITEM {label} {number}", start, end)
        state.pieces[first : last + 1] = [piece]
        index = first + 1


def _pass_over(state: State, index: int) -> int:
    """Take a "found" for the word before a count ("I found five laps"), or for talk."""
    cue = state.pieces[index]
    first = index
    if _is_denied(state, index) and kind_at(state, index - 1) == "item":
        first = index - 1  # "has the needle been found": the item is part of the question
    elif words_of(state.doc, cue)[-1] == "found":
        del state.pieces[index]
        return index
    talk = Piece("stranger", "", state.pieces[first].start, cue.end)
    state.pieces[first : index + 1] = [talk]
    return first + 1


def _bounds(state: State, index: int) -> tuple[int, int] | None:
    """The first and last piece of what was said to be found, ``None`` if nothing was."""
    if _is_denied(state, index):
        return None
    last = index
    if words_of(state.doc, state.pieces[index])[-1] in ("it", "them"):
        return (index, _to_the_end(state, last)) if at_edge(state, index - 1) else None
    first = index
    if kind_at(state, index - 1) == "item":
        # "one needle was found"
        first = index - 1 - (kind_at(state, index - 2) == "run")
        first -= cue_at(state, first - 1, "BARE not_correct")
        last = _to_the_end(state, last)
        whole = at_edge(state, first - 1) and at_edge(state, last + 1)
        return (first, last) if whole else None
    if not at_edge(state, index - 1):
        return None
    at = index + 1
    if kind_at(state, at) == "run":
        if state.before.phase is Phase.INITIAL:
            return None  # "I found five laps": nothing is searched for yet
        at += 1
    at += cue_at(state, at, "MORE")
    at += kind_at(state, at) == "stranger" or cue_at(state, at, "BARE not_correct")
    if kind_at(state, at) == "item":
        numbered = kind_at(state, at + 1) == "run"
        if numbered and state.before.phase is Phase.INITIAL:
            return None
        return index, _to_the_end(state, at + numbered)
    alone = kind_at(state, index + 1) == "run" and at_edge(state, index + 2)
    return (index, index + 1) if alone else None


def _is_denied(state: State, index: int) -> bool:
    start = state.pieces[index].start
    while start and state.doc[start - 1].lower_ != BREAK:
        start -= 1
    before = {token.lower_ for token in state.doc[start : state.pieces[index].end]}
    own = words_of(state.doc, state.pieces[index])
    asked = kind_at(state, index - 1) == "item" and is_asked(state, state.pieces[index - 1])
    return asked or bool(_DENIES & (before - set(own)))


def _to_the_end(state: State, last: int) -> int:
    """Where it was found, said in the same breath: "… in the drape"."""
    at = last + 1
    while kind_at(state, at) == "stranger" or cue_at(state, at, "PLACE", "FLOOR", "LOCATION"):
        at += 1
    return at - 1 if at_edge(state, at) else last


def note_found(state: State, heard: list[Piece]) -> None:
    """Add a remark for each; a count that is under way goes on."""
    for piece in heard:
        if piece.kind != "cue" or not piece.label.startswith("FOUND_ITEM"):
            continue
        _, label, number = piece.label.split(" ")
        words = " ".join(words_of(state.doc, piece))
        item = label or _searched_for(state, piece.start)
        questions = _questions(state.kit, words, item, named=bool(label), number=bool(number))
        quantity = int(number) if number else None
        unit = "each" if number else None
        note(state, piece, questions=questions, item=item, quantity=quantity, unit=unit)


def _questions(
    kit: Kit, words: str, item: str | None, *, named: bool, number: bool
) -> list[Question]:
    if item is None:
        return [ask(QuestionCode.NO_ITEM, f"“{words}” was heard; what was found?")]
    asked = []
    if not named:
        asked.append(doubt(f"“{words}” was heard without an item; {kit.item(item).label} taken."))
    if number:
        asked.append(doubt(f"“{words}” was noted as found and counts nothing; is it a count?"))
    return asked


def _searched_for(state: State, start: int) -> str | None:
    """The item that was last said to be missing, else the one named last."""
    events = [reading.event for reading in state.done if reading.carry_from < start]
    for event in reversed(events):
        if event is not None and event.kind is EventKind.VERDICT:
            missing = event.verdict is Verdict.NOT_CORRECT
            return event.item if missing and event.item else item_before(state, start)
    return state.before.missing or item_before(state, start)
