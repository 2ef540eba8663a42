"""The pieces of a tagged document: what means something, and what parts it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from countersign.hearing.utterance import TALK
from countersign.meaning.cues import FILLERS, GROUP_WORDS
from countersign.meaning.medication.amounts import strength_at, volume_at
from countersign.meaning.numbers import split_run
from countersign.meaning.words import BREAK, UNKNOWN

if TYPE_CHECKING:
    from spacy.tokens import Doc


@dataclass(frozen=True)
class Piece:
    """A stretch of the document that means something, or that parts what does.

    ``kind`` is ``item``, ``part`` (of one), ``medication``, ``run`` (of numbers), ``amount`` (a
    number with its unit, which is never a count), ``cue``, ``group``, ``pause`` (between
    utterances), ``talk`` (speech outside the grammar) or ``stranger`` (a word known to be none of
    ours). ``label`` is the kit id, cue label or group.
    """

    kind: str
    label: str
    start: int
    end: int


def pieces_of(doc: "Doc") -> list[Piece]:
    """The pieces of a document in order; fillers are left out."""
    covered: dict[int, Piece] = {}
    for span in doc.spans["kit"]:
        kind = span.label_.lower()
        covered[span.start] = Piece(kind, span.id_, span.start, span.end)
    for span in doc.spans["cues"]:
        covered[span.start] = Piece("cue", span.label_, span.start, span.end)
    amounts = _amounts(doc)
    for span in doc.spans["runs"]:
        end = min([span.end, *(amount for amount in amounts if amount >= span.start)])
        covered[span.start] = Piece("run", "", span.start, end)
    for start, end in amounts.items():
        covered[start] = Piece("amount", "", start, end)
    found: list[Piece] = []
    position = 0
    while position < len(doc):
        piece = covered.get(position)
        if piece is not None:
            found.append(piece)
            position = piece.end
            continue
        text = doc[position].lower_
        if text == BREAK:
            found.append(Piece("pause", "", position, position + 1))
        elif text in (TALK, UNKNOWN):
            found.append(Piece("talk", "", position, position + 1))
        elif text in GROUP_WORDS and (
            text != "small" or doc[position + 1 : position + 2].text.startswith("item")
        ):
            end = position + (2 if text == "small" else 1)
            found.append(Piece("group", GROUP_WORDS[text].value, position, end))
            position = end
            continue
        elif text not in FILLERS:
            found.append(Piece("stranger", "", position, position + 1))
        position += 1
    return found


def _amounts(doc: "Doc") -> dict[int, int]:
    """Where numbers with a unit begin and end, outside the words of the kit."""
    words = [token.lower_ for token in doc]
    taken = {at for span in doc.spans["kit"] for at in range(span.start, span.end)}
    found: dict[int, int] = {}
    position = 0
    while position < len(words):
        amount = strength_at(words, position) or volume_at(words, position)
        if amount is None or taken.intersection(range(position, amount[1])):
            position += 1
            continue
        found[position] = amount[1]
        position = amount[1]
    return found


def words_of(doc: "Doc", piece: Piece) -> list[str]:
    """The words of a piece in lower case."""
    return [token.lower_ for token in doc[piece.start : piece.end]]


def numbers_of(doc: "Doc", piece: Piece, previous: int | None = None) -> list[int]:
    """The numbers of a run, after ``previous``."""
    words = [token._.number for token in doc[piece.start : piece.end]]
    return [value for value, _, _ in split_run(words, previous)]
