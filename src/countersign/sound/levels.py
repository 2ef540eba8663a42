"""What is wrong with the sound itself, told as warnings that never stop the reading."""

import math
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict

Frames = NDArray[np.float32]
"""Sound at its own rate: shape (frames, channels), full scale at ±1."""

WarningCode = Literal[
    "clipping",
    "near_silence",
    "narrow_band",
    "ends_early",
    "damaged",
    "silent_channel",
    "opposite_phase",
    "gap",
]

NARROW_BAND_HZ = 8000
"""At or under this rate nothing above 4 kHz is left, where s, f and th differ most."""

CLIPPED = 32766 / 32768
"""A sample at or past this value sits at the end of the 16-bit scale."""

CLIPPED_RUN = 3
"""A lone full-scale sample may be an honest peak; this many in a row are a flat top."""

WORTH_SAYING = 3
"""Flat tops in the whole source before clipping is worth a warning."""

NEAR_SILENCE_DBOV = -50.0
"""Speech is lined up at -26 dBov in telephony practice (ITU-T P.56 and G.191, from memory); 24 dB
below that the recogniser works on what is mostly noise."""

_WINDOW_S = 0.1
_LOUD_WINDOWS = 10
_FLOOR_DBOV = -120


class SoundWarning(BaseModel):
    """One warning: a code for programs and a sentence for people."""

    model_config = ConfigDict(frozen=True)

    code: WarningCode
    sentence: str


class LevelMeter:
    """Watches the sound go by, in constant memory, and says what people should know about it.

    Hand one to ``read_blocks`` or ``microphone.blocks`` and ask for ``warnings()`` at any time;
    the answer is complete once the last block has been read. One meter serves one source.
    """

    def __init__(self) -> None:
        """Start with nothing seen."""
        self._notes: dict[str, SoundWarning] = {}
        self._rate = 0
        self._frames = 0
        self._flat_tops = 0
        self._first_flat_top_s = 0.0
        self._run: NDArray[np.int64] | None = None
        self._levels = np.zeros(-_FLOOR_DBOV + 1, dtype=np.int64)
        self._waiting = np.zeros(0, dtype=np.float32)

    def note(self, warning: SoundWarning) -> None:
        """Keep a warning found elsewhere; only the first with each code is kept."""
        self._notes.setdefault(warning.code, warning)

    def watch(self, frames: Frames, mono: NDArray[np.float32], rate: int) -> None:
        """Take in one stretch of sound.

        ``frames`` is (n, channels) as recorded, ``mono`` the (n,) mix that is listened to, ``rate``
        their rate in Hz.
        """
        self._rate = rate
        self._count_flat_tops(frames)
        self._frames += len(frames)
        window = max(1, round(rate * _WINDOW_S))
        waiting = np.concatenate((self._waiting, mono)) if len(self._waiting) else mono
        whole = len(waiting) // window * window
        if whole:
            self._levels += _histogram(waiting[:whole].reshape(-1, window))
        self._waiting = waiting[whole:].copy()

    @property
    def loud_level_dbov(self) -> float | None:
        """The level that the loudest second stays above, in whole dBov; None before any sound.

        0 dBov is the power of a full-scale square wave, so that a full-scale sine has -3.01 dBov
        (ITU-T G.100.1). Sources shorter than ten seconds answer for their loudest tenth.
        """
        levels = self._levels
        if not levels.any():
            if not len(self._waiting):
                return None
            levels = _histogram(self._waiting[np.newaxis])
        wanted = max(1, min(_LOUD_WINDOWS, int(levels.sum()) // 10))
        return -float(np.searchsorted(np.cumsum(levels), wanted))

    def warnings(self) -> tuple[SoundWarning, ...]:
        """Every warning so far: about the source first, then about its level."""
        found = list(self._notes.values())
        if 0 < self._rate <= NARROW_BAND_HZ:
            found.append(
                SoundWarning(
                    code="narrow_band",
                    sentence=f"The source has only {self._rate} samples a second, as a telephone "
                    "does, so words that differ in their consonants are easily confused.",
                )
            )
        if self._flat_tops >= WORTH_SAYING:
            found.append(
                SoundWarning(
                    code="clipping",
                    sentence=f"The sound is clipped in {self._flat_tops} places, first at "
                    f"{self._first_flat_top_s:.1f} s: the microphone level is too high.",
                )
            )
        loud = self.loud_level_dbov
        if loud is not None and loud < NEAR_SILENCE_DBOV:
            found.append(
                SoundWarning(
                    code="near_silence",
                    sentence="The sound is silent throughout."
                    if loud <= _FLOOR_DBOV
                    else "The sound is close to silence: even its loudest parts lie "
                    f"{-loud:.0f} dB below full scale.",
                )
            )
        return tuple(found)

    def _count_flat_tops(self, frames: Frames) -> None:
        if self._run is None or len(self._run) != frames.shape[1]:
            self._run = np.zeros(frames.shape[1], dtype=np.int64)
        if not len(frames):
            return
        full = np.abs(frames) >= CLIPPED
        if not full.any():
            self._run[:] = 0
            return
        for channel in range(frames.shape[1]):
            carried = int(self._run[channel])
            # A run that began in the stretch before goes on here.
            padded = np.concatenate(([False], full[:, channel], [False]))
            turns = np.flatnonzero(padded[1:] != padded[:-1])
            starts, ends = turns[::2], turns[1::2]
            lengths = ends - starts
            before = np.zeros(len(lengths), dtype=np.int64)
            if len(starts) and starts[0] == 0:
                before[0] = carried
            new = (before < CLIPPED_RUN) & (before + lengths >= CLIPPED_RUN)
            if new.any() and not self._flat_tops:
                first = int(starts[np.flatnonzero(new)[0]])
                self._first_flat_top_s = (self._frames + first) / self._rate
            self._flat_tops += int(new.sum())
            touches_end = bool(len(ends)) and ends[-1] == len(frames)
            self._run[channel] = (before[-1] + lengths[-1]) if touches_end else 0


def _histogram(windows: NDArray[np.float32]) -> NDArray[np.int64]:
    """How many windows (rows) have each level, in steps of 1 dB down from 0 dBov."""
    # The variance leaves out a constant offset, which is no sound.
    powers = windows.var(axis=1, dtype=np.float64)
    down = np.round(-10 * np.log10(np.maximum(powers, 1e-12)))
    return np.bincount(
        np.clip(down, 0, -_FLOOR_DBOV).astype(np.intp), minlength=-_FLOOR_DBOV + 1
    ).astype(np.int64)


def seconds(value: float) -> str:
    """A time for a sentence: ``4.2 s``, ``1:02:03 h`` from an hour on."""
    if not math.isfinite(value) or value < 3600:
        return f"{value:.1f} s"
    whole = round(value)
    return f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d} h"
