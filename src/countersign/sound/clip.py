"""A short piece of a recording as a file of its own, for a person to listen to."""

import contextlib
import math
import os
import tempfile
import wave
from pathlib import Path

from countersign.problems import BadInput
from countersign.sound.blocks import SAMPLE_RATE, mono_samples
from countersign.sound.levels import LevelMeter
from countersign.sound.opening import open_decoder

_RUN_UP_S = 1


def write_clip(path: str | Path, start_s: float, end_s: float, out: str | Path) -> Path:
    """Write ``start_s`` to ``end_s`` of a recording to ``out`` as 16 kHz mono 16-bit WAV.

    A start before 0 means 0, an end past the end means the end. ``out`` appears whole or not at
    all, and an older file there is replaced; the path is given back. Raises BadInput.
    """
    path, out = Path(path), Path(out)
    if not (math.isfinite(start_s) and math.isfinite(end_s) and max(start_s, 0) < end_s):
        raise BadInput(f"A clip from {start_s} s to {end_s} s has no length.")
    decoder = open_decoder(path)
    if out.is_dir():
        raise BadInput(f"{out} is a folder, and the clip needs a file name.")
    if out.exists() and out.samefile(path):
        raise BadInput(f"{out} is the recording itself and must not be overwritten.")
    first, last = round(max(start_s, 0) * SAMPLE_RATE), round(end_s * SAMPLE_RATE)
    # From a whole second on, samples fall at the same instants as when read from the beginning;
    # the second before lets the resampler settle.
    from_s = max(0, first // SAMPLE_RATE - _RUN_UP_S)
    position = from_s * SAMPLE_RATE
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{out.name}.", suffix=".part", dir=out.parent)
    except OSError as error:
        raise BadInput(f"{out} cannot be written: {error.strerror}.") from error
    try:
        with os.fdopen(handle, "wb") as file:
            with wave.open(file, "wb") as clip:
                clip.setnchannels(1)
                clip.setsampwidth(2)
                clip.setframerate(SAMPLE_RATE)
                meter = LevelMeter()
                frames = decoder.frames(meter.note, from_s)
                with contextlib.closing(
                    mono_samples(frames, decoder.rate, decoder.channels, meter)
                ) as stretches:
                    for samples in stretches:
                        wanted = samples[max(0, first - position) : max(0, last - position)]
                        clip.writeframes(wanted.astype("<i2").tobytes())
                        position += len(samples)
                        if position >= last:
                            break
            if position <= first:
                raise BadInput(f"{path} ends before {start_s:.1f} s, so there is nothing to clip.")
            file.flush()
            os.fsync(file.fileno())
        Path(temporary).replace(out)
    except OSError as error:
        raise BadInput(f"{out} cannot be written: {error.strerror}.") from error
    finally:
        Path(temporary).unlink(missing_ok=True)
    return out
