"""What every decoder gives: frames of samples at the source's own rate."""

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Protocol

from countersign.problems import BadInput
from countersign.sound.levels import Frames, SoundWarning, seconds

LOWEST_RATE = 4000
HIGHEST_RATE = 768_000
MOST_CHANNELS = 64
LONGEST_S = 1000 * 3600.0
"""A header that promises more than this is not believed."""

STRETCH_S = 1.0
_STRETCH_SAMPLES = 4_000_000
TOO_SHORT_S = 0.1
"""What is left of a cut-off file is used from this length on."""

Note = Callable[[SoundWarning], None]


class Undecodable(Exception):
    """One decoder cannot read the file; the message finishes the sentence "FILE ..."."""


class Decoder(Protocol):
    """An opened source. ``duration_s`` is what its header says, None where it does not."""

    name: str
    rate: int
    channels: int
    duration_s: float | None

    def frames(self, note: Note, start_s: int = 0) -> Iterator[Frames]:
        """Stretches of (n, channels) from ``start_s`` on; ``note`` hears of what goes wrong."""


def stretch_frames(rate: int, channels: int) -> int:
    """How many frames are read at a time: a second, but never so many that a header of a few bytes
    (64 channels, 768 kHz) asks for hundreds of megabytes.
    """
    return max(1, min(round(rate * STRETCH_S), _STRETCH_SAMPLES // channels))


def check_header(path: Path, rate: int, channels: int) -> None:
    """Refuse rates and channel counts that no recorder writes."""
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise BadInput(
            f"{path} claims {rate} samples a second, which is outside {LOWEST_RATE} to "
            f"{HIGHEST_RATE} and no recording of speech."
        )
    if not 1 <= channels <= MOST_CHANNELS:
        raise BadInput(f"{path} claims {channels} channels, and at most {MOST_CHANNELS} are read.")


@contextlib.contextmanager
def still_readable(path: Path) -> Iterator[None]:
    """Turn what can only come from a file that changed since it was opened into BadInput."""
    try:
        yield
    except (OSError, Undecodable) as error:
        raise BadInput(f"{path} can no longer be read.") from error


def tell_early_end(note: Note, got_s: float, expected_s: float | None) -> None:
    """Note that the source stops before its own end."""
    where = f" of {seconds(expected_s)}" if expected_s is not None else ""
    note(
        SoundWarning(
            code="ends_early",
            sentence=f"The recording ends early: only the first {seconds(got_s)}{where} could be "
            "read.",
        )
    )
