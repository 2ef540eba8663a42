"""Warnings about level, rate and channels, and the mix of several channels into one."""

import math

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays

from countersign.sound import SAMPLE_RATE, LevelMeter, blocks_from_frames, read_blocks


def sine(amplitude: float, rate: int = 16000, length_s: float = 4.0, hertz: float = 300.0):
    times = np.arange(round(length_s * rate)) / rate
    return (amplitude * np.sin(2 * np.pi * hertz * times)).astype(np.float32)


def through(frames: np.ndarray, rate: int = 16000, piece: int | None = None):
    """The blocks joined, the meter, and its codes."""
    frames = frames[:, None] if frames.ndim == 1 else frames
    piece = piece or rate // 5
    pieces = (frames[start : start + piece] for start in range(0, len(frames), piece))
    meter = LevelMeter()
    blocks = [b.samples for b in blocks_from_frames(pieces, rate, frames.shape[1], meter=meter)]
    joined = np.concatenate(blocks) if blocks else np.zeros(0, np.int16)
    return joined, meter, [warning.code for warning in meter.warnings()]


def test_a_full_scale_sine_has_minus_3_dbov():
    """ITU-T G.100.1: 0 dBov is the power of a full-scale square wave, a sine has -3.01."""
    for amplitude in (1.0, 0.5, 0.1, 0.01):
        _, meter, _ = through(sine(amplitude))
        expected = 20 * math.log10(amplitude) - 3.01
        assert meter.loud_level_dbov == pytest.approx(expected, abs=0.51)  # whole dB
    square = np.sign(sine(1.0) + 1e-6).astype(np.float32)
    assert through(square)[1].loud_level_dbov == 0


def test_speech_level_of_telephony_gives_no_warning():
    """-26 dBov, the level to which ITU-T test speech is set (P.56, G.191; from memory)."""
    noise = np.random.default_rng(0).normal(0, 10 ** (-26 / 20), 64000).astype(np.float32)
    assert through(noise)[2] == []


@pytest.mark.parametrize(
    ("level", "warned"), [(-40, False), (-48, False), (-53, True), (-90, True)]
)
def test_near_silence(level, warned):
    codes = through(sine(10 ** ((level + 3.01) / 20)))[2]
    assert codes == (["near_silence"] if warned else [])


def test_a_constant_offset_is_no_sound():
    assert through(np.full(32000, 0.3, np.float32))[2] == ["near_silence"]


def test_two_seconds_of_speech_in_a_silent_hour_are_not_near_silence():
    frames = np.zeros(16000 * 600, dtype=np.float32)
    frames[16000 * 300 : 16000 * 302] = sine(0.2, length_s=2)
    assert through(frames, piece=16000)[2] == []


def test_one_knock_does_not_hide_near_silence():
    frames = sine(10 ** (-60 / 20), length_s=30)
    frames[16000:17000] = sine(0.9, length_s=1)[:1000]
    assert through(frames)[2] == ["near_silence"]


@pytest.mark.parametrize("piece", [1, 2, 7, 3200])
def test_clipping_is_counted_by_flat_tops(piece):
    frames = sine(0.5, length_s=0.5)
    for place in (1000, 2500, 4000):
        frames[place : place + 5] = 1.0
    _, meter, codes = through(frames, piece=piece)
    assert codes == ["clipping"]
    sentence = meter.warnings()[0].sentence
    assert "3 places" in sentence and "0.1 s" in sentence  # 1000 / 16000 s = 0.0625 s
    frames[4000:4005] = 0
    assert through(frames, piece=piece)[2] == []


def test_an_overdriven_sine_is_clipped_and_an_honest_one_is_not():
    assert through(sine(1.0))[2] == []
    _, meter, codes = through(np.clip(sine(2.0), -1, 1))
    assert codes == ["clipping"]
    # 300 Hz for 4 s has 2 x 1200 half waves, each with one flat top.
    assert "2400 places" in meter.warnings()[0].sentence


def test_clipping_in_one_channel_of_two():
    left = np.clip(sine(2.0), -1, 1)
    assert "clipping" in through(np.stack([left, 0.3 * left], axis=1))[2]


@pytest.mark.parametrize(("rate", "warned"), [(6000, True), (8000, True), (11025, False)])
def test_narrow_band(tmp_path, rate, warned):
    path = tmp_path / "x.wav"
    soundfile.write(path, sine(0.3, rate), rate)
    meter = LevelMeter()
    list(read_blocks(path, meter=meter))
    assert ("narrow_band" in [w.code for w in meter.warnings()]) == warned


def amplitude(samples: np.ndarray) -> float:
    return float(np.sqrt(2 * np.mean((samples[4000:-4000] / 32768) ** 2)))


def test_channels_that_agree_are_averaged():
    mixed, _, codes = through(np.stack([sine(0.2), sine(0.4)], axis=1))
    assert amplitude(mixed) == pytest.approx(0.3, rel=1e-3) and codes == []


@pytest.mark.parametrize("silent", [0, 1])
@pytest.mark.parametrize("floor", [0.0, 1e-4])
def test_a_silent_channel_does_not_halve_the_other(silent, floor):
    channels = np.random.default_rng(0).normal(0, floor, (64000, 2)).astype(np.float32)
    channels[:, 1 - silent] = sine(0.3)
    mixed, meter, codes = through(channels)
    assert amplitude(mixed) == pytest.approx(0.3, rel=1e-3)
    assert codes == ["silent_channel"]
    assert f"channel {silent + 1} of 2" in meter.warnings()[0].sentence


def test_channels_in_opposite_phase_do_not_cancel():
    mixed, meter, codes = through(np.stack([sine(0.4), -sine(0.3)], axis=1))
    assert amplitude(mixed) == pytest.approx(0.4, rel=1e-3)
    assert codes == ["opposite_phase"] and "channel 2 of 2" in meter.warnings()[0].sentence


def test_equally_loud_channels_in_opposite_phase_do_not_cancel():
    noise = np.random.default_rng(0).normal(0, 0.1, 64000).astype(np.float32)
    mixed, _, codes = through(np.stack([noise, -noise], axis=1))
    assert np.std(mixed / 32768) == pytest.approx(0.1, rel=0.02) and codes == ["opposite_phase"]


def test_one_reversed_channel_of_four():
    channels = np.stack([sine(0.3), -sine(0.3), sine(0.3), np.zeros(64000, np.float32)], axis=1)
    mixed, _, codes = through(channels)
    assert amplitude(mixed) == pytest.approx(0.3, rel=1e-3)
    assert sorted(codes) == ["opposite_phase", "silent_channel"]


def test_two_microphones_taking_turns_are_both_heard():
    left, right = sine(0.3, length_s=10), sine(0.3, length_s=10, hertz=500)
    left[80000:] = 0
    right[:80000] = 0
    mixed, _, codes = through(np.stack([left, right], axis=1))
    assert codes == []
    for half in (mixed[8000:72000], mixed[96000:152000]):
        assert np.sqrt(2 * np.mean((half / 32768) ** 2)) >= 0.15 * 0.99


def test_silence_in_all_channels_is_one_warning():
    assert through(np.zeros((32000, 2), np.float32))[2] == ["near_silence"]


@settings(max_examples=80, deadline=None)
@given(
    frames=st.integers(1, 6).flatmap(
        lambda channels: arrays.arrays(
            np.float32,
            st.tuples(st.integers(1, 3000), st.just(channels)),
            elements=st.floats(width=32),
            fill=st.floats(width=32),
        )
    ),
    rate=st.sampled_from([4000, 8000, 11025, 16000, 44100, 192000]),
    piece=st.integers(100, 4000),
)
def test_any_frames_give_valid_blocks(frames, rate, piece):
    samples, meter, _ = through(frames, rate, piece)
    assert samples.dtype == np.int16
    assert abs(len(samples) - len(frames) * SAMPLE_RATE / rate) <= 1
    assert all(warning.sentence.endswith(".") for warning in meter.warnings())


@settings(max_examples=40, deadline=None)
@given(
    cuts=st.lists(st.integers(1, 19_999), max_size=8),
    rate=st.sampled_from([16000, 44100, 48000]),
)
def test_the_cutting_of_the_frames_does_not_change_the_samples(cuts, rate):
    noise = np.random.default_rng(4).normal(0, 0.1, (20_000, 1)).astype(np.float32)
    pieces = np.split(noise, sorted(cuts))
    whole = [b.samples for b in blocks_from_frames([noise], rate, 1)]
    parts = [b.samples for b in blocks_from_frames(pieces, rate, 1)]
    assert np.array_equal(np.concatenate(whole), np.concatenate(parts))
