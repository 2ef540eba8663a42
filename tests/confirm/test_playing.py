"""Playing a line: the clip, the player, and what is said when there is none."""

import math
import sys
import wave
from pathlib import Path

import numpy as np
import pytest

from countersign.confirm import play_line
from countersign.confirm import playing as playing_module
from countersign.problems import BadInput


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    path = tmp_path / "count.wav"
    tone = (8000 * np.sin(2 * math.pi * 440 * np.arange(16000 * 4) / 16000)).astype("<i2")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(16000)
        file.writeframes(tone.tobytes())
    return path


def player(folder: Path, body: str) -> Path:
    path = folder / "player"
    path.write_text(f"#!{sys.executable}\nimport shutil, sys\n{body}\n")
    path.chmod(0o755)
    return path


def test_the_player_gets_the_words_with_a_margin(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "played.wav"
    command = player(tmp_path, f"shutil.copy(sys.argv[-1], {str(copy)!r})")
    monkeypatch.setattr(playing_module, "PLAYERS", ((str(command),),))
    play_line(str(recording), 1.0, 2.0)
    with wave.open(str(copy)) as file:
        length = file.getnframes() / file.getframerate()
    assert length == pytest.approx(1.0 + 2 * playing_module.MARGIN_S, abs=0.01)


def test_a_player_that_fails(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    command = player(tmp_path, "sys.exit(3)")
    monkeypatch.setattr(playing_module, "PLAYERS", ((str(command),),))
    with pytest.raises(BadInput, match="could not play"):
        play_line(str(recording), 1.0, 2.0)


def test_no_player(recording: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    with pytest.raises(BadInput, match="No program to play sound was found"):
        play_line(str(recording), 1.0, 2.0)


@pytest.mark.parametrize("source", ["microphone", "written words", "/nowhere/count.wav"])
def test_no_recording(source: str) -> None:
    with pytest.raises(BadInput, match="no recording to play"):
        play_line(source, 1.0, 2.0)
