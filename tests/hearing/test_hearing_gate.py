"""The gate that keeps the decoder from a room in which nobody speaks."""

import numpy as np
import pytest
from tests.hearing.conftest import RECORDINGS

from countersign.hearing import Ears, hear
from countersign.hearing.gate import Gate
from countersign.hearing.tuning import LEAD_S, STEP_S, STILL_S
from countersign.sound import SAMPLE_RATE, Block, read_blocks

STEP = round(STEP_S * SAMPLE_RATE)


def _noise(seconds: float, level: float, seed: int = 1) -> np.ndarray:
    samples = np.random.default_rng(seed).normal(0, level, round(seconds * SAMPLE_RATE))
    return samples.clip(-32_000, 32_000).astype(np.int16)


def _through(*sound: np.ndarray) -> list[tuple[int, np.ndarray]]:
    """Every stretch that came through a gate: its first sample, and its samples."""
    gate, joined, fed = Gate(), np.concatenate(sound), 0
    found: list[tuple[int, list[bytes]]] = []
    for start in range(0, len(joined) // STEP * STEP, STEP):
        was_open = gate.is_open
        steps = gate.add(joined[start : start + STEP].tobytes())
        if steps and (not found or not was_open):
            found.append((fed + gate.away, []))
        for step in steps:
            found[-1][1].append(step)
            fed += len(step) // 2
        if gate.is_open and gate.is_still:
            gate.close()
    return [(first, np.frombuffer(b"".join(steps), np.int16)) for first, steps in found]


@pytest.mark.parametrize("room", [0.0, 2.0, 60.0])
def test_a_still_room_is_kept_from_the_decoder(room: float) -> None:
    ((first, samples),) = _through(_noise(60, room))
    assert first == 0
    assert len(samples) == pytest.approx(STILL_S * SAMPLE_RATE, abs=STEP)


@pytest.mark.parametrize("room", [0.0, 6.0, 60.0])
@pytest.mark.parametrize("quiet_s", [2.0, 2.0131, 7.77, 61.0049])
def test_speech_comes_through_from_the_same_moment(room: float, quiet_s: float) -> None:
    speech = _noise(0.7, 2_000, seed=2)
    quiet = _noise(quiet_s, room)
    joined = np.concatenate([quiet, speech, _noise(4, room, seed=3)])
    _, (first, samples) = _through(joined)
    assert np.array_equal(samples, joined[first : first + len(samples)])
    lead_s = (len(quiet) - first) / SAMPLE_RATE
    assert lead_s == pytest.approx(LEAD_S, abs=0.011)
    assert first + len(samples) >= len(quiet) + len(speech) + SAMPLE_RATE


def test_speech_that_follows_soon_is_whole() -> None:
    """The gate has only just closed: what was let through before is let through again."""
    room, word = _noise(30, 6), _noise(0.4, 900, seed=4)
    for pause_s in np.arange(STILL_S - 0.1, STILL_S + 0.5, 0.033):
        begin = 3 * SAMPLE_RATE + len(word) + round(pause_s * SAMPLE_RATE)
        joined = room.copy()
        joined[3 * SAMPLE_RATE : 3 * SAMPLE_RATE + len(word)] += word
        joined[begin : begin + len(word)] += word
        stretches = _through(joined)
        reached = [
            (first, first + len(samples))
            for first, samples in stretches
            if first <= begin - round(0.3 * SAMPLE_RATE) and first + len(samples) > begin
        ]
        assert reached, pause_s
        assert reached[-1][1] >= begin + len(word)


def test_a_voice_no_louder_than_the_room_comes_through() -> None:
    """At 0 dB hardly a word can be understood; whether it can is not for the gate to say."""
    beat = np.repeat(np.random.default_rng(5).uniform(0.2, 1.8, 40), SAMPLE_RATE // 10)
    speech = (_noise(4, 300, seed=6) * beat[: 4 * SAMPLE_RATE]).astype(np.int16)
    stretches = _through(_noise(10, 300), speech + _noise(4, 300, seed=7), _noise(5, 300, seed=8))
    first, samples = stretches[1]
    assert first < 10.6 * SAMPLE_RATE
    assert first + len(samples) > 14 * SAMPLE_RATE


def _blocks(samples: np.ndarray) -> list[Block]:
    return [
        Block(samples[start : start + 3_200], start / SAMPLE_RATE)
        for start in range(0, len(samples), 3_200)
    ]


@pytest.mark.parametrize("name", ["kochers-two-ked.flac", "needles-clatter.opus"])
def test_what_was_before_changes_nothing_in_what_is_heard(ears: Ears, name: str) -> None:
    said = np.concatenate([block.samples for block in read_blocks(RECORDINGS / name)])
    told = []
    for quiet_s in (4.0, 9.0077, 63.0219):
        quiet = _noise(quiet_s, 6)
        heard = hear(ears, _blocks(np.concatenate([quiet, said, _noise(3, 6)])))
        words = [word for utterance in heard for word in utterance.words]
        told.append([(word.text, word.start_s - len(quiet) / SAMPLE_RATE) for word in words])
    assert len(told[0]) > 2
    for other in told[1:]:
        assert [text for text, _ in other] == [text for text, _ in told[0]]
        times = [at for _, at in other]
        assert times == pytest.approx([at for _, at in told[0]], abs=0.03)
