"""Cuts recognised or written words into the tokens that the matcher works on."""

import re
from dataclasses import dataclass

from countersign.hearing.readings import has_word
from countersign.hearing.utterance import TALK, Alternative, Utterance, Word

UNKNOWN = "[unk]"
"""What a recogniser with a closed vocabulary writes for a word outside it."""

BREAK = "<break>"
"""A pause between two utterances: no phrase and no number spans it, a count may."""

_PIECES = re.compile(
    r"\d+:\d{1,3}(?:,\d{3})+|\d+:\d+"  # a ratio strength
    r"|\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d*\.\d+|\d+(?=(?:mg|mcg|ug|ml|mls|cc|g|%)(?:\W|$))|\d+(?=$|\W)"
    r"|%|[^\W_]+(?:'[^\W_]+)*(?:/[^\W_]+)?|/"
)


@dataclass(frozen=True)
class Token:
    """One token with the time, confidence and speaker of the word that it came from."""

    text: str
    start_s: float
    end_s: float
    confidence: float = 1.0
    speaker: str | None = None
    heard: str | None = None
    """The word as heard, on the first token of a word; ``None`` on the others and on breaks."""
    seconded: float = 0.0
    """How sure the open decoding is of a reading that has this word too; 0 where it has another."""

    @property
    def is_sound(self) -> bool:
        """Whether it was heard: written words take no time."""
        return self.end_s > self.start_s


def pieces(text: str) -> list[str]:
    """The lower-case pieces of one word: "0.25%" is two, "x-ray" is two, "mg/mL" is one."""
    lowered = text.lower().replace("’", "'")
    if lowered in (TALK, UNKNOWN, BREAK):
        return [lowered]
    return _PIECES.findall(lowered)


def tokens_of(
    words: tuple[Word, ...], speaker: str | None = None, open_reading: Alternative | None = None
) -> tuple[Token, ...]:
    """The tokens of some words in order. ``open_reading`` is how else their sound was decoded."""
    found: list[Token] = []
    for word in words:
        agrees = open_reading is not None and has_word(open_reading, word)
        for index, piece in enumerate(pieces(word.text)):
            found.append(
                Token(
                    text=piece,
                    start_s=word.start_s,
                    end_s=word.end_s,
                    confidence=word.confidence,
                    speaker=speaker,
                    heard=word.text if index == 0 else None,
                    seconded=open_reading.confidence if open_reading and agrees else 0.0,
                )
            )
    return tuple(found)


def pause(utterance: Utterance) -> Token:
    """The break before an utterance."""
    return Token(text=BREAK, start_s=utterance.start_s, end_s=utterance.start_s)
