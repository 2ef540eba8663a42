"""Parts: "bulb syringe, barrel one, bulb one"."""

from dataclasses import replace
from functools import lru_cache

from countersign.kit.phone_distance import nearness
from countersign.kit.pronounce import readings_of
from countersign.meaning.event import Question
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import Clause
from countersign.meaning.reading.closing import close, open_clause
from countersign.meaning.reading.read_back import reads_back
from countersign.meaning.reading.state import State, at_edge, cue_at, kind_at
from countersign.meaning.reading.talk import hear_talk


def settle_misheard_parts(state: State) -> None:
    """A word right after an item that sounds like one of its parts is that part: "asepto bowl".

    A barrel before a number and another item is "adding", which the bundled model hears for it.
    Only of sound. That another word was heard is asked about.
    """
    for index, piece in enumerate(state.pieces):
        if _is_adding(state, index):
            state.pieces[index] = replace(piece, kind="cue", label=MISHEARD_VERB)
        if piece.kind != "stranger" or kind_at(state, index - 1) != "item":
            continue
        if not state.scene.heard[piece.start].is_sound or piece.end - piece.start > 1:
            continue
        item = state.kit.item(state.pieces[index - 1].label)
        (word,) = words_of(state.doc, piece)
        own = tuple((form, *said) for form, said in state.kit.pronunciations.items())
        part = _sounds_like(word, item.parts, own)
        if part is not None:
            state.pieces[index] = replace(piece, kind="part", label=part)


MISHEARD_VERB = "ADD verb misheard"


def _is_adding(state: State, index: int) -> bool:
    piece = state.pieces[index]
    if piece.kind != "part" or words_of(state.doc, piece)[0] not in _LIKE_ADDING:
        return False
    first = index - (kind_at(state, index - 1) == "talk")
    if not state.scene.heard[piece.start].is_sound or not at_edge(state, first - 1):
        return False
    at = index + 1
    while kind_at(state, at) == "run" or cue_at(state, at, "PACK", "PAIR"):
        at += 1
    if kind_at(state, at) == "item":
        return piece.label not in state.kit.item(state.pieces[at].label).parts
    return cue_at(state, index + 1, "PACK")


_LIKE_ADDING = frozenset({"barrel", "barrels"})


@lru_cache(maxsize=256)
def _sounds_like(word: str, parts: tuple[str, ...], own: tuple[tuple[str, ...], ...]) -> str | None:
    """The part that a word sounds most like, if it may be mistaken for it."""
    pronunciations = {form: said for form, *said in own}
    said = readings_of(word, pronunciations)
    near = {
        part: apart
        for part in parts
        for form in (part, f"{part}s")
        if (apart := nearness(said, readings_of(form, pronunciations))) is not None
    }
    return min(near, key=lambda part: near[part], default=None)


def _misheard(state: State, piece: Piece) -> list[Question]:
    """What to ask where a part was not heard by its own name."""
    words = words_of(state.doc, piece)
    if words in ([piece.label], [f"{piece.label}s"]):
        return []
    return [doubt(f"Heard “{' '.join(words)}”, which sounds like “{piece.label}”.")]


def on_part(state: State, index: int) -> int:
    """The name of a part: of the item that is being counted, or of the only one that has it."""
    piece = state.pieces[index]
    clause = state.clause
    end = reads_back(state, clause, index) if clause is not None else None
    if clause is not None and end is not None:
        clause.end = state.pieces[end - 1].end
        return end
    item = _owner(state, clause, piece.label)
    if item is None:
        hear_talk(state, piece)
        return index + 1
    counts_on = kind_at(state, index + 1) == "run"
    if clause is not None and clause.item is not None and not clause.talked:
        behind = (
            clause.has_numbers
            and kind_at(state, index - 1) == "run"
            and not (counts_on and _number_last(state, index))
        )
        unnamed = clause.part is None and not clause.number_first
        # "bulb syringe one barrel" is of the barrel
        if clause.item.label == item and _is_of_number_before(state, index, clause):
            # "one bulb syringe barrel"
            clause.part, clause.end, clause.place_closes = piece.label, piece.end, True
            clause.questions += _misheard(state, piece)
            return index + 1
        if clause.item.label == item and unnamed and (not clause.has_numbers or behind):
            clause.part, clause.place_closes = piece.label, behind
            clause.questions += _misheard(state, piece)
            clause.end = piece.end
            return index + 1
    numbers_first = (
        clause is not None and clause.item is None and clause.has_numbers and not clause.talked
    )
    if clause is None or not numbers_first:
        close(state)
        clause = open_clause(state, index)
    clause.item = Piece("item", item, piece.start, piece.end)
    clause.part = piece.label
    clause.questions += _misheard(state, piece)
    clause.number_first = numbers_first
    clause.after = None
    clause.end = piece.end
    state.last_item = item
    return index + 1


def _is_of_number_before(state: State, index: int, clause: Clause) -> bool:
    """Whether the number stands before the item, and the part goes on with the item's name."""
    named = kind_at(state, index - 1) == "item" and clause.number_first and clause.part is None
    return named and not (kind_at(state, index + 1) == "run" and _number_last(state, index))


def _number_last(state: State, index: int) -> bool:
    """Whether parts and numbers from here on end with a number: then each follows its part."""
    at = index
    while kind_at(state, at) in ("run", "part"):
        at += 1
    return kind_at(state, at - 1) == "run"


def _owner(state: State, clause: Clause | None, part: str) -> str | None:
    """The item whose part it is, if that is sure."""
    owners = [item.id for item in state.kit.items if part in item.parts]
    if clause is not None and clause.item is not None and clause.item.label in owners:
        return clause.item.label
    if state.last_item in owners:
        return state.last_item
    return owners[0] if len(owners) == 1 else None
