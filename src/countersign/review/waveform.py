"""The waveform of a recording: the least and the greatest sample of equal stretches."""

import numpy as np
from numpy.typing import NDArray

from countersign.sound import SAMPLE_RATE

MOST_COLUMNS = 4000
_FIRST_STRETCH = SAMPLE_RATE // 40


class Peaks:
    """Collects peaks block by block; stretches are joined in pairs when there are too many."""

    def __init__(self) -> None:
        """Nothing was heard yet."""
        self._stretch = _FIRST_STRETCH
        self._samples = 0
        self._open: NDArray[np.int16] = np.zeros(0, dtype=np.int16)
        self._columns: list[tuple[int, int]] = []

    @property
    def duration_s(self) -> float:
        """How much was heard."""
        return self._samples / SAMPLE_RATE

    def add(self, samples: NDArray[np.int16]) -> None:
        """Take in a block of 16 kHz mono samples."""
        self._samples += len(samples)
        self._open = np.concatenate((self._open, samples))
        while len(self._open) >= self._stretch:
            stretch, self._open = np.split(self._open, [self._stretch])
            self._columns.append((int(stretch.min()), int(stretch.max())))
            if len(self._columns) == MOST_COLUMNS:
                self._join()

    def _join(self) -> None:
        pairs = zip(self._columns[::2], self._columns[1::2], strict=True)
        self._columns = [(min(a[0], b[0]), max(a[1], b[1])) for a, b in pairs]
        self._stretch *= 2

    def columns(self) -> tuple[tuple[float, float], ...]:
        """Least and greatest sample in -1..1 of each stretch, the last one perhaps shorter."""
        columns = list(self._columns)
        if len(self._open):
            columns.append((int(self._open.min()), int(self._open.max())))
        return tuple((round(low / 32768, 3), round(high / 32768, 3)) for low, high in columns)
