"""Lines of which a word in the middle was heard as other talk: "two <talk> tips passed off", "three
stick ties on <talk> field".

A recogniser that knows the words of counting gives a word of a name or of a place only where it was
said, or where something like it was. So the rest of a torn name is no talk, and what stands with it
is of no other line: not of the count before, which a place or a verb would otherwise go to.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

from countersign.kit.model import Item
from countersign.meaning.event import EventKind, QuestionCode, Spoken
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import ask, doubt
from countersign.meaning.reading.closing import close, emit
from countersign.meaning.reading.state import State, at_edge, rewrite_utterances
from countersign.meaning.reading.talk import hear_talk
from countersign.meaning.words import pieces as parts_of_word

MOST_AROUND = 4
"""Talk and rests of names more than these are a sentence of their own."""

_OF_PLACES = frozenset({"on", "field", "mayo", "back", "table", "stand"})
_VERBS = ("ADD verb", "ADD after", "REMOVE verb", "REMOVE after", "MORE")


def settle_torn(state: State) -> None:
    """Put every torn line, and every torn place of a line, into one piece. Only of sound."""
    rewrite_utterances(state, _torn)


def _torn(state: State, start: int, end: int, counting: bool) -> list[Piece]:
    said = state.pieces[start:end]
    if not said or not state.scene.heard[said[0].start].is_sound:
        return said
    label = _line(state, said, counting=counting)
    if label is not None:
        return [Piece("cue", f"TORN {label}", said[0].start, said[-1].end)]
    counted = counting and {"item", "run"} <= {piece.kind for piece in said}
    return _with_torn_places(state, said) if counted else said


def _line(state: State, said: Sequence[Piece], *, counting: bool) -> str | None:
    """Kind, number and place of a line that is all there but its name."""
    verbs = [piece for piece in said if piece.label in _VERBS]
    if any(piece.kind == "item" for piece in said):
        return _beside_a_name(state, said) if counting or verbs else None
    runs = [piece for piece in said if piece.kind == "run"]
    places = [piece for piece in said if piece.label.startswith("PLACE ")]
    talk = [piece for piece in said if piece.kind == "talk"]
    # "bagged two <talk> sponges"; without a verb the group is asked about with the numbers left
    kinds = ("stranger", "group") if verbs else ("stranger",)
    rests = [piece for piece in said if piece.kind in kinds]
    totals = [piece for piece in said if piece.label == "TOTAL"]
    known = len(runs) + len(verbs) + len(places) + len(talk) + len(rests) + len(totals)
    if known < len(said) or len(runs) != 1 or len(verbs) > 1 or len(places) > 1:
        return None
    if not _is_of_names(state, rests) or len(talk) + len(rests) > MOST_AROUND:
        return None
    if not talk and (not counting or not rests or _is_three(state, rests)):
        return None
    # "two <talk> passed off", "packing four <talk>"
    done = [piece for piece in verbs if piece.label.endswith(" verb")]
    ends = bool(done) and said[-1] is done[0] and said[0] is runs[0]
    packs = said[0].label == "PLACE wound" and said[1] is runs[0]
    of_a_name = bool(rests) and (counting or bool(verbs))
    if not (of_a_name or ends or packs):
        return None
    numbers = numbers_of(state.doc, runs[0])
    if len(numbers) != 1:
        return None
    place = places[0].label.partition(" ")[2] if places else ""
    return f"line {_kind(verbs).value} {numbers[0]} {place}".strip()


def _beside_a_name(state: State, said: Sequence[Piece]) -> str | None:
    """What a count is of which one word beside a name belongs to another name: "needles drivers on
    the field three" is none of needles, and "atraumatic needles free" lacks its number.
    """
    kinds = [piece.kind for piece in said]
    rests = [piece for piece in said if piece.kind in ("stranger", "group")]
    verbs = [piece for piece in said if piece.label in _VERBS]
    places = [piece.label.partition(" ")[2] for piece in said if piece.label.startswith("PLACE ")]
    numbers = [numbers_of(state.doc, piece) for piece in said if piece.kind == "run"]
    if kinds.count("item") != 1 or len(rests) != 1 or not _is_of_names(state, rests):
        return None
    if len(said) != 2 + len(verbs) + len(places) + len(numbers):
        return None
    if len(verbs) > 1 or len(places) > 1 or len(numbers) > 1:
        return None
    item, rest = kinds.index("item"), said.index(rests[0])
    if abs(item - rest) != 1 or said[min(item, rest)].end != said[max(item, rest)].start:
        return None
    place = places[0] if places else ""
    if not numbers and not verbs:
        return f"number {said[item].label} {place}".strip()
    if [len(each) for each in numbers] != [1]:
        return None
    return f"line {_kind(verbs).value} {numbers[0][0]} {place}".strip()


def _kind(verbs: Sequence[Piece]) -> EventKind:
    if not verbs:
        return EventKind.COUNT
    removed = verbs[0].label.startswith("REMOVE")
    return EventKind.REMOVAL if removed else EventKind.ADDITION


def _is_three(state: State, rests: Sequence[Piece]) -> bool:
    """ "One two | free four": what "three" is heard as, in a count that goes on."""
    return any(words_of(state.doc, piece) == ["free"] for piece in rests)


def _is_of_names(state: State, rests: Sequence[Piece]) -> bool:
    names = _words_of_names(state.kit.items)
    return all(names.issuperset(words_of(state.doc, piece)) for piece in rests)


@lru_cache(maxsize=16)
def _words_of_names(items: tuple[Item, ...]) -> frozenset[str]:
    forms = [form for item in items for form in item.spoken]
    return frozenset(
        part for form in forms for word in form.split() for part in parts_of_word(word)
    )


def _with_torn_places(state: State, said: Sequence[Piece]) -> list[Piece]:
    """The pieces of a count with talk and the rest of a place beside it put into one."""
    found: list[Piece] = []
    at = 0
    while at < len(said):
        wrong = _place_with_a_number(state, said[at : at + 4])
        if wrong:
            found.append(Piece("cue", "TORN place", said[at].start, said[at + wrong - 1].end))
            at += wrong
            continue
        end = at
        while end < len(said) and _may_be_of_a_place(state, said[end]):
            end += 1
        torn = said[at:end]
        kinds = {piece.kind for piece in torn}
        if kinds == {"talk", "stranger"} and len(torn) <= MOST_AROUND:
            found.append(Piece("cue", "TORN place", torn[0].start, torn[-1].end))
        else:
            end = max(end, at + 1)
            found += said[at:end]
        at = end
    return found


def _place_with_a_number(state: State, said: Sequence[Piece]) -> int:
    """How many pieces are a place with a number for "the": "on two back table", "on ten mayo"."""
    kinds = [piece.kind for piece in said]
    if kinds[:3] != ["stranger", "run", "stranger"] or words_of(state.doc, said[0]) != ["on"]:
        return 0
    count = 2
    while count < len(said) and kinds[count] == "stranger":
        if not _may_be_of_a_place(state, said[count]):
            break
        count += 1
    return count if count > 2 else 0


def _may_be_of_a_place(state: State, piece: Piece) -> bool:
    of_a_place = piece.kind == "stranger" and _OF_PLACES.issuperset(words_of(state.doc, piece))
    return of_a_place or piece.kind == "talk"


def on_torn(state: State, index: int) -> int:
    """A torn line asks of what it is; a torn place asks where the count beside it is."""
    piece = state.pieces[index]
    heard = " ".join(token.lower_ for token in state.doc[piece.start : piece.end])
    _, what, *names = piece.label.split()
    if what == "place":
        clause = state.clause
        question = doubt(f"“{heard}” was heard; which place that is was not understood.")
        if clause is not None and clause.item is not None and not at_edge(state, index - 1):
            clause.questions.append(question)
            clause.end = max(clause.end, piece.end)
        else:
            hear_talk(state, replace(piece, kind="talk"))
            state.doubt = question
        return index + 1
    close(state)
    values: dict[str, object]
    if what == "number":
        item, *place = names
        question = ask(QuestionCode.NO_QUANTITY, f"“{heard}” was heard, but not how many.")
        values = {"kind": EventKind.COUNT, "item": item}
    else:
        kind, number, *place = names
        question = ask(QuestionCode.NO_ITEM, f"“{heard}” was heard, but not of what.")
        values = {"kind": EventKind(kind), "quantity": int(number), "unit": "each"}
        values["spoken"] = Spoken.TOTAL
    values["place"] = place[0] if place else None
    emit(state, piece.start, piece.end, questions=[question], **values)
    return index + 1
