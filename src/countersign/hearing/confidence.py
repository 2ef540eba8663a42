"""Confidence that means what it says: of the words heard with 0.9, nine in ten were said.

The share of the decoder's readings that have a word overstates how sure it is: inside a closed
grammar all readings may agree on a word that nobody said. A logistic map (Platt 1999) turns the
share and what else is known about the utterance into a probability. Its weights were fitted on
speech kept out of training (``python -m tests.benchmarks.calibrate``) and lie in the model's
folder, ``confidence.json``; a model without that file keeps its shares.
"""

import json
import math
from collections.abc import Sequence
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from countersign.hearing.readings import has_word
from countersign.hearing.tuning import AMID_TALK
from countersign.hearing.utterance import TALK, Utterance, Word
from countersign.problems import BadInput

FILE = "confidence.json"
_LEAST_SHARE = 0.01
"""Shares nearer to 0 or 1 than this are taken for this: they are sums over a few readings."""


class Calibration(BaseModel):
    """Weights of the evidence named in :data:`EVIDENCE`, and the constant beside them."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    constant: float
    weights: dict[str, float]


EVIDENCE: tuple[str, ...] = (
    "share", "open_share", "open_same", "few", "length", "apart", "calm",
)  # fmt: skip
"""More of any of these makes a word surer.

``share``: log odds of the word's share of the readings. ``open_share``: the share of the open
decoding's best reading among its own. ``open_same``: the part of the utterance's words that this
reading has too, at the same time. ``few``: less one for each different reading of the grammar.
``length``: logarithm of the number of words, since a long utterance has more readings. ``apart``:
1 where no talk touches the word, 0.5 where it does on one side. ``calm``: the part of the utterance
that is not talk, by time.
"""

_TOUCHING_S = 0.08


def read_calibration(folder: Path) -> Calibration | None:
    """The calibration of the model in ``folder``, ``None`` if it has none.

    ``BadInput`` if the file cannot be understood.
    """
    path = folder / FILE
    try:
        found = Calibration.model_validate(json.loads(path.read_text(encoding="utf-8")))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, ValidationError):
        raise BadInput(f"The calibration in {path} cannot be read.") from None
    if found.weights.keys() != set(EVIDENCE):
        raise BadInput(f"The calibration in {path} is of another version of the program.")
    return found


def calibrated(utterance: Utterance, calibration: Calibration) -> Utterance:
    """The utterance with every confidence turned into a probability.

    Talk keeps its share. Unlikely words beside talk are talk as well. The utterance is as sure as
    its weakest word.
    """
    words = tuple(
        word if word.text == TALK else word.model_copy(update={"confidence": sure})
        for word, sure in zip(
            utterance.words,
            (probability(row, calibration) for row in evidence(utterance)),
            strict=True,
        )
    )
    words = _unlikely_as_talk(words)
    spoken = [word.confidence for word in words if word.text != TALK]
    confidence = min(spoken, default=utterance.confidence)
    return utterance.model_copy(update={"words": words, "confidence": confidence})


def _unlikely_as_talk(words: tuple[Word, ...]) -> tuple[Word, ...]:
    """Words next to talk that are less likely than :data:`AMID_TALK` turned into talk, one by one
    from the talk outwards."""
    heard = list(words)
    for order in (range(1, len(heard)), range(len(heard) - 2, -1, -1)):
        for at in order:
            beside = heard[at - order.step]
            if beside.text == TALK and heard[at].confidence < AMID_TALK:
                heard[at] = heard[at].model_copy(update={"text": TALK})
    return tuple(heard)


def probability(row: Sequence[float], calibration: Calibration) -> float:
    """From one row of evidence to a probability."""
    score = calibration.constant + sum(
        calibration.weights[name] * value for name, value in zip(EVIDENCE, row, strict=True)
    )
    return round(1 / (1 + math.exp(-max(-30.0, min(30.0, score)))), 4)


def evidence(utterance: Utterance) -> list[list[float]]:
    """One row of :data:`EVIDENCE` for each word of the best reading."""
    words = utterance.words
    open_reading = next((a for a in utterance.alternatives if a.origin == "open"), None)
    spoken = [word for word in words if word.text != TALK]
    agreed = [open_reading is not None and has_word(open_reading, word) for word in spoken]
    talk_s = sum(word.end_s - word.start_s for word in words if word.text == TALK)
    whole_s = words[-1].end_s - words[0].start_s
    same_for_all = [
        open_reading.confidence if open_reading is not None else 0.0,
        sum(agreed) / len(agreed) if agreed else 0.0,
        -float(sum(a.origin == "grammar" for a in utterance.alternatives)),
        math.log(max(1, len(spoken))),
    ]
    calm = 1.0 - talk_s / whole_s if whole_s > 0 else 1.0
    rows = []
    for place, word in enumerate(words):
        share = min(1 - _LEAST_SHARE, max(_LEAST_SHARE, word.confidence))
        touched = _touches(words, place - 1, place) + _touches(words, place + 1, place)
        rows.append([math.log(share / (1 - share)), *same_for_all, 1.0 - touched / 2, calm])
    return rows


def _touches(words: Sequence[Word], other: int, place: int) -> bool:
    """Whether the neighbour at ``other`` is talk without a pause between it and the word."""
    if not 0 <= other < len(words) or words[other].text != TALK:
        return False
    first, second = sorted((other, place))
    return words[second].start_s - words[first].end_s < _TOUCHING_S
