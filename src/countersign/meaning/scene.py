"""What words are judged by, and the event that some of them become."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from countersign.kit.model import Kit
from countersign.meaning.event import Event, Phase, Question, QuestionCode
from countersign.meaning.numbers import is_number_word
from countersign.meaning.pieces import Piece, words_of
from countersign.meaning.questions import ask
from countersign.meaning.words import BREAK, Token

if TYPE_CHECKING:
    from spacy.tokens import Doc

LOW_CONFIDENCE = 0.94
"""Below this probability a number or item word is asked about. Chosen from the table that
``python -m tests.benchmarks.calibrate`` prints: a lower one lets more wrong lines pass, from 0.97
on many more of those that are right are asked about."""

SECONDED = 0.9
"""An open decoding this sure of its best reading leaves no room for words that are easily taken for
each other ("adding" for "bagging", "two" for "ten", "mesh" for "metz", "six" for "s eight"): of 29
lines of four models in which that happened, and nothing else told, it was sure of none. The surest
had 0.82 (recordings of ``python -m tests.benchmarks.lines``)."""


@dataclass
class Scene:
    """The document, the kit, the count under way, and the day (``None`` leaves expiries alone).

    ``recounting`` after a count was said to be off, or a recount was asked for.
    """

    doc: "Doc"
    kit: Kit
    phase: Phase | None
    today: date | None
    recounting: bool = False

    @property
    def counting(self) -> bool:
        """Whether people are counting, so that little else is said."""
        return self.phase is not None or self.recounting

    @property
    def heard(self) -> tuple[Token, ...]:
        """The tokens of the document."""
        heard: tuple[Token, ...] = self.doc._.heard
        return heard


def label(scene: Scene, piece: Piece) -> str:
    """The label of an item piece."""
    return scene.kit.item(piece.label).label


def plural(scene: Scene, item: Piece) -> bool:
    """Whether the item was said in the plural."""
    form = " ".join(words_of(scene.doc, item))
    spoken = {s.lower().replace("-", " ") for s in scene.kit.item(item.label).spoken}
    if form.endswith(("scissors", "forceps")):
        return False  # one instrument, though it sounds like several
    return form.endswith("s") and (form[:-1] in spoken or form[:-2] in spoken)


def low_confidence(scene: Scene, matter: Sequence[int]) -> list[Question]:
    """A question for each word at these positions that was not heard clearly."""
    weak = [
        scene.heard[position]
        for position in matter
        if scene.heard[position].confidence < LOW_CONFIDENCE
    ]
    return [
        ask(QuestionCode.LOW_CONFIDENCE, f"“{token.text}” was not heard clearly.")
        for token in dict.fromkeys(weak)
    ]


def is_seconded(scene: Scene, positions: Iterable[int]) -> bool:
    """Whether the open decoding heard the words at these positions too, and is sure of it."""
    return all(scene.heard[position].seconded >= SECONDED for position in positions)


def two_or_ten(scene: Scene, positions: Iterable[int]) -> list[Question]:
    """A question about "two" and "ten" before a word that begins with m or n; not in writing.

    The bundled model hears "two" for "ten mils" and "ten knife blades", surely and in both
    decodings, though the open one is never sure of it; for "two needles" it hears "ten", of which
    the open one may be sure as well. Of volumes no such "ten" was seen.
    """
    heard = scene.heard
    for at in positions:
        number = heard[at].text
        if at + 1 >= len(heard) or number not in ("two", "ten") or not heard[at].is_sound:
            continue
        before = heard[at - 1].text if at else ""
        joined = is_number_word(before) and before != "thousand"  # a ratio ends so
        after = heard[at + 1].text
        if before == "point" or joined or is_number_word(after) or not after.startswith(_NASAL):
            continue
        sure = is_seconded(scene, (at, at + 1)) if number == "two" else after.startswith(_VOLUME)
        if not sure:
            other = "ten" if number == "two" else "two"
            return [ask(QuestionCode.OTHER_READING, f"Heard {number}, which sounds like {other}.")]
    return []


_NASAL = ("m", "n", "kn")
"""Letters that a word which begins with m or n, as it is spoken, begins with."""
_VOLUME = ("mil", "ml")


def make_event(
    scene: Scene,
    start: int,
    end: int,
    *,
    matter: Sequence[int] = (),
    questions: Sequence[Question] = (),
    **values: object,
) -> Event:
    """The event of the tokens from ``start`` to ``end``.

    ``matter`` are the positions whose confidence counts; ``values`` are fields of the event.
    """
    span = scene.heard[start:end]
    said_words = [t.heard for t in span if t.heard is not None and t.text != BREAK]
    real = [t for t in span if t.text != BREAK] or list(span)
    speakers = {t.speaker for t in real}
    return Event.model_validate(
        {
            **values,
            "words": " ".join(said_words),
            "start_s": min(t.start_s for t in real),
            "end_s": max(t.end_s for t in real),
            "speaker": speakers.pop() if len(speakers) == 1 else None,
            "confidence": min((scene.heard[p].confidence for p in matter), default=1.0),
            "questions": tuple(dict.fromkeys(questions)),
        }
    )
