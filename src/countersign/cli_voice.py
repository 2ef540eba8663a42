"""Commands that measure how well a voice is heard: ``voice script`` and ``voice check``."""

import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich import box
from rich.table import Table
from rich.text import Text

from countersign import settings
from countersign.printable import clean
from countersign.problems import BadInput
from countersign.terminal import ask, progress, say, screen

if TYPE_CHECKING:
    from countersign.kit.model import Kit
    from countersign.sound import Block, LevelMeter
    from countersign.voice_check.run import Sound
    from countersign.voice_check.score import ModelScore
    from countersign.voice_check.script import Prompt

KitOption = Annotated[
    Path | None,
    typer.Option("--kit", metavar="FILE", help="The kit (TOML). Default: the demonstration kit."),
]

voice_app = typer.Typer(help="Measure how well a voice is heard.", rich_markup_mode=None)


def register(app: typer.Typer) -> None:
    """Add the group of commands."""
    app.add_typer(voice_app, name="voice")


@voice_app.command("script")
def print_script(kit: KitOption = None) -> None:
    """Print the lines to read aloud, about two minutes."""
    console = screen()
    for prompt in _script(_kit(kit)):
        console.print(Text(f"{prompt.number:>3}. {clean(prompt.text)}"), soft_wrap=True)
    console.print()
    console.print(
        Text(
            "Read them as in a count: each line in one breath, then a pause. Record each line as a "
            "file with its number in its name (01.wav), or the whole script as one file, and give "
            "it to: countersign voice check --recordings FOLDER"
        )
    )


@voice_app.command("check")
def check(
    recordings: Annotated[
        Path | None,
        typer.Option(
            "--recordings", metavar="FOLDER|FILE", help="The script as read. Default: microphone."
        ),
    ] = None,
    kit: KitOption = None,
    model: Annotated[
        list[Path] | None,
        typer.Option("--model", metavar="FOLDER", help="Try this model too; may be repeated."),
    ] = None,
    keep: Annotated[
        Path | None,
        typer.Option("--keep", metavar="FOLDER", help="Keep the recordings here; else none is."),
    ] = None,
    device: Annotated[
        str | None, typer.Option("--device", help="Number or part of the name of an input.")
    ] = None,
) -> None:
    """Measure how well a voice is heard with each installed model.

    Nothing is sent anywhere, and no sound is kept unless --keep names a folder.
    """
    from countersign.caution import TWO_PEOPLE
    from countersign.voice_check import run
    from countersign.voice_check.advice import advice

    if recordings is not None and keep is not None:
        raise BadInput("The recordings are kept already; --keep is for the microphone.")
    used_kit = _kit(kit)
    found = run.models(model or ())
    prompts = _script(used_kit)
    console = screen()
    if recordings is not None and not recordings.is_dir():
        scores = []
        for info in found:
            with progress(run.label(info), None):
                scores.append(run.from_one_recording(recordings, prompts, used_kit, info))
    else:
        if recordings is None:
            _refuse_full(keep)
            sounds = _guided(prompts, device)
        else:
            numbered = run.numbered_recordings(recordings, prompts)
            sounds = {number: run.sound_of(path) for number, path in numbered.items()}
        if keep is not None:
            run.keep(keep.expanduser(), prompts, sounds)
        scores = []
        for info in found:
            with progress(run.label(info), len(sounds)) as on_progress:
                scores.append(run.from_lines(sounds, prompts, used_kit, info, on_progress))
    for score in scores:
        _show_lines(score, named=len(scores) > 1)
    console.print(_table(scores))
    for sentence in advice(scores):
        console.print(Text(sentence))
    if keep is not None:
        console.print(Text(f"The recordings are kept in {keep}."), soft_wrap=True)
    elif recordings is None:
        console.print(Text("Nothing was kept."))
    console.print(Text(TWO_PEOPLE, style="bold"))


def _kit(given: Path | None) -> "Kit":
    from countersign.kit import demo_kit_path, read_kit

    return read_kit(settings.kit_path(given) or demo_kit_path())


def _script(kit: "Kit") -> "tuple[Prompt, ...]":
    from countersign.voice_check.script import script

    prompts = script(kit)
    if not prompts:
        raise BadInput("From this kit no lines can be made to read.")
    return prompts


def _refuse_full(keep: Path | None) -> None:
    """Say so before a person reads for two minutes, not after."""
    if keep is not None and keep.expanduser().exists():
        folder = keep.expanduser()
        if not folder.is_dir() or any(folder.iterdir()):
            raise BadInput(f"{keep} is not empty; give a new folder to keep recordings in.")


def _guided(prompts: "Sequence[Prompt]", device: str | None) -> "dict[int, Sound]":
    from countersign.sound import LevelMeter, microphone
    from countersign.voice_check.run import sound_of_blocks

    which = microphone.named(device)
    microphone.blocks(which).close()  # type: ignore[attr-defined]  # refuse before the first line
    console = screen()
    console.print(
        Text(
            f"{len(prompts)} lines, about two minutes. For each: Enter, read it aloud as in a "
            "count, Enter again. s leaves a line out, q ends early."
        )
    )
    sounds: dict[int, Sound] = {}
    for prompt in prompts:
        console.print()
        console.print(Text(f"{prompt.number:>3}. {clean(prompt.text)}", style="bold"))
        typed = ask("     Enter, then read: ")
        if typed is None or typed.strip().lower() == "q":
            break
        if typed.strip().lower() == "s":
            continue
        meter = LevelMeter()
        with _recording(which, meter) as blocks:
            ask("     Listening; Enter when you have read it: ")
        for warning in meter.warnings():
            say(f"     {warning.sentence}")
        sounds[prompt.number] = sound_of_blocks(blocks)
    if not sounds:
        raise BadInput("No line was read.")
    return sounds


@contextmanager
def _recording(device: int | str | None, meter: "LevelMeter") -> "Iterator[list[Block]]":
    """Listen while the person reads; the list holds all blocks afterwards."""
    from countersign.sound import microphone

    stop = threading.Event()
    heard: list[Block] = []
    failed: list[Exception] = []

    def listen() -> None:
        try:
            heard.extend(microphone.blocks(device, meter=meter, stop=stop))
        except Exception as error:  # whatever it is, the person has to hear of it
            failed.append(error)

    listener = threading.Thread(target=listen, name="voice-check", daemon=True)
    listener.start()
    try:
        yield heard
    finally:
        stop.set()
        listener.join()
    if failed:
        raise failed[0]


def _show_lines(score: "ModelScore", *, named: bool) -> None:
    """The lines that were not exact, and what was heard instead."""
    console = screen()
    others = [line for line in score.lines if line.outcome != "exact"]
    if named and others:
        console.print(Text(clean(score.model), style="bold"))
    if len(others) == len(score.lines):
        console.print(Text("     no line was heard right"))
        return
    for line in others:
        said = {
            "silent": "WRONG, NO QUESTION",
            "asked": "wrong, a question asks",
            "missed": "nothing of a count heard",
        }[line.outcome]
        heard = " / ".join(line.heard)
        style = "bold red" if line.outcome == "silent" else None
        words = f"{line.number:>3}. {line.text}\n     {said}" + (f": {heard}" if heard else "")
        console.print(Text(clean_lines(words), style=style or ""))


def clean_lines(text: str) -> str:
    """Cleaned for the terminal, line ends kept."""
    return "\n".join(map(clean, text.split("\n")))


def _table(scores: "Sequence[ModelScore]") -> Table:
    from countersign.voice_check.score import Outcome

    table = Table(box=box.SIMPLE, pad_edge=False)
    table.add_column("model")
    for name in ("lines", "exact", "wrong, asks", "missed", "silent", "questions"):
        table.add_column(name, justify="right")
    for score in scores:
        numbers = (Outcome.EXACT, Outcome.ASKED, Outcome.MISSED, Outcome.SILENT)
        table.add_row(
            clean(score.model),
            str(len(score.lines)),
            *(str(score.number(outcome)) for outcome in numbers),
            f"{score.questions_a_line:.1f} a line",
        )
    return table
