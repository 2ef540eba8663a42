"""Plays what a person read through the chain, with each model."""

import re
import wave
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from countersign import chain
from countersign.hearing import open_ears
from countersign.hearing.models import ModelInfo, bundled_model, current_model, describe_model
from countersign.kit.model import Kit
from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE, Block, open_source, read_blocks
from countersign.voice_check.score import LineScore, ModelScore, deal_out, score_line
from countersign.voice_check.script import Prompt

Sound = Callable[[], Iterator[Block]]
"""The sound of one line, from its beginning each time it is called."""

SCRIPT_NAME = "script.txt"
_SOUNDS = frozenset(".wav .flac .ogg .opus .mp3 .m4a .aac .aif .aiff".split())


def models(given: Sequence[Path] = ()) -> list[ModelInfo]:
    """The model in use, the bundled one, and those given, each folder once.

    Raises ``BadInput`` for a folder that is no model.
    """
    found: dict[Path, ModelInfo] = {}
    for folder in (current_model(), bundled_model(), *given):
        info = describe_model(folder)
        found.setdefault(info.path, info)
    return list(found.values())


def label(info: ModelInfo) -> str:
    """A short name: published folders are often just called ``model``."""
    return info.name if info.compiled else f"{info.path.parent.name}/{info.name}"


def numbered_recordings(folder: Path, prompts: Sequence[Prompt]) -> dict[int, Path]:
    """The recordings in a folder by the number of their line, the first number in their names.

    Raises ``BadInput`` where there is none, or two for one line, or a number beyond the script.
    """
    try:
        files = sorted(f for f in folder.iterdir() if f.suffix.lower() in _SOUNDS)
    except OSError as error:
        raise BadInput(f"The folder {folder} cannot be read: {error.strerror}.") from None
    found: dict[int, Path] = {}
    for file in files:
        match = re.search(r"\d+", file.name)
        number = int(match[0]) if match else 0
        if not 1 <= number <= len(prompts):
            raise BadInput(
                f"{file.name} needs the number of its line (1 to {len(prompts)}) in its name."
            )
        if number in found:
            raise BadInput(f"{found[number].name} and {file.name} are both line {number}.")
        open_source(file)
        found[number] = file
    if not found:
        raise BadInput(f"There are no recordings in {folder}.")
    return found


def from_lines(
    sounds: dict[int, Sound],
    prompts: Sequence[Prompt],
    kit: Kit,
    info: ModelInfo,
    on_line: Callable[[int], None] | None = None,
) -> ModelScore:
    """Score one model on sounds of single lines, by number; lines without a sound are left out."""
    ears = open_ears(kit, info.path)
    lines: list[LineScore] = []
    for prompt in prompts:
        if prompt.number in sounds:
            result = chain.live(sounds[prompt.number](), kit, ears=ears)
            lines.append(score_line(prompt, result.events))
            if on_line is not None:
                on_line(len(lines))
    return ModelScore(model=label(info), path=str(info.path), lines=tuple(lines))


def from_one_recording(
    recording: Path, prompts: Sequence[Prompt], kit: Kit, info: ModelInfo
) -> ModelScore:
    """Score one model on one recording of the whole script."""
    result = chain.listen(recording, kit, ears=open_ears(kit, info.path))
    # An event comes when it is complete, which can be after the next one began.
    in_order = sorted(result.events, key=lambda event: event.start_s)
    dealt = deal_out(prompts, in_order)
    lines = tuple(score_line(p, events) for p, events in zip(prompts, dealt, strict=True))
    return ModelScore(model=label(info), path=str(info.path), lines=lines)


def keep(folder: Path, prompts: Sequence[Prompt], sounds: dict[int, Sound]) -> None:
    """Write the script and the sound of each line (16 kHz mono WAV) into a new or empty folder.

    Raises ``BadInput`` if the folder holds something already or cannot be written.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if any(folder.iterdir()):
            raise BadInput(f"{folder} is not empty; give a new folder to keep recordings in.")
        text = "".join(f"{prompt.number}. {prompt.text}\n" for prompt in prompts)
        (folder / SCRIPT_NAME).write_text(text, encoding="utf-8")
        for number, sound in sounds.items():
            with wave.open(str(folder / f"{number:02}.wav"), "wb") as file:
                file.setnchannels(1)
                file.setsampwidth(2)
                file.setframerate(SAMPLE_RATE)
                for block in sound():
                    file.writeframes(block.samples.astype("<i2").tobytes())
    except OSError as error:
        raise BadInput(f"{folder} cannot be written: {error.strerror}.") from None


def sound_of(path: Path) -> Sound:
    """The sound of a recording."""
    return lambda: read_blocks(path)


def sound_of_blocks(blocks: Sequence[Block]) -> Sound:
    """The sound of blocks that are already there."""
    return lambda: iter(blocks)
