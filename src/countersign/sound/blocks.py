"""Any source as blocks of 16 kHz mono sound: the one shape that hearing takes."""

import logging
import math
from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soxr
from numpy.typing import NDArray

from countersign.sound.decoder import Decoder
from countersign.sound.levels import Frames, LevelMeter, SoundWarning
from countersign.sound.mixing import Mixer
from countersign.sound.opening import open_decoder

log = logging.getLogger(__name__)

SAMPLE_RATE = 16_000
"""Samples a second in every block."""


@dataclass(frozen=True)
class Block:
    """A stretch of sound: ``samples`` is int16 of shape (n,) at 16 kHz, ``start_s`` its time."""

    samples: NDArray[np.int16]
    start_s: float


def read_blocks(
    path: str | Path, *, seconds: float = 0.2, meter: LevelMeter | None = None
) -> Iterator[Block]:
    """Read a recording of any length as blocks of ``seconds`` (the last may be shorter).

    The samples do not depend on ``seconds``, and memory does not grow with the recording. Warnings
    gather in ``meter``; without one they are logged. Raises BadInput at the call, not later.
    """
    decoder = open_decoder(Path(path))
    size = block_size(seconds)
    return _read(decoder, size, meter or LevelMeter(), logged=meter is None)


def blocks_from_frames(
    frames: Iterable[Frames],
    rate: int,
    channels: int,
    *,
    seconds: float = 0.2,
    meter: LevelMeter | None = None,
) -> Iterator[Block]:
    """Blocks from float32 frames of shape (n, channels), full scale ±1, at ``rate`` Hz.

    This is the way of every source: file, microphone or a browser's stream.
    """
    size = block_size(seconds)
    kept: list[NDArray[np.int16]] = []
    held = given = 0
    for samples in mono_samples(frames, rate, channels, meter or LevelMeter()):
        kept.append(samples)
        held += len(samples)
        if held < size:
            continue
        joined = np.concatenate(kept)
        whole = held // size * size
        for start in range(0, whole, size):
            # A copy, so that a block that is kept does not keep its neighbours alive.
            yield Block(joined[start : start + size].copy(), given / SAMPLE_RATE)
            given += size
        kept, held = [joined[whole:]], held - whole
    if held:
        yield Block(np.concatenate(kept), given / SAMPLE_RATE)


def mono_samples(
    frames: Iterable[Frames], rate: int, channels: int, meter: LevelMeter
) -> Generator[NDArray[np.int16], None, None]:
    """Stretches of int16 at 16 kHz, of whatever length comes, in step with the frames."""
    mixer = Mixer(channels, rate)
    resampler = (
        None if rate == SAMPLE_RATE else soxr.ResampleStream(rate, SAMPLE_RATE, 1, dtype="float32")
    )
    for stretch in frames:
        if not np.isfinite(stretch).all():
            meter.note(
                SoundWarning(
                    code="damaged",
                    sentence="Some samples are not numbers; they were taken as silence.",
                )
            )
            stretch = np.where(np.isfinite(stretch), stretch, np.float32(0))
        limited = np.clip(stretch, -1, 1)
        mono = mixer.mix(limited)
        meter.watch(limited, mono, rate)
        yield _to_int16(mono if resampler is None else resampler.resample_chunk(mono))
    if resampler is not None:
        yield _to_int16(resampler.resample_chunk(np.zeros(0, dtype=np.float32), last=True))
    for warning in mixer.warnings():
        meter.note(warning)


def block_size(seconds: float) -> int:
    """Samples in a block of ``seconds``; ValueError unless that is at least one."""
    size = round(seconds * SAMPLE_RATE) if math.isfinite(seconds) else 0
    if size < 1:
        raise ValueError(f"a block needs a length above 0 s, not {seconds} s")
    return size


def _read(decoder: Decoder, size: int, meter: LevelMeter, *, logged: bool) -> Iterator[Block]:
    yield from blocks_from_frames(
        decoder.frames(meter.note),
        decoder.rate,
        decoder.channels,
        seconds=size / SAMPLE_RATE,
        meter=meter,
    )
    if logged:
        for warning in meter.warnings():
            log.info("%s: %s", warning.code, warning.sentence)


def _to_int16(samples: NDArray[np.float32]) -> NDArray[np.int16]:
    return np.clip(np.rint(samples * 32768), -32768, 32767).astype(np.int16)
