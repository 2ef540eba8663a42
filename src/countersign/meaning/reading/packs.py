"""Packs and pairs: "two packs of ten", "a pack of laps", "a pair of scissors"."""

from countersign.meaning.event import Question, QuestionCode, Spoken
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import ask, doubt, said
from countersign.meaning.reading.state import State, kind_at, piece_at
from countersign.meaning.scene import Scene
from countersign.number_words import spell

_NOT_FULL = frozenset({"short", "incomplete", "bad"})
_OF_PACKS = frozenset({"box", "boxes", "bundle", "bundles"})
"""What may hold several packs itself (common practice, no source)."""


def pack_at(state: State, index: int) -> tuple[Piece, int] | None:
    """A pack at a number or at the word itself: a piece that holds its quantity, and what follows.

    The piece's label is how the quantity was said and a number: ``pack 20`` (two packs of ten),
    ``pair 2``, ``bag 5`` (a bag of five), ``sized 5`` (five to a pack, or five packs),
    ``unsized 2`` (two packs).
    """
    first = state.pieces[index]
    many = first if first.kind == "run" else None
    at = index + 1 if many is not None else index
    cue = piece_at(state, at)
    if cue is None or cue.kind != "cue" or not cue.label.startswith(("PACK", "PAIR", "BAG")):
        return None
    if cue.start != (many.end if many else cue.start):
        return None
    counts = numbers_of(state.doc, many) if many is not None else [1]
    count = counts[-1] if counts else 1
    if cue.label == "PAIR":
        return Piece("pack", f"pair {count * 2}", first.start, cue.end), at + 1
    size_piece = piece_at(state, at + 1)
    if size_piece is not None and size_piece.kind == "run" and size_piece.start <= cue.end + 1:
        sizes = numbers_of(state.doc, size_piece)
        if len(sizes) == 1:
            how = "bag" if cue.label.startswith("BAG") else "pack"
            label = f"{how} {count * sizes[0]}"
            return Piece("pack", label, first.start, size_piece.end), at + 2
    if cue.label.startswith("BAG"):
        return None  # what is in the bag was not said
    if cue.label == "PACK one" and count > 1:
        return Piece("pack", f"sized {count}", first.start, cue.end), at + 1
    return Piece("pack", f"unsized {count}", first.start, cue.end), at + 1


def pack_is_said(state: State, index: int) -> bool:
    """A bare "pack" counts only with an item or a size beside it."""
    packed = pack_at(state, index)
    if packed is None:
        return False
    piece, following = packed
    has_item = state.clause is not None and state.clause.item is not None
    return (
        has_item or kind_at(state, following) == "item" or piece.label.startswith(("pack", "bag"))
    )


def packs_uncounted(scene: Scene, piece: Piece) -> list[Question]:
    """A question where packs were said in the plural without their number: it was lost."""
    first = words_of(scene.doc, piece)[0]
    if not first.endswith("s") or piece.label.startswith("pair"):
        return []
    sentence = f"{first.capitalize()} were heard, but not how many."
    return [ask(QuestionCode.NO_QUANTITY, sentence)]


def pack_quantity(
    scene: Scene, item_piece: Piece | None, piece: Piece
) -> tuple[int, Spoken, list[Question]]:
    """The quantity of a pack that was said without being counted out, and what to ask.

    How many are in a sealed pack is the kit's to say. One that is counted out and is short or over
    asks by its numbers, and where people say that it is not full.
    """
    how, number = piece.label.split()
    value = int(number)
    if _NOT_FULL.intersection(words_of(scene.doc, piece)):
        short = Piece(piece.kind, piece.label, piece.start + 1, piece.end)
        quantity, spoken, questions = pack_quantity(scene, item_piece, short)
        heard = scene.doc[piece.start].lower_
        return quantity, spoken, [*questions, doubt(f"“{heard} pack” was heard; how many?")]
    item = scene.kit.item(item_piece.label) if item_piece else None
    size = item.pack if item else None
    match how:
        case "pack" | "bag":
            return value, Spoken.PACK, []
        case "one":
            return value, Spoken.TOTAL, []
        case "pair":
            words = words_of(scene.doc, item_piece) if item_piece else []
            label = item.label.lower() if item else ""
            if item and any(w in label or w in words for w in ("scissors", "forceps")):
                question = doubt(f"A pair of {item.label} may be one instrument or two.")
                return value, Spoken.TOTAL, [question]
            return value, Spoken.TOTAL, []
        case "sized":
            if size == value:
                return value, Spoken.PACK, []
            other = f"; it could be {spell(value * size)}" if size else ""
            packs = f"A pack of {spell(value)} or {spell(value)} packs was heard"
            return value, Spoken.PACK, [doubt(f"{packs}{other}.")]
    packs = "A pack was" if value == 1 else f"{said(value)} packs were"
    sentence = f"{packs} heard, but not how many are in one"
    if size is None:
        return value, Spoken.PACK, [ask(QuestionCode.NO_QUANTITY, f"{sentence}.")]
    if not _OF_PACKS.intersection(words_of(scene.doc, piece)):
        return value * size, Spoken.PACK, []
    sentence += f"; the kit says {spell(size)} to a pack."
    return value * size, Spoken.PACK, [ask(QuestionCode.NO_QUANTITY, sentence)]
