"""Clips hold exactly what was asked for, and appear whole or not at all."""

import os
import shutil
import subprocess
import wave

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from countersign.problems import BadInput
from countersign.sound import read_blocks, write_clip


def recording(path, rate=16000, channels=1, length_s=5.0, **options):
    data = np.random.default_rng(1).normal(0, 0.1, (round(rate * length_s), channels))
    soundfile.write(path, data, rate, **options)
    return path


def whole(path):
    return np.concatenate([block.samples for block in read_blocks(path)])


def clip_of(path):
    with wave.open(str(path), "rb") as file:  # the standard library's reader
        assert file.getparams()[:3] == (1, 2, 16000)
        return np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(start=st.floats(-1, 4.9), length=st.floats(0.001, 6))
def test_a_clip_is_that_slice(tmp_path, start, length):
    path = tmp_path / "x.wav"
    if not path.exists():
        recording(path)
    end = start + length
    if end <= 0.001:
        return
    samples = clip_of(write_clip(path, start, end, tmp_path / "clip.wav"))
    first, last = round(max(0, start) * 16000), round(end * 16000)
    assert np.array_equal(samples, whole(path)[first:last])


@pytest.mark.parametrize(
    ("container", "coding", "rate", "tolerance"),
    [("WAV", "PCM_16", 44100, 1), ("FLAC", "PCM_16", 48000, 1), ("OGG", "VORBIS", 44100, 2),
     ("OGG", "OPUS", 48000, 400), ("MP3", "MPEG_LAYER_III", 44100, 30)],
)  # fmt: skip
def test_a_clip_matches_the_whole_reading(tmp_path, container, coding, rate, tolerance):
    """Decoders that carry state over (Opus, MP3) may differ a little after a jump, not in time."""
    path = recording(tmp_path / "x", rate, 2, format=container, subtype=coding)
    samples = clip_of(write_clip(path, 2.25, 3.5, tmp_path / "clip.wav")).astype(int)
    expected = whole(path)[36000:56000].astype(int)
    assert len(samples) == 20000
    assert np.abs(samples - expected).max() <= tolerance


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="the program ffmpeg is not installed")
def test_a_clip_through_ffmpeg(tmp_path):
    plain = recording(tmp_path / "x.wav", 44100, 2)
    path = tmp_path / "x.m4a"
    subprocess.run(["ffmpeg", "-nostdin", "-loglevel", "error", "-i", plain, path], check=True)
    samples = clip_of(write_clip(path, 2.25, 3.5, tmp_path / "clip.wav"))
    reading = whole(path)
    # AAC fills some bands with noise anew at each decoding, so the likeness is not perfect; that
    # it is greatest without a shift shows that the clip is at its place.
    likeness = [
        np.corrcoef(samples, reading[36000 + shift : 56000 + shift])[0, 1]
        for shift in range(-20, 21)
    ]
    assert int(np.argmax(likeness)) == 20 and max(likeness) > 0.7


def test_refusals_leave_nothing_behind(tmp_path):
    path = recording(tmp_path / "x.wav")
    before = path.read_bytes()
    out = tmp_path / "out"
    out.mkdir()
    for start, end, target in [
        (2, 2, out / "c.wav"),
        (3, 2, out / "c.wav"),
        (-3, -2, out / "c.wav"),
        (float("nan"), 2, out / "c.wav"),
        (0, float("inf"), out / "c.wav"),
        (5, 6, out / "c.wav"),
        (60, 61, out / "c.wav"),
        (1, 2, out),
        (1, 2, out / "missing" / "c.wav"),
        (1, 2, path),
    ]:
        with pytest.raises(BadInput) as caught:
            write_clip(path, start, end, target)
        assert str(caught.value).endswith(".")
    with pytest.raises(BadInput):
        write_clip(tmp_path / "none.wav", 1, 2, out / "c.wav")
    assert list(out.iterdir()) == [] and path.read_bytes() == before


def test_an_interrupted_clip_keeps_the_older_file(tmp_path, monkeypatch):
    path = recording(tmp_path / "x.wav")
    out = write_clip(path, 1, 2, tmp_path / "clip.wav")
    before = out.read_bytes()

    def full(*_):
        raise OSError(28, os.strerror(28))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match="cannot be written"):
        write_clip(path, 2, 3, out)
    assert out.read_bytes() == before
    assert sorted(entry.name for entry in tmp_path.iterdir()) == ["clip.wav", "x.wav"]
