"""What hearing gives: words with their times, and the other ways the sound could be read."""

from typing import Literal

from pydantic import BaseModel, ConfigDict

TALK = "<talk>"
"""The word that stands for speech outside the counting grammar (any number of spoken words)."""


class Word(BaseModel):
    """One recognised word.

    ``start_s`` and ``end_s`` are seconds from the start of the source; ``confidence`` is the
    posterior in 0..1 that this word was spoken here.
    """

    model_config = ConfigDict(frozen=True)

    text: str
    start_s: float
    end_s: float
    confidence: float = 1.0


class Alternative(BaseModel):
    """Another reading of the same stretch of sound.

    ``origin`` is ``grammar`` for a lower-ranked path of the same decoding and ``open`` for a second
    decoding that does not know the counting order. ``confidence`` is its share of the posterior
    (0..1) among the paths of its own decoding.
    """

    model_config = ConfigDict(frozen=True)

    words: tuple[Word, ...]
    confidence: float
    origin: Literal["grammar", "open"] = "grammar"

    @property
    def text(self) -> str:
        """The words joined by single spaces."""
        return " ".join(word.text for word in self.words)


class Utterance(BaseModel):
    """A stretch of speech between two pauses, best reading first, others in ``alternatives``.

    Written input has no sound: then ``start_s`` and ``end_s`` are both the line number and every
    confidence is 1.
    """

    model_config = ConfigDict(frozen=True)

    words: tuple[Word, ...]
    start_s: float
    end_s: float
    confidence: float = 1.0
    alternatives: tuple[Alternative, ...] = ()
    speaker: str | None = None

    @property
    def text(self) -> str:
        """The words joined by single spaces."""
        return " ".join(word.text for word in self.words)


class Silence(BaseModel):
    """Nothing was said up to ``until_s``, seconds from the start of the source.

    It stands between utterances where a stream carries time. No utterance that comes after it
    began before ``until_s``.
    """

    model_config = ConfigDict(frozen=True)

    until_s: float


class Partial(BaseModel):
    """The words so far of what is being said. They may still change: nothing may be kept from them.

    ``start_s`` is about when the first word began (within about half a second), ``heard_s`` how far
    the source had been heard, both in seconds from its start. ``words`` may hold ``TALK``; it is
    empty once the utterance has ended.
    """

    model_config = ConfigDict(frozen=True)

    words: tuple[str, ...]
    start_s: float
    heard_s: float

    @property
    def text(self) -> str:
        """The words joined by single spaces."""
        return " ".join(self.words)


def written(text: str, line: int) -> Utterance:
    """An utterance from one written line (``line`` counts from 1), certain of every word."""
    words = tuple(
        Word(text=token, start_s=float(line), end_s=float(line)) for token in text.lower().split()
    )
    return Utterance(words=words, start_s=float(line), end_s=float(line))
