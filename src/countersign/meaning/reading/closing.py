"""Beginning and ending what is put together: clauses that open and close, events that are done."""

from collections.abc import Sequence
from dataclasses import replace

from countersign.hearing.utterance import TALK
from countersign.meaning.event import Event, EventKind, Question, QuestionCode, Spoken
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.clause import MOVED, Clause
from countersign.meaning.reading.count_event import count_event
from countersign.meaning.reading.count_place import WOUND
from countersign.meaning.reading.state import (
    REPEAT_S,
    Carried,
    Read,
    State,
    counts_go_on,
    cue_at,
    events_of,
    insert,
    item_before,
    no_item_named,
    talk_before,
)
from countersign.meaning.scene import low_confidence, make_event
from countersign.meaning.words import BREAK, UNKNOWN


def open_clause(state: State, index: int) -> Clause:
    """Begin a count at a piece, under the verb that stands before it."""
    piece = state.pieces[index]
    clause = Clause(start=piece.start, carry=piece.start, before=talk_before(state, index))
    if state.verb is not None:
        clause.kind, clause.verb = state.verb.kind, state.verb.kind is not EventKind.COUNT
        clause.place = state.verb.place
        state.last_placed = state.last_placed or clause.place is not None
        clause.before = state.verb.before
        if state.verb.used:
            clause.outside = state.verb.kind
        else:
            clause.start = clause.carry = state.verb.start
        if state.verb.question is not None:
            clause.questions.append(state.verb.question)
        state.verb.used = True
    elif clause.before == "talk" and cue_at(state, index - 2, "ADD verb", "REMOVE verb"):
        # "adding <talk> laps": what stood between was not understood
        adds = cue_at(state, index - 2, "ADD")
        clause.kind = EventKind.ADDITION if adds else EventKind.REMOVAL
        clause.tried = True
        clause.start = clause.carry = state.pieces[index - 2].start
        spoken = " ".join(words_of(state.doc, state.pieces[index - 2]))
        clause.questions.append(doubt(f"Talk was heard after “{spoken}”; it may be about that."))
    if state.carried is not None and clause.start <= state.pieces[0].start:
        clause.before = state.carried.talk or clause.before
        clause.soft, clause.half = state.carried.soft, state.carried.half
        clause.questions += state.carried.questions
        state.carried = None
    _take_place_astray(state, clause)
    laid = _laid_from(state, clause.start)
    clause.amid_counts = laid is None and (counts_go_on(state) or _is_announced(state))
    clause.carry = clause.carry if laid is None else min(clause.carry, laid)
    state.clause = clause
    return clause


def _is_announced(state: State) -> bool:
    """Whether a count was announced in sound, and nothing but remarks was said since."""
    kinds = [event.kind for event in events_of(state)]
    last = [kind for kind in kinds if kind is not EventKind.REMARK][-1:]
    before = state.before
    other = before.after_verdict or before.after_medication or before.set_up is not None
    announced = state.scene.phase is not None and not other and before.item is None
    sound = bool(state.pieces) and state.scene.heard[state.pieces[0].start].is_sound
    return sound and (last == [EventKind.PHASE] if last else announced)


def _take_place_astray(state: State, clause: Clause) -> None:
    """Give a clause the place that was said beside talk before it, or keep it to be asked about."""
    astray, state.astray = state.astray, None
    if astray is None or clause.place is not None:
        return
    if astray.leads:
        clause.place = astray.place
        clause.start = clause.carry = astray.start
        state.last_placed = True
        sentence = f"“{astray.heard}” was heard with talk after it; is it where these were?"
        clause.questions.append(doubt(sentence))
    else:
        clause.astray = astray.heard


def _laid_from(state: State, start: int) -> int | None:
    """Where a verb of setting up before a token in its utterance begins: "put the metz …"."""
    first = start
    while first and state.doc[first - 1].lower_ not in (BREAK, TALK, UNKNOWN):
        first -= 1
    verbs = [span.start for span in state.doc.spans["cues"] if span.label_ == "SET"]
    return next((at for at in verbs if first <= at < start), None)


def close(state: State, *, still_open: bool = False) -> None:
    """End the count that is put together; ``still_open`` if more speech may belong to it."""
    clause, state.clause = state.clause, None
    if clause is None:
        return
    if clause.displaced is not None:
        finish(state, clause.displaced, still_open=still_open)
        labels = {piece.label for piece in (clause.displaced.item, clause.item) if piece}
        if len(labels) == 1 and not clause.has_numbers and not clause.half:
            return  # only said again
    finish(state, clause, still_open=still_open)


def finish(state: State, clause: Clause, *, still_open: bool = False) -> None:
    """Make the event of a clause."""
    if clause.astray is not None and clause.place is None:
        sentence = f"“{clause.astray}” was heard beside talk just before; were these there?"
        clause.questions.append(doubt(sentence))
        clause.astray = None
    event = count_event(state.scene, _with_item(state, clause))
    if event is not None:
        found = _about_what_was_before(state, clause, event)
        # carried, where it was heard in pieces
        new = [question for question in found if question not in clause.questions]
        clause.questions += new
        event = event.model_copy(update={"questions": (*event.questions, *new)})
    in_talk = clause.item is None and "stranger" in (clause.before, clause.after)
    place = clause.place if clause.outside is not None else None
    asked = tuple(clause.questions)
    carried = Carried(clause.outside, clause.before, clause.soft, clause.half, place, asked)
    if event is not None or (still_open and not in_talk):
        state.done.append(Read(event, still_open, clause.carry, carried))
        numbers = [entry for entry in clause.entries if entry.kind in ("run", "pack")]
        tokens = {at for entry in numbers for at in range(entry.start, entry.end)}
        (state.taken if event is not None else state.waiting).update(tokens)


def _with_item(state: State, clause: Clause) -> Clause:
    """The clause with the item named last where none came with a verb: "laps five | adding two".

    Until it is over its own item may still come, so that the clause itself stays without.
    """
    named = clause.item is not None or clause.inherited is not None
    alone = clause.before is None and clause.after in (None, "pause") and not clause.talked
    if named or not alone or not clause.verb or clause.kind not in MOVED:
        return clause
    item = item_before(state, clause.start)
    if item is None or not clause.has_numbers:
        return clause
    questions = [*clause.questions, no_item_named(state, item)]
    return replace(clause, inherited=item, questions=questions)


def _about_what_was_before(state: State, clause: Clause, event: Event) -> list[Question]:
    asked = []
    if _repeats(state, clause, event):
        sentence = "The same was heard just before; this may only repeat it."
        asked.append(ask(QuestionCode.SAID_AGAIN, sentence))
    if _may_correct(state, clause, event):
        asked.append(doubt("Another number of it was heard just before; this may correct that."))
    elif _lost_no(state, clause, event):
        sentence = "A short word was heard before it; with “no” it would be a correction."
        asked.append(doubt(sentence))
    return asked


def _repeats(state: State, clause: Clause, event: Event) -> bool:
    """Whether the same was added or removed just before: it may be done twice, or said twice."""
    before = state.done[-1].event if state.done else None
    if before is None:
        return False
    talk = clause.before == "talk" or _after_talk(state, clause.start)
    if talk and event.kind is EventKind.COUNT:
        return _repeats_in_talk(event, before)
    if event.kind not in MOVED:
        return False
    fields = ("kind", "item", "quantity")
    if any(getattr(event, field) != getattr(before, field) for field in fields):
        return False
    places = {event.place, before.place} - {None}
    two_packs = event.spoken is before.spoken is Spoken.PACK
    soon = event.start_s - before.end_s <= REPEAT_S
    return len(places) < 2 and WOUND not in places and not two_packs and not clause.more and soon


def _after_talk(state: State, start: int) -> bool:
    """Whether the utterance before the one that begins at a token ended in talk."""
    return [token.text for token in state.scene.heard[max(0, start - 2) : start]] == [TALK, BREAK]


def _may_correct(state: State, clause: Clause, event: Event) -> bool:
    """Whether a count right after another number of its item has talk before it: "no" was lost."""
    before = state.done[-1].event if state.done else state.before.unnamed
    if before is None or clause.before != "talk" or event.kind is not EventKind.COUNT:
        return False
    if before.kind not in (EventKind.COUNT, *MOVED) or before.item not in (event.item, None):
        return False
    other = None not in (before.quantity, event.quantity) and before.quantity != event.quantity
    return other and event.place is None and event.start_s - before.end_s <= REPEAT_S


def _lost_no(state: State, clause: Clause, event: Event) -> bool:
    """Whether only a short word of talk leads a name with its number, where there is something to
    correct: the bundled model does not hear the "no" of "no, cautery tip one".
    """
    before = state.before
    heard, at = state.scene.heard, clause.start - 1
    something = bool(state.done) or before.phase is not None or before.item is not None
    named_first = clause.item is not None and clause.item.start == clause.start
    if not something or not named_first or at < 0 or heard[at].text != TALK:
        return False
    if event.kind is not EventKind.COUNT or event.sequence or not heard[at].is_sound:
        return False
    leads = at == 0 or heard[at - 1].text == BREAK
    return leads and heard[at].end_s - heard[at].start_s <= _NO_S


_NO_S = 0.3
"""A "no" is no longer than this."""


def _repeats_in_talk(event: Event, before: Event) -> bool:
    """Whether a count at a place is said again without it, beside a little talk."""
    same = all(
        getattr(event, field) == getattr(before, field)
        for field in ("kind", "item", "quantity", "part", "spoken")
    )
    apart = event.place is None and before.place is not None
    return same and apart and event.start_s - before.end_s <= REPEAT_S


def emit(
    state: State, start: int, end: int, *, questions: Sequence[Question] = (), **values: object
) -> None:
    """Add a complete event of the tokens from ``start`` to ``end``; ``values`` are its fields."""
    state.done.append(Read(_complete(state, start, end, questions, values), False, start))
    state.taken.update(range(start, end))


def note(
    state: State, piece: Piece, *, questions: Sequence[Question] = (), **values: object
) -> None:
    """Put a remark where its words were said; a count that is under way goes on."""
    values["kind"] = EventKind.REMARK
    event = _complete(state, piece.start, piece.end, questions, values)
    insert(state, Read(event, False, piece.start))


def _complete(
    state: State, start: int, end: int, questions: Sequence[Question], values: dict[str, object]
) -> Event:
    matter = range(start, end)
    asked = [*questions, *low_confidence(state.scene, matter)]
    return make_event(state.scene, start, end, matter=matter, questions=asked, **values)
