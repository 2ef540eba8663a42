"""A made voice that reads the script; nobody was recorded."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile
import soxr

RATE = 16_000
VOICE = "en-us+f5"
"""Kept out of the training of the bundled model (models/recipe/voices.py)."""
Say = Callable[[str, Path], Path]


@pytest.fixture(scope="session")
def say() -> Say:
    """Write a text, or phones in espeak-ng's mnemonics in double brackets, as sound to a file."""
    program = shutil.which("espeak-ng")
    if program is None:
        pytest.skip("needs the program espeak-ng")

    def speak(text: str, out: Path) -> Path:
        raw = out.with_suffix(".raw.wav")
        command = [program, "-v", VOICE, "-s", "140", "-w", str(raw), "--", text]
        subprocess.run(command, check=True, capture_output=True)
        samples, rate = soundfile.read(raw, dtype="float32")
        raw.unlink()
        quiet = np.random.default_rng(3).normal(0, 0.0005, RATE).astype(np.float32)
        spoken = soxr.resample(samples, rate, RATE)
        soundfile.write(out, np.concatenate([quiet, spoken, quiet]), RATE)
        return out

    return speak
