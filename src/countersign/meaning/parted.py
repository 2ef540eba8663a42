"""An utterance with a pause inside that would have ended it is as many utterances as it has parts.

The decoder ends an utterance only where its grammar may end, so that "cancel that", a pause, and
"laps three" may come as one, and would read as one correction.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from countersign.hearing.utterance import TALK, Alternative, Utterance, Word

PAUSE_S = 1.0
"""A pause of this length ends an utterance anywhere (``endpoint.rule4`` of hearing's tuning)."""

LONGEST_WORD_S = 1.3
"""A word that seems to last longer has a pause in it: the longest that synthetic voices spoke,
"bupivacaine", took 1.2 s."""


def parted(utterance: Utterance) -> Iterator[Utterance]:
    """The parts of an utterance, each with what the other readings have in its time."""
    cuts = [
        (_end_s(one) + other.start_s) / 2
        for one, other in pairwise(utterance.words)
        if other.start_s - one.end_s >= PAUSE_S or _end_s(one) < one.end_s
    ]
    if not cuts:
        yield utterance
        return
    for from_s, to_s in pairwise((float("-inf"), *cuts, float("inf"))):
        words = _between(utterance.words, from_s, to_s)
        yield utterance.model_copy(
            update={
                "words": words,
                "start_s": words[0].start_s,
                "end_s": words[-1].end_s,
                "confidence": min(word.confidence for word in words),
                "alternatives": tuple(_others(utterance, words, from_s, to_s)),
            }
        )


def _end_s(word: Word) -> float:
    """When a word ends at the latest; talk may last as long as it likes."""
    return word.end_s if word.text == TALK else min(word.end_s, word.start_s + LONGEST_WORD_S)


def _between(words: Sequence[Word], from_s: float, to_s: float) -> tuple[Word, ...]:
    return tuple(word for word in words if from_s <= word.start_s < to_s)


def _others(
    utterance: Utterance, words: Sequence[Word], from_s: float, to_s: float
) -> list[Alternative]:
    """The readings in this time; of the grammar only those that say something else, each once."""
    best = " ".join(word.text for word in words)
    found: dict[tuple[str, str], Alternative] = {}
    for reading in utterance.alternatives:
        part = reading.model_copy(update={"words": _between(reading.words, from_s, to_s)})
        if part.origin == "grammar" and part.text in ("", best):
            continue
        key = part.origin, part.text
        share = found[key].confidence if key in found else 0.0
        found[key] = part.model_copy(update={"confidence": part.confidence + share})
    return list(found.values())
