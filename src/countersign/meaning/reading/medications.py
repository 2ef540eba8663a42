"""Medications: which stretch of speech is about one medication."""

from dataclasses import dataclass, field, replace

from countersign.hearing.utterance import TALK
from countersign.meaning.event import Event, EventKind, MedicationDetail, Question, QuestionCode
from countersign.meaning.medication.amounts import is_unit, volume_at
from countersign.meaning.medication.dates import MONTHS
from countersign.meaning.medication.detail import CONTAINERS, EXPIRY, no_expiry_at
from countersign.meaning.medication.medication_event import joined, medication_event, reach_back
from countersign.meaning.medication.read_back import (
    compared,
    differs_before,
    fuller_before,
    received_before,
    said_again,
)
from countersign.meaning.medication.talk import is_harmless
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.clause import SHORTEST_SEQUENCE, clause_numbers
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.state import (
    Carried,
    Read,
    State,
    at_edge,
    cue_at,
    kind_at,
    piece_at,
    talk_before,
)
from countersign.meaning.reading.talk import hear_talk
from countersign.meaning.words import BREAK

_ENDS = (
    *("PHASE", "ALONE", "VERDICT", "STRIKE", "LOOSE", "LABEL", "DRAW", "QUERY", "BROKEN", "NOTE"),
    *("FELL", "FOUND_ITEM", "UNPACKED", "DONE"),
)
"""Cues that end what is said about a medication."""


def on_name(state: State, index: int) -> int:
    """The name of a medication, without a cue before it."""
    return _on_medication(state, index, EventKind.RECEIPT, index)


def on_amount(state: State, index: int) -> int:
    """A number with its unit belongs to a medication, or describes an item, or is talk."""
    at = index
    while kind_at(state, at) == "amount":
        at += 1
    if kind_at(state, at) in ("medication", "item"):
        return at
    alone = at_edge(state, index - 1) and at_edge(state, at)
    if alone and state.after_medication and state.clause is None:
        return _on_medication(state, index, EventKind.RECEIPT, index)  # of what it is, is asked
    for piece in state.pieces[index:at]:
        hear_talk(state, replace(piece, kind="stranger"))
    return at


def on_label(state: State, index: int) -> int:
    """ "Label cup …", "syringe label …", "this cup is lidocaine …"."""
    first = index
    tells = words_of(state.doc, state.pieces[index])[-1] in ("is", "holds", "contains")
    if tells and kind_at(state, index + 1) not in ("medication", "amount"):
        hear_talk(state, state.pieces[index])
        return index + 1
    before = piece_at(state, index - 1)
    if (
        before is not None
        and before.kind in ("item", "stranger")
        and before.end == state.pieces[index].start
        and words_of(state.doc, before)[-1] in CONTAINERS
    ):
        first = index - 1
        clause = state.clause
        if clause is not None and clause.item is before and not clause.has_numbers:
            state.clause = clause.displaced  # no item was counted, a container was named
    return _on_medication(state, index + 1, EventKind.LABEL, first)


def on_draw(state: State, index: int) -> int:
    """ "Drawing up …", "ten milliliters drawn up"."""
    first = index
    container = _drawn_into(state, index)
    if container is not None:
        _ask_what_was_drawn(state, index, container)
        return index + 1 + len(_utterance(state, index + 1))
    if not _ahead(state, index, "medication", "amount", "run"):
        while kind_at(state, first - 1) in ("amount", "run"):
            first -= 1
    return _on_medication(state, index + 1, EventKind.DRAW, first)


def _drawn_into(state: State, index: int) -> str | None:
    """The container of "drawn up in the syringe", said by itself after a medication."""
    said = _utterance(state, index)
    words = [word for piece in said for word in words_of(state.doc, piece)]
    alone = at_edge(state, index - 1) and state.after_medication
    others = [p for p in said[1:] if not is_harmless(words_of(state.doc, p)[-1])]
    if not alone or "up" not in words or any(piece.kind != "item" for piece in others):
        return None
    return CONTAINERS.get(words[-1]) if len(said) > 1 else None


def _ask_what_was_drawn(state: State, index: int, container: str) -> None:
    close(state)
    said = _utterance(state, index)
    detail = MedicationDetail(container=container)
    sentence = "Something was drawn up, but not of what and how much was heard."
    emit(
        state,
        said[0].start,
        said[-1].end,
        questions=[ask(QuestionCode.NO_ITEM, sentence)],
        kind=EventKind.DRAW,
        medication=detail,
    )


def on_receipt(state: State, index: int) -> int:
    """ "Receiving …": only with a medication after it."""
    at = index + 1
    while kind_at(state, at) not in ("end", "pause", "item"):
        if kind_at(state, at) == "medication":
            return _on_medication(state, index + 1, EventKind.RECEIPT, index)
        at += 1
    cue = state.pieces[index]
    counted = _ahead(state, index, "item") and not _ahead(state, index, "medication", "amount")
    if counted and cue.label == "RECEIPT" and kind_at(state, index + 1) in ("run", "item"):
        state.pieces[index] = replace(cue, label="ADD verb")  # "received two needles"
        return index
    return index + 1


def on_hands(state: State, index: int) -> int:
    """ "From the pharmacy …": only with a medication after it."""
    return on_receipt(state, index) if _ahead(state, index, "medication") else index + 1


def on_read_back(state: State, index: int) -> int:
    """ "Read back …": what is said again after it; alone it is part of what stands before it."""
    if not _ahead(state, index, "medication", "amount"):
        state.pieces[index] = replace(state.pieces[index], kind="stranger")
        return index
    at = index + 1
    if cue_at(state, at, "LABEL"):
        return _on_medication(state, at + 1, EventKind.LABEL, index)
    return _on_medication(state, at, EventKind.RECEIPT, index)


def on_medication_correction(state: State, index: int, at: int) -> int:
    """ "No, two percent": the correction at ``index`` says from ``at`` on what is now meant."""
    return _on_medication(state, at, EventKind.CORRECTION, index)


def medication_corrected(state: State, index: int, *, after: bool) -> int | None:
    """Where a correction at ``index`` says what is now meant of a medication, if it does.

    ``after`` says whether a medication was spoken of right before it.
    """
    at, soft, strike = index, True, False
    while cue_at(state, at, "MEAN", "STRIKE"):
        soft = soft and state.pieces[at].label == "MEAN soft"
        strike = strike or state.pieces[at].label == "STRIKE"
        at += 1
    said = _utterance(state, at)
    if not said or (soft and _in_talk(state, said)):
        return None
    kinds = [piece.kind for piece in said]
    amount, named = "amount" in kinds, "medication" in kinds
    match kinds[0]:
        case "amount":
            of_item = kind_at(state, at + kinds.count("amount")) == "item"
            fits = (after or (not soft and not strike)) and not of_item
            fits = fits and not (strike and named)
        case "medication":
            fits = after and (amount or not soft) and not strike
        case "run":
            alone = len(said) == 1 and len(numbers_of(state.doc, said[0])) == 1
            fits = after and alone and not strike
        case "stranger":
            fits = after and words_of(state.doc, said[0])[0] in (*EXPIRY, "lot")
        case _:
            fits = False
    return at if fits else None


def settle_no_expiry(state: State) -> None:
    """ "No expiration date" is no correction, unless a date follows."""
    words = [token.lower_ for token in state.doc]
    for index, piece in enumerate(state.pieces):
        if piece.label == "MEAN soft" and no_expiry_at(words, piece.start):
            state.pieces[index] = replace(piece, kind="stranger")


def settle_cues(state: State) -> None:
    """Cues that mean something only beside a medication are talk where there is none.

    "Metz" behind its number is talk: so "mils" is heard, and the number asks for its unit.
    """
    for index, piece in enumerate(state.pieces):
        unit = piece.kind == "item" and words_of(state.doc, piece) == ["metz"]
        if not unit or not state.scene.heard[piece.start].is_sound:
            continue
        first = index
        while first and kind_at(state, first - 1) != "pause":
            first -= 1
        before = {each.kind for each in state.pieces[first:index]}
        if kind_at(state, index - 1) == "run" and "medication" in before:
            state.pieces[index] = replace(piece, kind="stranger", label="")
    for index, piece in enumerate(state.pieces):
        if piece.kind != "cue" or not piece.label.startswith(("READ_BACK", "HANDS")):
            continue
        first = index
        while first and kind_at(state, first - 1) != "pause":
            first -= 1
        kinds = {each.kind for each in _utterance(state, first)}
        alone = piece.label == "READ_BACK" and kinds == {"cue"}
        if not alone and "medication" not in kinds and "amount" not in kinds:
            state.pieces[index] = replace(piece, kind="stranger")


def _utterance(state: State, index: int) -> list[Piece]:
    """The pieces from ``index`` to the next pause."""
    at = index
    while not at_edge(state, at):
        at += 1
    return state.pieces[index:at]


def _ahead(state: State, index: int, *kinds: str) -> bool:
    """Whether a piece of one of these kinds follows in the same utterance."""
    return any(piece.kind in kinds for piece in _utterance(state, index + 1))


def _in_talk(state: State, said: list[Piece]) -> bool:
    """Whether words of other talk are among these pieces."""
    return any(
        piece.kind == "talk"
        or (piece.kind == "stranger" and not is_harmless(words_of(state.doc, piece)[0]))
        for piece in said
    )


@dataclass
class _Stretch:
    """The speech about one medication.

    ``end`` is the index of the piece after it. ``names`` are the medications named, by the position
    where each begins, with where it ends.
    """

    end: int
    kind: EventKind
    names: dict[int, tuple[str, int]] = field(default_factory=dict)


def _on_medication(state: State, index: int, kind: EventKind, first: int) -> int:
    """Read a stretch about one medication, from the cue or its first word to its end."""
    previous = first
    start = state.pieces[first].start
    # a strength or volume before the name belongs to it: "ten milliliters of lidocaine"
    if first == index and kind is EventKind.RECEIPT:
        previous, start = reach_back(state.scene, state.pieces, index, state.medication_end)
    if state.clause is not None and state.clause.item is None and state.clause.start >= start:
        state.clause = None  # its numbers were the strength or the volume
    before = talk_before(state, previous)
    found = _stretch(state, index, kind, start, before)
    at = found.end
    end = state.pieces[at].start if at < len(state.pieces) else len(state.doc)
    # a number for the item that follows is not ours
    last = piece_at(state, at - 1)
    if kind_at(state, at) == "item" and last is not None and last.kind == "run":
        at, end = at - 1, last.start
    is_last = at >= len(state.pieces)
    event = medication_event(state.scene, start, end, found.kind, found.names, before)
    if kind is EventKind.RECEIPT and _count_goes_on(state, index):
        event = None
    spoiled = any(piece.kind == "stranger" for piece in state.pieces[index:at])
    may_become_one = event is None and is_last and not spoiled and state.clause is None
    if event is None and not may_become_one:
        # only a mention: a count that is under way goes on
        hear_talk(state, state.pieces[first])
        return max(index, first + 1)
    close(state)
    floor, state.medication_end = state.medication_end, end
    asked: list[Question] = []
    if event is not None:
        event = _repeated(state, _drawn_of_the_only_one(state, event), start)
        asked = [*_about_ends(state, start, at, floor), *_about_verb(state, start, event)]
        if state.carried is not None and start <= state.pieces[0].start:
            asked += state.carried.questions  # what stood before it is not kept with it
        event = event.model_copy(
            update={"questions": tuple(dict.fromkeys((*event.questions, *asked)))}
        )
    carried = Carried(talk=before, questions=tuple(asked))
    state.done.append(Read(event, is_last, start, carried))
    state.taken.update(range(start, end))
    return max(at, index)


def _drawn_of_the_only_one(state: State, event: Event) -> Event:
    """A draw that does not say of what, where only one medication was spoken of before it."""
    names = {
        each.medication.name
        for each in state.medications
        if each.medication is not None and each.medication.name is not None
    }
    detail = event.medication
    unnamed = event.kind is EventKind.DRAW and detail is not None and detail.name is None
    if not unnamed or detail is None or len(names) != 1:
        return event
    (name,) = names
    taken = state.kit.medication(name).label
    asked = [each for each in event.questions if each.code is not QuestionCode.NO_ITEM]
    asked.append(doubt(f"Of what was drawn was not said; {taken} was taken."))
    return event.model_copy(
        update={
            "item": name,
            "medication": detail.model_copy(update={"name": name}),
            "questions": tuple(asked),
        }
    )


def _repeated(state: State, event: Event, start: int) -> Event:
    """The event, marked and compared if it says again what was said before."""
    leads = any(
        span.label_ == "READ_BACK" and span.start == start for span in state.doc.spans["cues"]
    )
    if leads:
        return compared(event, state.medications)
    if event.medication is not None and said_again(event, state.medications):
        again = event.medication.model_copy(update={"read_back": True})
        return event.model_copy(update={"medication": again})
    read_back = event.medication is not None and event.medication.read_back
    if read_back and received_before(event, state.medications):
        question = doubt("The same was received before; is this more of it, or its read-back?")
    elif fuller_before(event, state.medications):
        question = doubt("Part of the same was said right before; it may be one receipt, not two.")
    elif (differs := differs_before(event, state.medications)) is not None:
        sentence = (
            f"The same was said right before with another {differs}; is it something else, or was "
            "it read back wrong?"
        )
        question = ask(QuestionCode.READ_BACK_DISAGREES, sentence)
    else:
        return event
    return event.model_copy(update={"questions": (*event.questions, question)})


def _count_goes_on(state: State, index: int) -> bool:
    """Whether a count is only interrupted by a name: "needles one two lidocaine three"."""
    counted = clause_numbers(state.scene, state.clause)
    if not counted or kind_at(state, index + 1) != "run":
        return False
    last = counted[-1].value
    return numbers_of(state.doc, state.pieces[index + 1], last)[:1] == [last + 1]


def _stretch(state: State, index: int, kind: EventKind, start: int, before: str | None) -> _Stretch:
    """Where the speech about one medication ends, and the medications named in it.

    It began at the token ``start``, with ``before`` right before it.
    """
    found = _Stretch(index, kind)
    names = found.names
    container = False
    spoiled = before == "stranger" and state.clause is not None
    at = index
    while kind_at(state, at) != "end":
        piece = state.pieces[at]
        if piece.kind == "item":
            counted = kind_at(state, at + 1) == "run"
            if (
                _labelled_next(state, at)
                or container
                or counted
                or words_of(state.doc, piece)[-1] not in CONTAINERS
            ):
                break
            container = True
        elif piece.kind == "medication":
            without = state.doc[piece.start - 1].lower_ in ("without", "no") if piece.start else 0
            latest = max((stop for _, stop in names.values()), default=None)
            apart = latest is not None and not joined(state.scene, latest, piece.start)
            if apart and not without and not _begun_again(state, piece, names, start):
                at = _with_its_amounts(state, at, index)
                break
            names[piece.start] = (piece.label, piece.end)
        elif piece.kind in ("stranger", "talk"):
            if _labelled_next(state, at):
                break
            spoiled = True
        elif piece.kind == "run":
            if _begins_a_count(state, at):
                break
        elif piece.kind == "pause":
            # "draw a line | …", "the water is cold | …": only a mention ends with its utterance
            event = medication_event(state.scene, start, piece.start, found.kind, names, before)
            if event is None:
                if spoiled:
                    break
            elif _is_other_talk(state, at + 1, event) or _is_a_count(state, at + 1):
                break
        elif piece.kind == "cue" and names and _drawn_behind(state, at, found.kind):
            found.kind = EventKind.DRAW
        elif piece.kind == "cue" and _ends_medication(state, at):
            break
        at += 1
    found.end = at
    return found


def _is_other_talk(state: State, index: int, event: Event) -> bool:
    """Whether the utterance that begins at ``index`` is of something else altogether.

    A volume in talk may be what ``event`` still lacks.
    """
    said = _utterance(state, index)
    if not said or any(piece.kind == "medication" for piece in said):
        return False
    lacks = event.medication is None or event.medication.volume_ml is None
    words = [
        word for piece in said if piece.kind == "amount" for word in words_of(state.doc, piece)
    ]
    if lacks and any(volume_at(words, at) for at in range(len(words))):
        return False
    word = words_of(state.doc, said[0])[0]
    return said[0].kind == "stranger" and not is_harmless(word) and word not in MONTHS


def _is_a_count(state: State, index: int) -> bool:
    """Whether the utterance that begins at ``index`` says of an item what is done with it.

    So does one that has a draw in it, but not of what, and one of which only the name was not
    understood: "two <talk> to the field".
    """
    said = _utterance(state, index)
    kinds = [piece.kind for piece in said]
    if any(cue.label == "DRAW" for cue in said if cue.kind == "cue") and "medication" not in kinds:
        return True
    about = "medication" in kinds or "amount" in kinds
    moved = bool(said) and said[-1].label in ("ADD after", "REMOVE after")
    if moved and kinds[0] == "run" and {*kinds[1:-1]} == {"talk"}:
        return True
    return kinds[:1] in (["cue"], ["run"]) and {"cue", "run", "item"} <= {*kinds} and not about


def _begun_again(state: State, piece: Piece, names: dict[int, tuple[str, int]], start: int) -> bool:
    """Whether a name is only said again: "lidocaine one, lidocaine one percent"."""
    words = [token.lower_ for token in state.doc[start : piece.start]]
    known = {name for name, _ in names.values()}
    return known == {piece.label} and not any(
        word == BREAK or volume_at(words, at) for at, word in enumerate(words)
    )


def _labelled_next(state: State, index: int) -> bool:
    """Whether a container begins what is said of its label: "cup label …"."""
    at = index
    while (
        kind_at(state, at) in ("item", "stranger")
        and words_of(state.doc, state.pieces[at])[-1] in CONTAINERS
    ):
        at += 1
    return at > index and cue_at(state, at, "LABEL")


def _with_its_amounts(state: State, index: int, after: int) -> int:
    """Where what is said of the medication at ``index`` begins.

    Amounts that begin a new utterance right before it are its own.
    """
    first = index
    while first > after + 1 and kind_at(state, first - 1) in ("amount", "run", "cue"):
        first -= 1
    return first if kind_at(state, first - 1) == "pause" else index


_OF_ITEMS = ("REMOVE", "TAKE", "DROP", "BROKEN")
"""Cues of what becomes of items, by how their labels begin; nobody says them of a medication."""


def _about_verb(state: State, start: int, event: Event) -> list[Question]:
    """A question about a receipt right after the verb of an item, with nothing before that: "draw
    up" may have been heard as "dropped"; or after a label or a draw that broke off in talk."""
    if event.kind is not EventKind.RECEIPT:
        return []
    cut = [
        doubt(f"“{cue.text}” was heard before it, and talk between; it may belong together.")
        for cue in state.doc.spans["cues"]
        if cue.label_ in ("LABEL", "DRAW")
        and TALK in (between := [token.lower_ for token in state.doc[cue.end : start]])
        and set(between) <= {TALK, BREAK}
    ]
    return cut + [
        doubt(f"“{cue.text}” was heard before it; what was done with it is not sure.")
        for cue in state.doc.spans["cues"]
        if cue.end == start
        and cue.label_.startswith(_OF_ITEMS)
        and (cue.start == 0 or state.doc[cue.start - 1].lower_ in (BREAK, TALK))
    ]


def _about_ends(state: State, start: int, end: int, floor: int) -> list[Question]:
    """Questions where what was said may belong to another medication, before it or after it."""
    asked = []
    floor_piece = next((p for p in state.pieces if p.end == start and p.end == floor), None)
    shared = floor_piece is not None and floor_piece.kind == "amount"
    if shared or (kind_at(state, end) == "medication" and kind_at(state, end - 1) == "amount"):
        asked.append(doubt("It is not clear which medication the last amount belongs to."))
    before = start - 1
    while before >= 0 and state.doc[before].lower_ in ("the", "a", "of", "up"):
        before -= 1
    words = [token.lower_ for token in state.doc[:start]]
    first = max((at + 1 for at, word in enumerate(words) if word == BREAK), default=0)
    first = max(first, floor)
    if any(is_unit(words, at) for at in range(first, start)):
        asked.append(doubt("An amount was heard before it, but not how much."))
    if before >= 0 and state.doc[before].lower_ in _JOINTS:
        asked.append(doubt("It may have been mixed with what was said before."))
    return asked


_JOINTS = ("with", "plus", "in", "into")


def _drawn_behind(state: State, index: int, kind: EventKind) -> bool:
    """Whether a verb behind what was said makes it a draw: "ten milliliters lidocaine drawn up"."""
    return (
        kind is EventKind.RECEIPT
        and cue_at(state, index, "DRAW")
        and _named_before(state, index)
        and not _ahead(state, index, "medication", "amount", "run")
    )


def _named_before(state: State, index: int) -> bool:
    """Whether a medication or an amount stands before a piece in the same utterance."""
    at = index - 1
    while kind_at(state, at) not in ("end", "pause", "medication", "amount"):
        at -= 1
    return kind_at(state, at) in ("medication", "amount")


def _begins_a_count(state: State, index: int) -> bool:
    """Whether numbers begin an utterance about something that is counted.

    They go from one on, their item not heard, or an item follows: "three more stick ties".
    """
    if kind_at(state, index - 1) != "pause":
        return False
    if cue_at(state, index + 1, "MORE", "PACK", "PAIR", "BAG"):
        return any(piece.kind == "item" for piece in _utterance(state, index))
    numbers = numbers_of(state.doc, state.pieces[index])
    return numbers[:SHORTEST_SEQUENCE] == list(range(1, SHORTEST_SEQUENCE + 1))


def _ends_medication(state: State, index: int) -> bool:
    """Whether a cue begins something else."""
    name = state.pieces[index].label.partition(" ")[0]
    if name in _ENDS:
        return True
    if name == "RECEIPT":  # "received by the scrub" goes with what was said
        return _ahead(state, index, "medication")
    if name == "READ_BACK":
        said = words_of(state.doc, state.pieces[index])
        after = index + 1 + cue_at(state, index + 1, "HANDS")  # "read back by the scrub"
        last = at_edge(state, after)
        return not (last and "back" in said and not _is_asked_for(state, index))
    following = kind_at(state, index + 1)
    if cue_at(state, index, "ADD verb", "REMOVE verb"):
        return kind_at(state, index - 1) == "pause" or following not in ("medication", "amount")
    if cue_at(state, index, "MEAN") and following in ("run", "item"):
        return True
    return name == "MEAN" and medication_corrected(state, index, after=True) is not None


def _is_asked_for(state: State, index: int) -> bool:
    """ "Read back, please": asked for, not done."""
    piece = state.pieces[index]
    around = state.doc[max(0, piece.start - 1) : piece.end + 1]
    return any(token.lower_ == "please" for token in around)
