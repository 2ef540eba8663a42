"""A pause that is noticed by the level of the sound."""

import numpy as np
import pytest

from countersign.hearing.pauses import Pause
from countersign.hearing.tuning import QUIET_S, STEP_S
from countersign.sound import SAMPLE_RATE

STEP = round(STEP_S * SAMPLE_RATE)


def _noise(seconds: float, level: float) -> np.ndarray:
    samples = np.random.default_rng(1).normal(0, level, round(seconds * SAMPLE_RATE))
    return samples.astype(np.int16)


def _noticed(*sound: np.ndarray) -> list[float]:
    """The ends of the steps, in seconds, at which a pause was noticed."""
    pause, joined = Pause(), np.concatenate(sound)
    steps = range(0, len(joined), STEP)
    found = [pause.add(joined[start : start + STEP].tobytes()) for start in steps]
    return [(n + 1) * STEP_S for n, noticed in enumerate(found) if noticed]


@pytest.mark.parametrize("room", [0.0, 5.0, 60.0])
def test_a_pause_is_noticed_once_and_in_time(room: float) -> None:
    speech = _noise(1.0, 3_000)
    found = _noticed(_noise(0.3, room), speech, _noise(2.0, room))
    assert found == pytest.approx([1.3 + QUIET_S], abs=STEP_S + 1e-6)


def test_a_breath_between_words_is_no_pause() -> None:
    speech, breath = _noise(0.4, 3_000), _noise(QUIET_S - 2 * STEP_S, 10)
    assert _noticed(speech, breath, speech, breath, speech) == []


def test_loud_noise_hides_pauses() -> None:
    """The decoder's own way of ending utterances is left to find these."""
    assert _noticed(_noise(1.0, 3_000), _noise(2.0, 1_000)) == []


def test_soft_speech_after_a_clatter_is_no_pause() -> None:
    clatter, soft = _noise(0.2, 20_000), _noise(1.5, 400)
    assert _noticed(_noise(1.0, 20), clatter, soft) == []


def test_silence_without_speech_is_one_pause() -> None:
    """Nobody has spoken, so that the decoder has no words that it could end."""
    assert _noticed(np.zeros(5 * SAMPLE_RATE, np.int16)) == [pytest.approx(QUIET_S)]
    assert Pause().add(b"") is False
