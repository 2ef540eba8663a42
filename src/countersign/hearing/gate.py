"""Keeps the decoder from a room in which nobody speaks.

The decoder hears a stretch of speech a little differently by how much silence it was given before,
and silence costs it as much as speech. So it gets sound only from shortly before the level rises
until the room has been still for a while, and always begins at the same moment of what is said.
"""

from collections import deque

import numpy as np

from countersign.hearing.pauses import level_of
from countersign.hearing.tuning import (
    FLOOR_KEPT_S,
    LEAD_S,
    LEAST_STIR,
    ONSET_S,
    STEP_S,
    STILL_S,
    STIR_ABOVE_FLOOR,
)
from countersign.sound import SAMPLE_RATE

_STEP = round(STEP_S * SAMPLE_RATE)
_LEAD = round(LEAD_S * SAMPLE_RATE)
_KEPT = _LEAD + 2 * _STEP
_ONSET = round(ONSET_S * SAMPLE_RATE)


class Gate:
    """Follows the level step by step, and is open at first."""

    def __init__(self) -> None:
        """Begin open: a recording may begin in the middle of a word."""
        self.is_open = True
        self.away = 0
        """How many samples more were heard than let through, where the sound that is let through
        began; less than none where some was let through twice."""
        self._levels: deque[float] = deque(maxlen=round(FLOOR_KEPT_S / STEP_S))
        self._still_steps = 0
        self._kept = bytearray()
        self._waiting = 0  # of what is kept, the bytes at its end that were not yet let through

    def add(self, step: bytes) -> list[bytes]:
        """Take the next step (int16 at 16 kHz); the steps for the decoder, none where it is closed.

        Where it has just opened, they begin with what came shortly before.
        """
        level = level_of(step)
        self._levels.append(level)
        stir = max(LEAST_STIR, STIR_ABOVE_FLOOR * min(self._levels))
        self._still_steps = self._still_steps + 1 if level <= stir else 0
        self._kept += step
        self._waiting += len(step)
        if not self.is_open:
            if level <= stir:
                self._forget()
                return []
            self._open(stir)
        return self._whole_steps()

    def rest(self) -> bytes:
        """What is left at the end of the sound, too short for a step."""
        return bytes(self._kept[len(self._kept) - self._waiting :]) if self.is_open else b""

    @property
    def is_still(self) -> bool:
        """Whether the level has been low for so long that nobody speaks."""
        return self._still_steps >= round(STILL_S / STEP_S)

    def close(self) -> None:
        """Let nothing through until the level rises."""
        self.is_open = False

    def _open(self, stir: float) -> None:
        samples = np.frombuffer(self._kept, np.int16)
        searched = max(0, len(samples) - 2 * _STEP)
        onset = searched + _first_above(samples[searched:], stir)
        wanted = 2 * (len(samples) - max(0, onset - _LEAD))
        self.away += (self._waiting - wanted) // 2
        self._waiting = wanted
        self.is_open = True

    def _whole_steps(self) -> list[bytes]:
        steps = []
        while self._waiting >= 2 * _STEP:
            first = len(self._kept) - self._waiting
            steps.append(bytes(self._kept[first : first + 2 * _STEP]))
            self._waiting -= 2 * _STEP
        self._forget()
        return steps

    def _forget(self) -> None:
        """Keep no more than opening may need; what was waiting and goes is never let through."""
        del self._kept[: max(0, len(self._kept) - 2 * _KEPT)]
        left = min(self._waiting, len(self._kept))
        self.away += (self._waiting - left) // 2
        self._waiting = left


def _first_above(samples: np.ndarray, level: float) -> int:
    """The first sample around which the level of a short stretch is above ``level``; the last one
    if none is."""
    power = np.concatenate([[0.0], np.cumsum(np.square(samples, dtype=np.float64))])
    stretch = (power[_ONSET:] - power[:-_ONSET]) / _ONSET
    above = np.flatnonzero(stretch > level * level)
    return int(above[0]) if len(above) else len(samples) - 1
