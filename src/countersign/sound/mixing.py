"""Several channels to one, without losing the speech on the way."""

import numpy as np
from numpy.typing import NDArray

from countersign.sound.levels import Frames, SoundWarning

SILENT_BELOW = 1e-4
"""A channel whose loudest moment has this share of the power of the loudest channel's (-40 dB) is
taken for an input with nothing plugged in."""

SILENT_POWER = 1e-9
"""Mean square below which a channel is silent by itself (about one 16-bit step)."""

OPPOSITE_BELOW = -0.5
"""Correlation at which two channels cancel more than they add."""

_MEMORY_S = 10.0


class Mixer:
    """Averages the channels that carry sound and agree in phase.

    Plain averaging wipes out speech that comes in with opposite signs (a cable wired the wrong way
    round) and halves speech that only one channel carries. Silent channels are left out, and so is
    a channel in opposite phase to the loudest. The choice follows the sound as it comes, so that a
    live stream and a file are treated alike; changes are faded over one stretch.
    """

    def __init__(self, channels: int, rate: int) -> None:
        """Mix ``channels`` channels of sound at ``rate`` Hz."""
        self._rate = rate
        self._channels = channels
        self._loudest = np.zeros(channels)
        self._memory = np.zeros((channels, channels))
        self._reference = 0
        self._opposite = np.zeros(channels, dtype=bool)
        self._opposite_frames = np.zeros(channels, dtype=np.int64)
        self._sounding_frames = 0
        self._weights: NDArray[np.float64] | None = None

    def mix(self, frames: Frames) -> NDArray[np.float32]:
        """One stretch of (n, channels) to (n,)."""
        if self._channels == 1 or not len(frames):
            return frames.mean(axis=1) if self._channels > 1 else frames[:, 0]
        weights = self._choose(frames)
        if self._weights is None or np.array_equal(weights, self._weights):
            mono = frames @ weights.astype(np.float32)
        else:
            fade = np.linspace(0, 1, len(frames), dtype=np.float32)[:, np.newaxis]
            steps = (1 - fade) * self._weights.astype(np.float32) + fade * weights.astype(
                np.float32
            )
            mono = (frames * steps).sum(axis=1)
        self._weights = weights
        return np.asarray(mono, dtype=np.float32)

    def warnings(self) -> tuple[SoundWarning, ...]:
        """Which channels were left out, and why."""
        if self._channels == 1:
            return ()
        found = []
        silent = self._silent()
        if silent.any() and not silent.all():
            found.append(
                SoundWarning(
                    code="silent_channel",
                    sentence=f"No sound comes from {_named(silent)} of {self._channels}, so only "
                    "the rest was used.",
                )
            )
        opposite = self._opposite_frames * 2 > max(1, self._sounding_frames)
        opposite &= ~silent
        if opposite.any():
            found.append(
                SoundWarning(
                    code="opposite_phase",
                    sentence="Added up, the channels would cancel the speech, because they are in "
                    f"opposite phase; {_named(opposite)} of {self._channels} was left out.",
                )
            )
        return tuple(found)

    def _silent(self) -> NDArray[np.bool_]:
        threshold = max(SILENT_POWER, SILENT_BELOW * float(self._loudest.max()))
        return np.asarray(self._loudest < threshold)

    def _choose(self, frames: Frames) -> NDArray[np.float64]:
        centred = frames.astype(np.float64)
        centred -= centred.mean(axis=0)
        products = centred.T @ centred
        powers = products.diagonal() / len(frames)
        self._loudest = np.maximum(self._loudest, powers)
        keep = np.exp(-len(frames) / (self._rate * _MEMORY_S))
        self._memory = keep * self._memory + products
        energy = self._memory.diagonal()
        if energy[self._reference] < 0.5 * energy.max():
            self._reference = int(energy.argmax())
        scale = np.sqrt(energy * energy[self._reference])
        likeness = np.divide(
            self._memory[self._reference], scale, out=np.zeros_like(scale), where=scale > 0
        )
        self._opposite = np.where(self._opposite, likeness < 0, likeness < OPPOSITE_BELOW)
        self._opposite[self._reference] = False
        if powers.max() > SILENT_POWER:
            self._sounding_frames += len(frames)
            self._opposite_frames[self._opposite] += len(frames)
        used = ~self._silent() & ~self._opposite
        if not used.any():
            used = ~self._opposite
        return np.asarray(used / used.sum())


def _named(chosen: NDArray[np.bool_]) -> str:
    numbers = [str(index + 1) for index in np.flatnonzero(chosen)]
    return ("channel " if len(numbers) == 1 else "channels ") + ", ".join(numbers)
