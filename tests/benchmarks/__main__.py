"""``python -m tests.benchmarks``: play the same audio to every recogniser and print the table."""

import subprocess
import sys
import tempfile
import threading
import time
from json import loads
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.markdown import Markdown
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from tests.benchmarks import clips as sets
from tests.benchmarks.clips import Absent, Clip
from tests.benchmarks.figures import Run, between_markers, table
from tests.benchmarks.recognisers import RECOGNISERS

ROOT = Path(__file__).resolve().parents[2]


def gather(
    fixtures: Path, digits: Path | None, orders: Path | None, testdata: Path, scratch: Path
) -> tuple[list[Clip], list[str]]:
    """All clips at hand, and a sentence for each set that is not."""
    clips: list[Clip] = []
    skipped: list[str] = []
    for find in (
        lambda: sets.fixtures(fixtures),
        lambda: sets.orders(orders),
        lambda: sets.digits(digits),
        lambda: sets.testdata(testdata, scratch),
    ):
        try:
            clips += find()
        except Absent as absent:
            skipped.append(str(absent))
    return clips, skipped


def play(name: str, clips: list[Clip], limit_s: float, progress: Progress) -> Run:
    """Run one recogniser over ``clips`` in a process of its own, for at most ``limit_s``."""
    run = Run(RECOGNISERS[name][0])
    started = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-m", "tests.benchmarks.child", name],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        cwd=ROOT,
    )
    assert child.stdin and child.stdout
    bar = progress.add_task(run.label, total=len(clips))
    timer = threading.Timer(limit_s * 1.2 + 60, child.kill)
    timer.start()

    def answer() -> dict[str, Any]:
        line = child.stdout.readline()  # type: ignore[union-attr]
        return loads(line) if line else {}

    first = answer()
    if not first.get("ready"):
        run.unavailable = first.get("unavailable", "its process ended before it was ready.")
    else:
        run.ready_s = time.perf_counter() - started
        for clip in clips:
            if time.perf_counter() - started > limit_s:
                break
            try:
                child.stdin.write(f"{clip.path}\n")
                child.stdin.flush()
            except BrokenPipeError:
                break
            heard = answer()
            if not heard:
                break
            run.answers[str(clip.path)] = heard
            progress.advance(bar)
        child.stdin.close()
        run.peak_bytes = answer().get("peak_bytes")
    timer.cancel()
    child.wait()
    return run


def main(
    digits: Annotated[Path | None, typer.Option(help="Folder of single spoken digits.")] = None,
    orders: Annotated[Path | None, typer.Option(help="Folder of people ordering drinks.")] = None,
    testdata: Annotated[
        Path, typer.Option(help="Folder of Debian's pocketsphinx-testdata.")
    ] = Path("/usr/share/pocketsphinx/test/data"),
    fixtures: Annotated[Path, typer.Option(help="Folder of the made recordings.")] = (
        ROOT / "audio_fixtures"
    ),
    only: Annotated[
        list[str] | None, typer.Option(help=f"Recognisers: {', '.join(RECOGNISERS)}.")
    ] = None,
    each: Annotated[
        int | None, typer.Option(help="Play at most so many of every set, evenly spaced.")
    ] = None,
    limit_minutes: Annotated[float, typer.Option(help="Stop a recogniser after this long.")] = 20,
    write: Annotated[Path | None, typer.Option(help="Write the table to this file.")] = None,
    write_readme: Annotated[
        Path | None, typer.Option(help="Write the table between the markers of this page.")
    ] = None,
) -> None:
    """Compare recognisers on the same audio, through the same meaning and tally."""
    console = Console(stderr=True)
    names = only or list(RECOGNISERS)
    if unknown := [name for name in names if name not in RECOGNISERS]:
        console.print(f"There is no recogniser named {unknown[0]}.")
        raise typer.Exit(2)
    if write_readme:
        # Fail before the long run, not after it.
        try:
            between_markers(write_readme.read_text(encoding="utf-8"), "")
        except (OSError, ValueError) as trouble:
            console.print(str(trouble))
            raise typer.Exit(2) from None
    with tempfile.TemporaryDirectory() as scratch:
        clips, notes = gather(fixtures, digits, orders, testdata, Path(scratch))
        for note in notes:
            console.print(f"[yellow]{note}")
        if each:
            clips = sets.sample(clips, each)
            notes.append(f"At most {each} recordings of each set, evenly spaced.")
        if not clips:
            raise typer.Exit(2)
        columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
        with Progress(*columns, TimeElapsedColumn(), console=console) as progress:
            runs = [play(name, clips, limit_minutes * 60, progress) for name in names]
        text = table(runs, clips, notes)
    print(text)
    if console.is_terminal:
        console.print(Markdown(text))
    if write:
        write.write_text(text, encoding="utf-8")
    if write_readme:
        page = write_readme.read_text(encoding="utf-8")
        write_readme.write_text(between_markers(page, text), encoding="utf-8")


if __name__ == "__main__":
    typer.run(main)
