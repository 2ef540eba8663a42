"""Recordings of hours: the memory does not grow with the length."""

import struct
import tracemalloc

import numpy as np

from countersign.sound import SAMPLE_RATE, LevelMeter, open_source, read_blocks, write_clip

HOURS = 3


def long_wav(path, hours=HOURS, rate=16000):
    """Three hours of silence in no time: a header, then a hole that the file system fills."""
    length = hours * 3600 * rate * 2
    described = struct.pack("<IHHIIHH", 16, 1, 1, rate, rate * 2, 2, 16)
    with path.open("wb") as file:
        file.write(b"RIFF" + struct.pack("<I", 36 + length) + b"WAVEfmt " + described)
        file.write(b"data" + struct.pack("<I", length))
        file.truncate(44 + length)
    return path


def test_three_hours_in_constant_memory(tmp_path):
    path = long_wav(tmp_path / "long.wav")
    assert open_source(path).duration_s == HOURS * 3600
    meter = LevelMeter()
    total = 0
    tracemalloc.start()
    try:
        for block in read_blocks(path, meter=meter, seconds=1.0):
            total += len(block.samples)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert total == HOURS * 3600 * SAMPLE_RATE
    # The samples alone would take 345 MB.
    assert peak < 4_000_000
    assert [warning.code for warning in meter.warnings()] == ["near_silence"]


def test_a_clip_late_in_a_long_recording_reads_only_its_surroundings(tmp_path):
    path = long_wav(tmp_path / "long.wav")
    with path.open("r+b") as file:
        file.seek(44 + 2 * 16000 * 10_000)
        file.write(np.arange(1, 16001, dtype="<i2").tobytes())
    tracemalloc.start()
    try:
        out = write_clip(path, 9_999.5, 10_001.5, tmp_path / "clip.wav")
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    samples = np.frombuffer(out.read_bytes()[44:], dtype="<i2")
    assert len(samples) == 32000 and not samples[:8000].any() and not samples[24000:].any()
    assert np.array_equal(samples[8000:24000], np.arange(1, 16001))
    assert peak < 4_000_000
