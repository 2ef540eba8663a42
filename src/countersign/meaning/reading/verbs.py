"""Verbs: what is added and what is removed."""

from dataclasses import dataclass, replace

from countersign.hearing.utterance import TALK
from countersign.meaning.event import EventKind, Question
from countersign.meaning.pieces import words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import Clause, clause_numbers
from countersign.meaning.reading.closing import close
from countersign.meaning.reading.count_place import OFF_FIELD
from countersign.meaning.reading.parts import MISHEARD_VERB
from countersign.meaning.reading.places import on_out_of_wound, one_if_single
from countersign.meaning.reading.state import (
    Carried,
    Read,
    State,
    Verb,
    at_edge,
    cue_at,
    kind_at,
    talk_before,
)
from countersign.meaning.reading.talk import hear_talk
from countersign.meaning.scene import label, plural


def on_verb(state: State, index: int) -> int:
    """A verb: behind a complete count it says its kind, before one it leads it."""
    cue = state.pieces[index]
    if cue.label == "REMOVE wound":
        return on_out_of_wound(state, index)
    name, _, where = cue.label.partition(" ")
    kind = EventKind.ADDITION if name == "ADD" else EventKind.REMOVAL
    after = where == "after"
    talk = talk_before(state, index)
    if after and talk == "stranger":
        return index + 1  # "throw it in the bucket"
    short = cue.end - cue.start < 3 or kind_at(state, index + 1) == "pause"
    if after and talk == "talk" and short and _leads(state, index):
        # "<talk> off five laps": the verb of what follows, or of what came before
        spoken = " ".join(words_of(state.doc, cue))
        state.doubt = doubt(f"“{spoken}” was heard after other talk; it may be about this line.")
        if state.clause is not None:
            state.clause.questions.append(state.doubt)
        return index + 1
    if where == "unsure":
        return _unsure(state, index)
    leads = _leads(state, index)
    clause = state.clause
    if clause is not None and clause.item is not None and clause.has_numbers:
        role = _role(state, index, kind, after=after, leads=leads)
        question = None
        if role.unsure:
            spoken = " ".join(words_of(state.doc, cue))
            question = doubt(
                f"“{spoken}” was heard after {label(state.scene, clause.item)}; it may be about "
                "something else."
            )
            clause.questions.append(question)
        if role.behind:
            _say_kind(state, index, clause, kind)
        if role.ahead:
            _lead(state, index, kind, question)
        elif not role.behind and _alone(state, index, after=after):
            _wait_for_object(state, index)
        elif role.unsure:
            clause.after = clause.after or "pause"  # what follows does not make it talk
    elif (after or _is_done(state, index)) and clause is not None and _is_all_of_item(state, index):
        one_if_single(state, clause)  # "raytec off the field"
        _say_kind(state, index, clause, kind)
    elif after and clause is not None and _ends_with_item(state, index):
        _say_kind(state, index, clause, kind)  # "two <talk> blades off the field | …"
    elif _alone(state, index, after=after) and talk is None:
        _wait_for_object(state, index)
    elif leads and not (after and cue.end - cue.start < 3):
        # "off the field: five laps" leads; a bare "off" or "added" does not
        _lead(state, index, kind, _at_the_end(state, index) or _misheard(state, index))
    return index + 1


def _misheard(state: State, index: int) -> Question | None:
    cue = state.pieces[index]
    spoken = " ".join(words_of(state.doc, cue))
    before = state.doc[cue.start - 1].lower_ if cue.start else ""
    if spoken == "bag" and before in ("the", TALK) and state.scene.heard[cue.start].is_sound:
        return doubt(f"Heard “{before} bag” before it; with “in” it would be where these are.")
    if cue.label != MISHEARD_VERB:
        return None
    return doubt(f"Heard “{spoken}”, which sounds like “adding”.")


def _at_the_end(state: State, index: int) -> Question | None:
    """The question for a verb that ends an utterance of something else and may lead the next:
    "strike that <add> | allis three".
    """
    if at_edge(state, index - 1) or not at_edge(state, index + 1):
        return None
    spoken = " ".join(words_of(state.doc, state.pieces[index]))
    return doubt(f"“{spoken}” was heard at the end of something else; is it about this line?")


def _is_done(state: State, index: int) -> bool:
    """Whether a verb tells what was done with what stands before it: "passed off"."""
    return words_of(state.doc, state.pieces[index])[0].endswith("ed")


def _is_all_of_item(state: State, index: int) -> bool:
    """Whether an utterance is an item without a number and what was done with it."""
    named = kind_at(state, index - 1) == "item" and at_edge(state, index - 2)
    return named and at_edge(state, index + 1)


def _ends_with_item(state: State, index: int) -> bool:
    """Whether a verb that stands after what it is about ends an utterance behind an item."""
    return kind_at(state, index - 1) == "item" and at_edge(state, index + 1)


def _unsure(state: State, index: int) -> int:
    """ "Handing you five laps": to the field or off it, and only with a number."""
    off = state.pieces[index].label.startswith("REMOVE")
    numbered = kind_at(state, index + 1) == "run" or cue_at(state, index + 1, "PACK", "PAIR")
    # "tossed a raytec"; "handing you a kelly" is said all the time
    single = off and kind_at(state, index + 1) == "item" and _is_single(state, index + 1)
    if not (numbered or single):
        hear_talk(state, state.pieces[index])
        return index + 1
    spoken = " ".join(words_of(state.doc, state.pieces[index]))
    what = "added to the field, or taken off it"
    if off:
        what = "taken off the field, or only counted"
    question = doubt(f"“{spoken}” was heard; is it {what}?")
    _lead(state, index, EventKind.REMOVAL if off else EventKind.ADDITION, question)
    return index + 1


def _is_single(state: State, index: int) -> bool:
    start = state.pieces[index].start
    return start > 0 and state.doc[start - 1].lower_ in ("a", "an", "one")


@dataclass(frozen=True)
class _Role:
    """What a verb behind a complete count is about: the count before it, or what follows.

    ``unsure`` if it may as well be about the other, or about nothing that is counted.
    """

    behind: bool = False
    ahead: bool = False
    unsure: bool = False


def _role(state: State, index: int, kind: EventKind, *, after: bool, leads: bool) -> _Role:
    words = words_of(state.doc, state.pieces[index])
    paused = kind_at(state, index - 1) == "pause"
    leads_at_once = leads and kind_at(state, index + 1) != "pause"
    in_talk = kind_at(state, index + 1) in ("stranger", "talk")
    if after:
        # "five laps | off the field" is sure; "five laps | off", "five laps | <talk> off" are not
        paused = paused or kind_at(state, index - 1) == "talk"
        unsure = paused and (len(words) < 3 or leads_at_once)
        return _Role(behind=True, ahead=unsure and leads_at_once, unsure=unsure)
    if in_talk and paused and words[0].startswith("open"):
        return _Role()  # "open the fascia"
    if words[0].endswith("ed") or words[0] in ("thrown", "threw", "took"):
        # "five laps passed off"
        if paused and leads_at_once:
            return _Role(ahead=True)
        if not paused and not leads_at_once:
            return _Role(behind=not in_talk, unsure=in_talk)
        return _Role(behind=not leads and not in_talk, ahead=leads, unsure=True)
    adds = paused and kind is EventKind.ADDITION and not in_talk
    if leads_at_once or adds:
        return _Role(ahead=leads)  # "five laps | adding | ten raytecs"
    return _Role(behind=not (leads or paused or in_talk), ahead=leads, unsure=True)


def _lead(state: State, index: int, kind: EventKind, question: Question | None) -> None:
    """Put what follows under a verb; ``question`` is asked about the first of it."""
    talk = talk_before(state, index)
    clause = state.clause
    if clause is not None and (talk != "stranger" if clause.item else clause.has_numbers):
        close(state)
    if talk == "stranger":
        question = doubt(f"The verb was heard amid other talk; it may be no {kind.value}.")
    if state.verb is not None and not state.verb.used:
        state.verb.kind = kind
    else:
        bagged = words_of(state.doc, state.pieces[index])[0].startswith("bag")
        place = OFF_FIELD if bagged else None
        state.verb = Verb(kind, state.pieces[index].start, talk, question, place=place)


def _alone(state: State, index: int, *, after: bool) -> bool:
    """Whether nothing was said after a verb, so that what it is about may still come."""
    begins = words_of(state.doc, state.pieces[index])[0].endswith("ing")
    complete = state.clause is not None and state.clause.has_numbers
    return not after and kind_at(state, _ahead(state, index)) == "end" and (begins or not complete)


def _wait_for_object(state: State, index: int) -> None:
    """ "Adding …": what is added may come after a pause."""
    question = _at_the_end(state, index)
    close(state)
    carried = Carried(questions=() if question is None else (question,))
    state.done.append(Read(None, True, state.pieces[index].start, carried))


def _leads(state: State, index: int) -> bool:
    """Whether what follows a verb, also over a pause, can be what is added or removed."""
    ahead = _ahead(state, index)
    if kind_at(state, ahead) in ("run", "item", "part"):
        return True
    return cue_at(state, ahead, "PACK", "PAIR", "BAG", "MORE", "ADD", "REMOVE")


def _ahead(state: State, index: int) -> int:
    """The next piece, over a pause."""
    return index + 1 + (kind_at(state, index + 1) == "pause")


def _say_kind(state: State, index: int, clause: Clause, kind: EventKind) -> None:
    """Give the count before a verb, and those in the same breath, the verb's kind."""
    cue = state.pieces[index]
    clause.end = max(clause.end, cue.end)
    if words_of(state.doc, cue)[0].startswith("bag"):
        clause.place = clause.place or OFF_FIELD
        counted = len(clause_numbers(state.scene, clause)) > 1 and not clause.number_first
        if counted and state.scene.heard[cue.start].is_sound:
            # "… three four bagged" is heard for "… three four five"
            question = doubt("“Bagged” was heard right after numbers; it could be the next one.")
            clause.questions.append(question)
    for position, earlier in enumerate(state.done):
        in_breath = earlier.carry_from >= state.breath_from
        if in_breath and earlier.event is not None and earlier.event.kind is EventKind.COUNT:
            changed = earlier.event.model_copy(update={"kind": kind})
            state.done[position] = replace(earlier, event=changed)
    if not clause.verb:
        clause.kind, clause.verb = kind, True
    elif clause.kind is EventKind.ADDITION and kind is EventKind.REMOVAL:
        clause.kind = kind
    elif clause.kind is EventKind.REMOVAL and kind is EventKind.ADDITION:
        spoken = " ".join(words_of(state.doc, state.pieces[index]))
        clause.questions.append(doubt(f"Heard as a removal, but “{spoken}” was heard after it."))


def on_more(state: State, index: int) -> int:
    """ "Another pack", "five additional": an addition; without a number, a word of talk."""
    if state.verb is not None:
        return index + 1
    if kind_at(state, index + 1) == "run" or cue_at(state, index + 1, "PACK", "PAIR"):
        cue = state.pieces[index]
        if at_edge(state, index - 1):
            close(state)  # "laps five | another two": no number of that count
        state.verb = Verb(EventKind.ADDITION, cue.start, talk_before(state, index))
        return index + 1
    if _is_another(state, index):
        cue, item = state.pieces[index], state.pieces[index + 1]
        heard = " ".join([*words_of(state.doc, cue), *words_of(state.doc, item)])
        else_ = "only asked for" if words_of(state.doc, cue) == ["another"] else "is one too many"
        question = doubt(f"“{heard}” was heard; was one added, or {else_}?")
        close(state)
        state.verb = Verb(EventKind.ADDITION, cue.start, question=question)
        return index + 1
    state.pieces[index] = replace(state.pieces[index], kind="stranger")
    return index


def _is_another(state: State, index: int) -> bool:
    """Whether "another needle", "extra needle" is all that was said: one may have been added."""
    said_so = words_of(state.doc, state.pieces[index]) in (["another"], ["extra"])
    if not said_so or not at_edge(state, index - 1):
        return False
    if kind_at(state, index + 1) != "item" or not at_edge(state, index + 2):
        return False
    return not plural(state.scene, state.pieces[index + 1])
