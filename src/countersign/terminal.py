"""Talking with the person at a terminal, or with whatever stands in its place."""

import io
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn
from rich.text import Text

from countersign.printable import clean
from countersign.problems import BadInput

if TYPE_CHECKING:
    from countersign.kit import Mistake

BROKEN_PIPE = 141
"""Exit code when the reader of a pipe went away (128 and the number of SIGPIPE, as shells do)."""

_PIECE = 16_384


@contextmanager
def progress(name: str, duration_s: float | None) -> Iterator[Callable[[float], None]]:
    """A bar on standard error while a long file is heard; silent where that is no terminal."""
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TaskProgressColumn(),
        TimeElapsedColumn(),
    )
    console = Console(stderr=True)
    with Progress(
        *columns, console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task(clean(name), total=duration_s)
        yield lambda heard_s: bar.update(task, completed=heard_s)


@contextmanager
def interrupt_sets(stop: threading.Event) -> Iterator[None]:
    """The first Ctrl-C sets ``stop``, a second one interrupts as usual."""

    def set_stop(_number: int, _frame: object) -> None:
        signal.signal(signal.SIGINT, before)
        stop.set()

    before = signal.signal(signal.SIGINT, set_stop)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


@contextmanager
def words_so_far(console: Console) -> Iterator[Callable[[str], None]]:
    """A last line under what is printed, for the words of which nobody can be sure yet.

    Nothing is shown where ``console`` is no terminal.
    """
    if not console.is_terminal:
        yield lambda words: None
        return
    with console.status("", spinner="dots") as status:
        yield lambda words: status.update(Text(clean(words), style="dim"))


def ask(prompt: str) -> str | None:
    """Show a prompt and read one line of standard input; None at its end."""
    sys.stdout.write(prompt)
    sys.stdout.flush()
    typed = sys.stdin.readline()
    if not sys.stdin.isatty():
        sys.stdout.write("\n")  # a terminal shows the Enter key itself
    return typed if typed else None


def screen() -> Console:
    """Standard output as a console that prints text as it is given, without markup."""
    return Console(highlight=False, emoji=False, markup=False)


def emit(text: str) -> None:
    """Write ``text`` for programs; ``typer.Exit`` when the reader of a pipe went away."""
    # In pieces: where standard output is unbuffered, one long write to a pipe that breaks is cut
    # short without an error.
    try:
        for start in range(0, len(text), _PIECE):
            sys.stdout.write(text[start : start + _PIECE])
        sys.stdout.flush()
    except BrokenPipeError:
        raise typer.Exit(leave_pipe()) from None


def say(sentence: str) -> None:
    """Say one sentence on standard error."""
    try:
        print(clean(sentence), file=sys.stderr, flush=True)
    except BrokenPipeError:
        leave_pipe()


def own_output() -> None:
    """Keep standard output for what Python writes; remarks of decoders in C go nowhere.

    libsndfile prints some on damaged files, which would stand between the JSON of ``--json``.
    """
    shown = sys.stdout
    if not isinstance(shown, io.TextIOWrapper):  # closed
        return
    try:
        own = os.dup(shown.fileno())
    except (OSError, ValueError):
        return
    shown.flush()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, shown.fileno())
    os.close(nowhere)
    sys.stdout = io.TextIOWrapper(
        os.fdopen(own, "wb", 0 if shown.write_through else -1),
        encoding=shown.encoding,
        errors=shown.errors,
        line_buffering=shown.line_buffering,
        write_through=shown.write_through,
    )


def leave_pipe() -> int:
    """Let nothing more be written to a pipe that nobody reads, not even at exit."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError):
            os.dup2(nowhere, stream.fileno())
    return BROKEN_PIPE


def show_mistakes(file: Path, mistakes: "Sequence[Mistake]") -> None:
    """Print every mistake with its line; ``BadInput`` where one of them is an error."""
    console = screen()
    for mistake in mistakes:
        words = f"line {mistake.line}: {mistake.level}: {clean(mistake.sentence)}"
        console.print(Text(words), soft_wrap=True)
    errors = sum(mistake.level == "error" for mistake in mistakes)
    if errors:
        raise BadInput(
            f"{file} cannot be used: it has {errors} mistake{'s' if errors > 1 else ''}."
        )
