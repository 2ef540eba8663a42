"""Notices by the level of the sound alone that a speaker has paused.

The network looks a third of a second ahead, so that the decoder knows of a pause only that much
later. In a quiet room the level shows it at once.
"""

from collections import deque

import numpy as np

from countersign.hearing.tuning import (
    LEAST_FLOOR,
    LEVELS_KEPT_S,
    QUIET_ABOVE_FLOOR,
    QUIET_BELOW_SPEECH,
    QUIET_S,
    STEP_S,
)


def level_of(step: bytes) -> float:
    """The root mean square of a step (int16); 0 for an empty one."""
    samples = np.frombuffer(step, np.int16).astype(np.float32)
    return float(np.sqrt(np.mean(samples * samples))) if len(samples) else 0.0


class Pause:
    """Follows the level step by step; what it says depends on the steps alone."""

    def __init__(self) -> None:
        """Begin without a pause."""
        self._levels: deque[float] = deque(maxlen=round(LEVELS_KEPT_S / STEP_S))
        self._quiet_steps = 0

    def add(self, step: bytes) -> bool:
        """Take the next step (int16 at 16 kHz); whether a pause is long enough just now.

        True at one step of a pause only. Noise that is nearly as loud as the speech is no quiet.
        """
        level = level_of(step)
        self._levels.append(level)
        floor = max(LEAST_FLOOR, min(self._levels))
        quiet = level <= QUIET_ABOVE_FLOOR * floor and level <= QUIET_BELOW_SPEECH * max(
            self._levels
        )
        self._quiet_steps = self._quiet_steps + 1 if quiet else 0
        return self._quiet_steps == round(QUIET_S / STEP_S)
