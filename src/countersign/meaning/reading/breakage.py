"""Breakage: "needle broken in two pieces", "umbilical tape cut in two", "blade broke"."""

from countersign.meaning.event import EventKind, Question, QuestionCode
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.clause import Clause, clause_numbers
from countersign.meaning.reading.closing import close, finish
from countersign.meaning.reading.items import is_asked
from countersign.meaning.reading.names import cut_name
from countersign.meaning.reading.state import Read, State, at_edge, cue_at, kind_at, piece_at
from countersign.meaning.reading.talk import hear_talk
from countersign.meaning.scene import low_confidence, make_event
from countersign.number_words import spell

_NUMBERS = {spell(number): number for number in range(2, 7)} | {"half": 2, "halves": 2}


def on_broken(state: State, index: int) -> int:
    """An item is in pieces: the one before the phrase, or the one after it."""
    cue = state.pieces[index]
    if cue.label == "BROKEN sure":
        pieces, after = number_in(state, cue), index + 1
    else:
        pieces, after = None, index + 1
    clause = state.clause
    following = piece_at(state, after)
    begins = at_edge(state, index - 1) and kind_at(state, after) == "item"
    item = clause.item if clause is not None and not clause.talked and not begins else None
    if item is None and following is not None and following.kind == "item":
        item, after = following, after + 1
    elif clause is not None:
        item = clause.item
    if pieces is None:
        pieces, after = _pieces_behind(state, after)
    questions: list[Question] = []
    item_id = item.label if item is not None else None
    if item is None:
        if cue.label != "BROKEN sure" or clause is not None:
            hear_talk(state, cue)
            return index + 1
        item_id = state.last_item
        if item_id is None:
            sentence = f"“{' '.join(words_of(state.doc, cue))}” was heard, but not what."
            questions.append(ask(QuestionCode.NO_ITEM, sentence))
        else:
            name = state.kit.item(item_id).label
            questions.append(doubt(f"What broke was not named; {name} was taken."))
    elif is_asked(state, item):
        state.clause = None
        hear_talk(state, cue)
        return after
    start = min(cue.start, item.start if item is not None else cue.start)
    if clause is not None and item is clause.item:
        start = _leave(state, clause, start, questions)
    else:
        close(state)
    if clause is not None and item is clause.item and clause.talked:
        name = state.kit.item(item.label).label if item is not None else "nothing"
        questions.append(doubt(f"Talk was heard before the breakage; {name} was taken."))
    if item is not None:
        questions += cut_name(state.scene, item)
    if pieces is None:
        sentence = "Something broke, but not into how many pieces was heard."
        questions.append(ask(QuestionCode.NO_QUANTITY, sentence))
    end = state.pieces[after - 1].end
    matter = range(start, end)
    questions += low_confidence(state.scene, matter)
    event = make_event(
        state.scene,
        start,
        end,
        matter=matter,
        questions=questions,
        kind=EventKind.BREAKAGE,
        item=item_id,
        quantity=pieces,
        unit="each" if pieces is not None else None,
    )
    # "the needle broke | in two pieces"
    open_end = pieces is None and kind_at(state, after) == "end"
    state.done.append(Read(event, open_end, start))
    state.taken.update(matter)
    state.last_item = item_id
    return after


def _leave(state: State, clause: Clause, start: int, questions: list[Question]) -> int:
    """Turn the open count into the item that broke; gives where the words begin."""
    values = [number.value for number in clause_numbers(state.scene, clause)]
    if values and values != [1]:
        close(state)  # "needles six, one broken in two": a count, and a breakage of the same item
        questions.append(doubt("Numbers were heard before the breakage; it may be another item."))
        return start
    if clause.displaced is not None:
        finish(state, clause.displaced)
    if clause.kind is not EventKind.COUNT:
        questions.append(doubt(f"The breakage was heard after a verb of {clause.kind.value}."))
    state.clause = None
    return clause.start


def number_in(state: State, cue: Piece) -> int | None:
    """The number of pieces that a cue says."""
    found = [_NUMBERS[word] for word in words_of(state.doc, cue) if word in _NUMBERS]
    return found[0] if found else None


def _pieces_behind(state: State, index: int) -> tuple[int | None, int]:
    """ "… two pieces", also after a pause, and where it ends."""
    at = index + (kind_at(state, index) == "pause")
    if cue_at(state, at, "PIECES", "HALF"):
        return number_in(state, state.pieces[at]), at + 1
    return None, index
