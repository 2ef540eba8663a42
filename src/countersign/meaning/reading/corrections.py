"""Corrections: "strike that", "no, nine", "I mean five laps"."""

from dataclasses import replace

from countersign.meaning.event import EventKind, Question, QuestionCode, Spoken
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import ask, doubt, said
from countersign.meaning.reading.clause import Clause, last_number
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.medications import (
    medication_corrected,
    on_medication_correction,
)
from countersign.meaning.reading.names import cut_name
from countersign.meaning.reading.packs import pack_at
from countersign.meaning.reading.state import (
    State,
    at_edge,
    cue_at,
    is_alone,
    item_before,
    kind_at,
    talk_before,
)
from countersign.meaning.reading.talk import hear_talk

_NAMING = ("the", "those", "these")
"""The last word of a correction that may go on with the name of what is corrected."""
_WRONG = frozenset(
    {"correction", "wrong", "incorrect", "mistake", "error", "fault", "bad", "misspoke"}
    | {"miscounted", "right", "correct"}
)
"""Words that say that something was wrong, though not what is right."""
_ANYTHING = frozenset({"error", "fault", "bad", "mistake", "right", "correct"})
"""Those that are as often said of something else: "that was my fault"."""


def settle_not(state: State) -> None:
    """ "Not" is talk, but between two numbers alone: "not five, ten", "not five but ten", "ten not
    five". Those are put into one piece.
    """
    index = 0
    while index < len(state.pieces):
        piece = state.pieces[index]
        if piece.kind == "cue" and piece.label == "NOT":
            found = _not_and_but(state, index)
            if found is None:
                state.pieces[index] = replace(piece, kind="stranger")
            else:
                index, after = found[2], found[3]
                start, end = state.pieces[index].start, state.pieces[after - 1].end
                label = f"NOT {found[0]} {found[1]}"
                state.pieces[index:after] = [Piece("cue", label, start, end)]
        index += 1


def on_not(state: State, index: int) -> int:
    """ "Not five, ten": the count before is corrected if it is the number that is denied."""
    piece = state.pieces[index]
    denied, meant = (int(word) for word in piece.label.split()[1:])
    clause = state.clause
    last = last_number(state.scene, clause) if clause is not None else None
    name = state.last_item
    questions = []
    if clause is None or name is None or last != denied:
        sentence = f"{said(denied)} was denied, but it is not the number heard last."
        questions.append(ask(QuestionCode.UNCLEAR_CORRECTION, sentence))
    close(state)
    emit(
        state,
        piece.start,
        piece.end,
        questions=questions,
        kind=EventKind.CORRECTION,
        item=name,
        quantity=meant,
        unit="each",
        spoken=Spoken.TOTAL,
    )
    return index + 1


def _not_and_but(state: State, index: int) -> tuple[int, int, int, int] | None:
    """The number that is denied, the one that is meant, and the pieces from and to which they are
    said: all of an utterance.
    """
    after = _numbers_at(state, index + 1)
    if at_edge(state, index - 1):
        if len(after) == 2 and at_edge(state, index + 2):
            return after[0], after[1], index, index + 2
        then = _numbers_at(state, index + 3)
        but = kind_at(state, index + 2) == "stranger"
        but = but and words_of(state.doc, state.pieces[index + 2]) == ["but"]
        if but and len(after) == len(then) == 1 and at_edge(state, index + 4):
            return after[0], then[0], index, index + 4
        return None
    before = _numbers_at(state, index - 1)
    first = index - 1 - cue_at(state, index - 2, "TOTAL", "MEAN")  # "no, ten not five"
    alone = at_edge(state, first - 1) and at_edge(state, index + 2)
    if alone and len(before) == len(after) == 1:
        return after[0], before[0], first, index + 2
    return None


def _numbers_at(state: State, index: int) -> list[int]:
    found = kind_at(state, index) == "run"
    return numbers_of(state.doc, state.pieces[index]) if found else []


def settle_swaps(state: State) -> None:
    """ "Change the laps to six", "laps should be six": a correction that names its item first or in
    the middle. Otherwise "change" and the like are talk.
    """
    for index, piece in enumerate(state.pieces):
        if piece.kind != "cue":
            continue
        if piece.label in ("SWAP", "BARE correct") and _is_correction_cut(state, index):
            state.pieces[index] = replace(piece, label="MEAN firm")
        elif piece.label == "SWAP":
            to = kind_at(state, index + 2) == "stranger"
            to = to and words_of(state.doc, state.pieces[index + 2]) == ["to"]
            named = kind_at(state, index + 1) == "item"
            if named and kind_at(state, index + 2 + to) == "run":
                state.pieces[index] = replace(piece, label="MEAN firm")
                if to:
                    del state.pieces[index + 2]
            else:
                state.pieces[index] = replace(piece, kind="stranger")
        elif piece.label == "MEAN firm" and "should" in words_of(state.doc, piece):
            begins = at_edge(state, index - 2) and kind_at(state, index - 1) == "item"
            if begins and kind_at(state, index + 1) == "run":
                state.pieces[index - 1 : index + 1] = [piece, state.pieces[index - 1]]


def _is_correction_cut(state: State, index: int) -> bool:
    """Whether "correct <talk>", right after an item was counted, may be "correction" and more."""
    piece = state.pieces[index]
    after = state.before.item is not None or any(p.kind == "item" for p in state.pieces[:index])
    alone = at_edge(state, index - 1) and at_edge(state, index + 2)
    cut = words_of(state.doc, piece) == ["correct"] and kind_at(state, index + 1) == "talk"
    return after and alone and cut


def settle_those(state: State) -> None:
    """ "Those were raytecs", alone and right after another item: it may correct that one."""
    for index, piece in enumerate(state.pieces):
        if piece.kind != "cue" or piece.label != "THOSE":
            continue
        item = state.pieces[index + 1].label if kind_at(state, index + 1) == "item" else None
        alone = at_edge(state, index - 1) and at_edge(state, index + 2)
        before = item_before(state, piece.start)
        if item is not None and alone and before not in (None, item):
            state.pieces[index] = replace(piece, label="MEAN firm")
        elif words_of(state.doc, piece)[0] == "no":
            rest = Piece("stranger", "THOSE", piece.start + 1, piece.end)
            no = replace(piece, label="MEAN soft", end=piece.start + 1)
            state.pieces[index : index + 1] = [no, rest]
        else:
            # one stranger to a number beside it: "those were ten raytecs" is asked about
            state.pieces[index] = replace(piece, kind="stranger")


def settle_loose(state: State) -> None:
    """ "Never mind" strikes a line only where nothing else is said; else it is talk."""
    for index, piece in enumerate(state.pieces):
        if piece.kind != "cue" or piece.label != "LOOSE strike":
            continue
        if not is_alone(state, index):
            state.pieces[index] = replace(piece, kind="stranger")


def on_loose(state: State, index: int) -> int:
    """ "Never mind" after a count: it may be about something else."""
    cue = state.pieces[index]
    if state.clause is None and state.last_item is None and not state.after_medication:
        hear_talk(state, cue)
        return index + 1
    close(state)
    heard = " ".join(words_of(state.doc, cue))
    sentence = f"“{heard}” was said after a line; does it strike that?"
    question = ask(QuestionCode.UNCLEAR_CORRECTION, sentence)
    emit(state, cue.start, cue.end, kind=EventKind.CORRECTION, questions=[question])
    return index + 1


def on_correction(state: State, index: int) -> int:
    """A correction: of the last line as a whole, or with the item or number now meant."""
    medication = medication_corrected(state, index, after=state.after_medication)
    if medication is not None:
        return on_medication_correction(state, index, medication)
    cue = state.pieces[index]
    words = words_of(state.doc, cue)
    numbered = words[0] == "make" and kind_at(state, index + 1) == "run"  # "make the ten"
    if words[-1] in _NAMING and kind_at(state, index + 1) != "item" and not numbered:
        counted = _is_counted_next(state, index + 1)
        if words[-1] == "the" and (counted or _is_all_but_talk(state, index, index + 1, most=1)):
            return _strike_cut(state, index)
        hear_talk(state, cue)  # "cancel the order"
        return index + 1
    soft = cue.label == "MEAN soft"
    half = False
    strike = cue.label == "STRIKE"
    at = index + 1
    # "no, I mean", "strike that, correction": one correction
    while cue_at(state, at, "MEAN", "STRIKE"):
        strike = strike or state.pieces[at].label == "STRIKE"
        soft = soft and state.pieces[at].label == "MEAN soft"
        at += 1
    if soft:
        if not _soft_one_corrects(state, index, at):
            # "no needles were lost": the word is talk
            return at - 1 if kind_at(state, at - 1) == "stranger" else at
    elif kind_at(state, at) not in ("run", "item") and not cue_at(state, at, "PACK", "PAIR"):
        leads = not strike and words[-1] in ("that", "it", "to", "mean", "meant")
        half = leads and cue.label == "MEAN firm" and _is_all_but_talk(state, index, at)
        if not half:
            _without_matter(state, index, at, strike=strike)
            return at
    # "cancel the laps" names whose line it is, and nothing was heard wrong
    sure = half or (strike and kind_at(state, at + 1) != "run")
    asked = [] if sure else _about_other_item(state, at)
    if strike and not sure and words[-1] in _NAMING:
        heard = " ".join(words)
        sentence = f"“{heard}” was heard before a count; was something cancelled, or counted anew?"
        asked.append(ask(QuestionCode.UNCLEAR_CORRECTION, sentence))
    corrected = state.clause.item if state.clause is not None else None
    doubted = cut_name(state.scene, corrected) if corrected is not None else []
    close(state)
    clause = Clause(start=cue.start, carry=cue.start, kind=EventKind.CORRECTION, verb=True)
    clause.end = state.pieces[at - 1].end
    clause.questions += asked
    clause.half = half
    named = state.pieces[at].label if kind_at(state, at) == "item" else None
    clause.renumbers = named is not None and not strike and state.last_item in (None, named)
    if state.carried is not None and cue.start <= state.pieces[0].start:
        clause.questions += state.carried.questions
        state.carried = None
    if half or not _item_ahead(state, at):
        clause.inherited = state.last_item
        clause.questions += doubted
        if _talk_since_item(state, index):
            sentence = "Other talk was heard since the last count; this may correct that."
            clause.questions.append(ask(QuestionCode.UNCLEAR_CORRECTION, sentence))
    state.clause = clause
    return at


def _soft_one_corrects(state: State, index: int, at: int) -> bool:
    """Whether "no", "sorry" and the like correct something: what follows has to fit.

    ``at`` is the piece after them.
    """
    same = state.clause is not None or state.last_item is not None
    then = kind_at(state, at + 1)
    match kind_at(state, at):
        case "run":
            single = numbers_of(state.doc, state.pieces[at]) == [1]
            clean = then in ("end", "item", "pause") or (
                then == "cue" and not cue_at(state, at + 1, "MORE")
            )
            return clean and (same or (not single and (then == "item" or not index)))
        case "item":
            counted = then == "run"
            in_talk = talk_before(state, index) is not None
            if same and not in_talk and (counted or then in ("end", "pause")):
                return True
            if not counted:
                state.pieces[at - 1] = replace(state.pieces[index], kind="stranger")
    return False


def _without_matter(state: State, index: int, at: int, *, strike: bool) -> None:
    """A correction that does not say what is now meant."""
    cue = state.pieces[index]
    words = words_of(state.doc, cue)
    follows = kind_at(state, at)
    if strike:
        if follows == "stranger":
            return  # "scratch that itch"
        questions = []
        if kind_at(state, index - 1) in ("run", "talk"):
            # the end of a count can sound like it: "ten eleven", "cancel that"
            heard = " ".join(words_of(state.doc, cue))
            sentence = (
                f"“{heard}” was heard in one breath with what came before; it may be part of it."
            )
            questions = [ask(QuestionCode.UNCLEAR_CORRECTION, sentence)]
        close(state)
        end = state.pieces[at - 1].end
        emit(state, cue.start, end, kind=EventKind.CORRECTION, questions=questions)
    elif _WRONG.intersection(words) and follows in ("end", "pause", "talk"):
        if _ANYTHING.intersection(words) and talk_before(state, index) is not None:
            return
        close(state)
        sentence = "A correction was said, but not what is now meant."
        question = ask(QuestionCode.UNCLEAR_CORRECTION, sentence)
        emit(state, cue.start, cue.end, kind=EventKind.CORRECTION, questions=[question])


def _is_all_but_talk(state: State, index: int, at: int, most: int = 2) -> bool:
    """Whether a correction is all that was understood of an utterance, a number at its end aside,
    right after something that can be corrected. ``at`` is the piece after it.
    """
    after = state.after_medication or state.clause is not None or state.last_item is not None
    if not after or not at_edge(state, index - 1):
        return False
    talk = at
    while kind_at(state, talk) == "talk":
        talk += 1
    number = kind_at(state, talk) == "run" and talk > at
    return talk - at <= most and at_edge(state, talk + number)


def _is_counted_next(state: State, at: int) -> bool:
    """Whether a number and its item, and perhaps their place, are all that follows, right after
    something that was counted: two lines in one breath, "cancel that | one free needle".
    """
    after = state.clause is not None or state.last_item is not None
    line = kind_at(state, at) == "run" and kind_at(state, at + 1) == "item"
    end = at + 2 + cue_at(state, at + 2, "PLACE")
    return after and line and at_edge(state, at - 2) and at_edge(state, end)


def _strike_cut(state: State, index: int) -> int:
    """ "Cancel the", and nothing else: most likely "cancel that"."""
    cue = state.pieces[index]
    heard = " ".join(words_of(state.doc, cue))
    sentence = f"“{heard}” was heard, and not what; is the last line struck?"
    question = ask(QuestionCode.UNCLEAR_CORRECTION, sentence)
    close(state)
    emit(state, cue.start, cue.end, kind=EventKind.CORRECTION, questions=[question])
    return index + 1


def _talk_since_item(state: State, index: int) -> bool:
    """Whether something that was not understood stands between a correction and the last item."""
    at = index - 1
    while at >= 0:
        if state.pieces[at].kind in ("item", "medication"):
            after = state.pieces[at + 1] if kind_at(state, at + 1) == "talk" else None
            return after is not None and state.clause is not None and not state.clause.has_numbers
        if state.pieces[at].kind == "talk" or cue_at(state, at, "PARTLY"):
            return True
        at -= 1
    return state.talk_before


def _about_other_item(state: State, index: int) -> list[Question]:
    """Ask both lines where a correction names another item: one of them was heard wrong, or said
    wrong.
    """
    ahead = index if kind_at(state, index) == "item" else index + 1
    packed = pack_at(state, index)
    if packed is not None:
        ahead = packed[1]
    corrected = state.last_item
    if corrected is None or kind_at(state, ahead) != "item":
        return []
    named = state.pieces[ahead].label
    if named == corrected:
        return []
    names = state.kit.item(corrected).label, state.kit.item(named).label
    question = doubt(f"{names[0]} was corrected to {names[1]}; one of them may be heard wrong.")
    if state.clause is not None and state.clause.item is not None:
        state.clause.questions.append(question)
    return [question]


def _item_ahead(state: State, index: int) -> bool:
    """Whether the correction itself names an item."""
    if kind_at(state, index) == "item":
        return True
    _, following = pack_at(state, index) or (None, index + 1)
    return kind_at(state, following) == "item"
