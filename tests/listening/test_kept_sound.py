from pathlib import Path

import numpy as np
import pytest
import soundfile

from countersign.listening import KeptSound
from countersign.sound import SAMPLE_RATE


def piece(first: int, count: int) -> bytes:
    return np.arange(first, first + count, dtype="<i2").tobytes()


def test_a_piece_that_comes_twice_is_kept_once(tmp_path: Path) -> None:
    sound = KeptSound(tmp_path / "sound.wav")
    assert sound.append(0, piece(0, 100)) == 0
    assert sound.append(60, piece(60, 80)) == 0
    assert sound.append(0, piece(0, 50)) == 0
    sound.close()
    samples, rate = soundfile.read(tmp_path / "sound.wav", dtype="int16")
    assert rate == SAMPLE_RATE
    assert samples.tolist() == list(range(140))


def test_a_gap_is_silence_of_its_length(tmp_path: Path) -> None:
    sound = KeptSound(tmp_path / "sound.wav")
    sound.append(0, piece(1, 10))
    assert sound.append(25, piece(26, 5)) == 15
    sound.close()
    samples, _ = soundfile.read(tmp_path / "sound.wav", dtype="int16")
    assert samples.tolist() == [*range(1, 11), *[0] * 15, *range(26, 31)]


def test_it_goes_on_after_a_power_cut_in_the_middle_of_a_sample(tmp_path: Path) -> None:
    path = tmp_path / "sound.wav"
    sound = KeptSound(path)
    sound.append(0, piece(0, 100))
    with path.open("r+b") as file:  # without closing: the header still says 0 samples
        file.truncate(44 + 2 * 70 + 1)
    again = KeptSound(path)
    assert again.samples == 70
    again.append(70, piece(70, 30))
    again.close()
    samples, _ = soundfile.read(path, dtype="int16")
    assert samples.tolist() == list(range(100))


def test_blocks_wait_for_sound_and_end_with_it(tmp_path: Path) -> None:
    sound = KeptSound(tmp_path / "sound.wav")
    sound.append(0, piece(0, SAMPLE_RATE // 4))
    blocks = sound.blocks(800, seconds=0.1)
    assert next(blocks).start_s == pytest.approx(0.05)
    sound.end()
    rest = list(blocks)
    total = 1600 + sum(len(block.samples) for block in rest)
    assert total == SAMPLE_RATE // 4 - 800


def test_half_a_sample_is_refused(tmp_path: Path) -> None:
    sound = KeptSound(tmp_path / "sound.wav")
    with pytest.raises(ValueError, match="whole samples"):
        sound.append(0, b"abc")
