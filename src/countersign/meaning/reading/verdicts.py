"""Verdicts: "count is correct", "we're missing a needle", "recount the laps"."""

from dataclasses import replace

from countersign.kit.model import Group
from countersign.meaning.cues import GROUP_WORDS, PHASE_WORDS
from countersign.meaning.event import EventKind, Phase, Question, Verdict
from countersign.meaning.numbers import is_number_word
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.amid import amid_talk
from countersign.meaning.reading.closing import close, emit, open_clause
from countersign.meaning.reading.groups import await_number, group_total
from countersign.meaning.reading.state import (
    State,
    at_edge,
    cue_at,
    events_of,
    is_alone,
    kind_at,
    piece_at,
)
from countersign.meaning.reading.talk import hear_talk


def on_verdict(state: State, index: int) -> int:
    """A verdict, with the group or item before or after it."""
    cue = state.pieces[index]
    _ask_if_the(state, index)
    close(state)
    group = group_in(state, cue)
    item = None
    start = index
    previous = piece_at(state, index - 1)
    if group is None and previous is not None and previous.kind == "group":
        group, start = Group(previous.label), index - 1
    following = piece_at(state, index + 1)
    after = index + 1
    if following is not None and following.kind == "group":
        group, after = Group(following.label), index + 2
    elif following is not None and following.kind == "item" and cue.label != "VERDICT correct":
        item = following.label
        group, after = state.kit.item(item).group, index + 2
    verdict(state, cue, start, group, item=item, last=after - 1)
    if item is not None and cue.label == "VERDICT recount":
        # "recount the laps | one two three": the numbers are of what is counted again
        named = state.pieces[index + 1]
        clause = open_clause(state, index + 1)
        clause.item, clause.end, clause.soft = named, named.end, True
        state.last_item, state.last_placed = item, False
    return after


def _ask_if_the(state: State, index: int) -> None:
    """ "Needles one two | three count is off": what "the" is heard as goes on with the count."""
    clause = state.clause
    alone = kind_at(state, index - 1) == "run" and at_edge(state, index - 2)
    if clause is None or not alone or at_edge(state, index - 1):
        return
    heard = " ".join(words_of(state.doc, state.pieces[index - 1]))
    sentence = f"“{heard}” was heard right before the verdict; it could be “the”."
    clause.questions.append(doubt(sentence))


def on_denied(state: State, index: int) -> int:
    """ "No, it's not", right after a verdict and with nothing else: the count is not correct."""
    cue = state.pieces[index]
    events = events_of(state)
    after = events[-1].kind is EventKind.VERDICT if events else state.before.after_verdict
    if not (after and is_alone(state, index)) or state.clause is not None:
        hear_talk(state, cue)
        return index + 1
    emit(state, cue.start, cue.end, kind=EventKind.VERDICT, verdict=Verdict.NOT_CORRECT)
    return index + 1


def settle_missing(state: State) -> None:
    """In "laps one two three missing" the number goes with those before it."""
    for index, piece in enumerate(state.pieces):
        if piece.label != "VERDICT not_correct" or kind_at(state, index - 1) != "run":
            continue
        number = state.doc[piece.start]
        run = state.pieces[index - 1]
        if run.end == piece.start and is_number_word(number.lower_):
            number._.number = number.lower_
            state.pieces[index - 1] = replace(run, end=piece.start + 1)
            rest = Piece("stranger", "VERDICT", piece.start + 1, piece.end)
            state.pieces[index] = rest


def settle_again(state: State) -> None:
    """ "Count the laps again" asks for a recount of them."""
    for index, piece in enumerate(state.pieces):
        if piece.kind != "item" or not cue_at(state, index + 1, "RESTART"):
            continue
        again = state.pieces[index + 1]
        at = piece.start - 1
        at -= at >= 0 and state.doc[at].lower_ in ("the", "our", "my")
        told = at >= 0 and state.doc[at].lower_ in ("count", "recount")
        begins = at_edge(state, index - 1)
        if told and begins and words_of(state.doc, again) == ["again"]:
            cue = Piece("cue", "VERDICT recount", at, again.end)
            state.pieces[index : index + 2] = [cue, piece]


def on_query(state: State, index: int) -> int:
    """A question for the verdict is none, but it ends the count."""
    close(state)
    return index + 1


def on_group(state: State, index: int) -> int:
    """A count group alone is talk, with a verdict ("sharps are correct") it is not."""
    if kind_at(state, index + 1) == "cue" and cue_at(state, index + 1, "BARE"):
        close(state)
        group = Group(state.pieces[index].label)
        verdict(state, state.pieces[index + 1], index, group)
        return index + 2
    after = group_total(state, index)
    if after is not None:
        return after
    hear_talk(state, state.pieces[index])
    await_number(state, index)
    return index + 1


def group_in(state: State, piece: Piece) -> Group | None:
    """The count group that is named inside a phrase."""
    words = words_of(state.doc, piece)
    return next((GROUP_WORDS[word] for word in words if word in GROUP_WORDS), None)


def phase_in(state: State, piece: Piece) -> Phase | None:
    """The phase that is named inside a verdict ("final sharps count is correct")."""
    words = words_of(state.doc, piece)
    if "count" not in words and "counts" not in words:
        return None
    return next((phase for word, phase in PHASE_WORDS.items() if word in words), None)


_IS = frozenset({"is", "are", "was", "were", "do", "does", "did"})


def _name_goes_on(state: State, item: str, last: int) -> list[Question]:
    """A question where another word touches a name: "recount the needles holder"."""
    named, after = state.pieces[last], piece_at(state, last + 1)
    if after is None or after.kind != "stranger" or after.start != named.end:
        return []
    heard = " ".join(words_of(state.doc, after))
    return [doubt(f"“{heard}” was heard right after {state.kit.item(item).label}; is it that?")]


def verdict(
    state: State,
    cue: Piece,
    first: int,
    group: Group | None,
    *,
    item: str | None = None,
    last: int | None = None,
) -> None:
    """Add a verdict: ``first`` and ``last`` are the outer pieces that belong to it."""
    at = state.pieces.index(cue)
    questions = amid_talk(state, min(first, at), max(at, last or 0), alone=True)
    if item is not None and last is not None:
        questions += _name_goes_on(state, item, last)
    words = words_of(state.doc, cue)
    bare = "not" in words and not _IS.intersection(words)
    if bare and state.scene.heard[cue.start].is_sound:
        # "counts not correct" is what "counts are correct" was heard as
        questions.append(doubt(f"Heard “{' '.join(words)}”; it could be that they are."))
    phase = phase_in(state, cue)
    if cue.label == "VERDICT correct" and group is None:
        state.scene.phase = None
    emit(
        state,
        min(cue.start, state.pieces[first].start),
        max(cue.end, state.pieces[last].end if last is not None else 0),
        questions=questions,
        kind=EventKind.VERDICT,
        verdict=Verdict(cue.label.partition(" ")[2]),
        item=item,
        phase=phase,
        group=group.value if group else None,
    )
