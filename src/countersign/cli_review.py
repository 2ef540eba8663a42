"""The command that measures recordings of practice for the educator's pages."""

import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from countersign import settings
from countersign.cli_options import JsonOption
from countersign.cli_papers import paper_size, papers_room
from countersign.printable import clean
from countersign.problems import BadInput
from countersign.terminal import emit, interrupt_sets, say, screen

if TYPE_CHECKING:  # rooms are imported where the command needs them, so that --help stays quick
    from countersign.review import Checklist, Store
    from countersign.review.batch import Outcome


def review(
    path: Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder, or one recording.")],
    learner: Annotated[
        str,
        typer.Option("--learner", help="The learner's code. Default: the folder inside FOLDER."),
    ] = "",
    kit: Annotated[Path | None, typer.Option("--kit", metavar="FILE", help="The kit.")] = None,
    model: Annotated[
        Path | None, typer.Option("--model", metavar="FOLDER", help="The acoustic model.")
    ] = None,
    checklist: Annotated[
        Path | None, typer.Option("--checklist", metavar="FILE", help="The checklist (TOML).")
    ] = None,
    processes: Annotated[
        int | None, typer.Option("--processes", min=1, max=512, help="Default: one a core.")
    ] = None,
    dask: Annotated[
        str | None,
        typer.Option("--dask", metavar="ADDRESS", help="A Dask scheduler, or “local”."),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", metavar="FOLDER", help="Write a summary (PDF) of each learner."),
    ] = None,
    paper: Annotated[str, typer.Option("--paper", help="The sheet's paper: a4 or letter.")] = "a4",
    replace: Annotated[bool, typer.Option("--replace", help="Write over sheets.")] = False,
    as_json: JsonOption = False,
    ledger: Annotated[
        Path | None,
        typer.Option("--ledger", metavar="FILE", help="Attempts are kept beside this ledger."),
    ] = None,
) -> None:
    """Measure recordings of practice; what was measured before is not measured again."""
    from countersign.kit import demo_kit_path, read_kit
    from countersign.review import read_checklist
    from countersign.review.batch import Outcome, jobs_in, measure_all, workers
    from countersign.review.checklist import checklist_path
    from countersign.review.store import Store, store_path

    if sheet is not None:
        papers_room()  # before anything is measured
        paper_size(paper)
    used_kit = settings.kit_path(kit)
    read_kit(used_kit or demo_kit_path())  # what is wrong with it is said once, and now
    store = Store(store_path(settings.ledger_path(ledger)))
    points = read_checklist(checklist_path(checklist, store.written_checklist))
    jobs = jobs_in(path, store.folder, learner=learner, kit=used_kit, model=model)
    outcomes: list[Outcome] = []
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
    )
    console = Console(stderr=True)
    stop = threading.Event()
    with (
        interrupt_sets(stop),
        workers(processes, dask=dask) as pool,
        Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar,
    ):
        task = bar.add_task("recordings", total=len(jobs))

        def done(outcome: Outcome) -> None:
            outcomes.append(outcome)
            bar.update(task, completed=len(outcomes))
            if outcome.problem and len(jobs) > 1:
                say(clean(outcome.problem))

        measure_all(jobs, pool, done, stop)
    outcomes.sort(key=lambda outcome: outcome.recording)
    found = [outcome for outcome in outcomes if outcome.attempt_id is not None]
    if as_json:
        emit(_as_json(store, outcomes, points))
    elif found:
        screen().print(_table(store, found, points))
        before = sum(outcome.before for outcome in found)
        words = f"{len(found)} of {len(jobs)} measured"
        words += f", {before} of them before" if before else ""
        screen().print(Text(f"{words}. This is practice: nothing here is a count record."))
    if sheet is not None:
        _write_sheets(store, found, points, sheet, paper, replace=replace)
    if stop.is_set():
        say(f"Stopped; {len(jobs) - len(outcomes)} are left. The same command goes on.")
        raise typer.Exit(130)
    if not found:
        alone = outcomes[0].problem if len(jobs) == 1 and outcomes else ""
        raise BadInput(alone or "No recording could be measured.")


def _write_sheets(
    store: "Store",
    outcomes: "list[Outcome]",
    points: "Checklist",
    folder: Path,
    paper: str,
    *,
    replace: bool,
) -> None:
    """A sheet for each learner, about what was measured now or before of the folder."""
    room = papers_room()
    learners: dict[str, list[str]] = {}
    for outcome in outcomes:
        attempt = store.read(outcome.attempt_id or "")
        learners.setdefault(attempt.learner, []).append(attempt.attempt_id)
    for attempts in learners.values():
        made = room.practice_of(store, attempts, points, paper_size(paper))
        for path in room.write_practice(made, folder.expanduser(), replace=replace):
            say(str(path))


def _table(store: "Store", outcomes: "list[Outcome]", points: "Checklist") -> Table:
    from countersign.review import score

    table = Table(box=None, pad_edge=False)
    for name in (
        "attempt",
        "learner",
        "recording",
        "lines",
        "asked",
        "a minute",
        "pauses",
        "score",
    ):
        table.add_column(name, overflow="fold")
    for outcome in outcomes:
        attempt = store.read(outcome.attempt_id or "")
        made = score(attempt, points, store.entries(attempt.attempt_id))
        table.add_row(
            attempt.attempt_id[:8],
            attempt.learner or "-",
            clean(attempt.name),
            str(len(attempt.lines)),
            str(attempt.asked),
            "-" if attempt.pace is None else f"{attempt.pace:g}",
            str(attempt.hesitations),
            "-" if made.percent is None else f"{made.percent} %",
        )
    return table


def _as_json(store: "Store", outcomes: "list[Outcome]", points: "Checklist") -> str:
    from countersign.plain_json import json_text
    from countersign.review import score

    attempts = []
    for outcome in outcomes:
        if outcome.attempt_id is None:
            continue
        attempt = store.read(outcome.attempt_id)
        entries = store.entries(attempt.attempt_id)
        attempts.append(
            {
                "attempt": attempt.model_copy(update={"peaks": ()}),
                "score": score(attempt, points, entries),
                "entries": entries,
            }
        )
    problems = [outcome.problem for outcome in outcomes if outcome.problem]
    return json_text({"attempts": attempts, "problems": problems}) + "\n"


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command("review")(review)
