"""``python -m tests.benchmarks.faults``: faults that really happen, each many times, with counts.

Every try begins with a ledger in which all lines are confirmed; most confirm more of them while the
fault happens, and note what was said to be kept. Afterwards the ledger is opened as a person would,
restored with ``countersign ledger restore`` where it says that it is damaged, and compared.
"""

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from tests.benchmarks import fault_kinds as kinds
from tests.benchmarks import fault_sources as sources
from tests.benchmarks.fault_scene import Outcome, Scene, prepare, scene_of
from tests.benchmarks.figures import between_markers

Fault = Callable[[Scene], Outcome]

FAULTS: dict[str, tuple[Fault, int]] = {
    "kill -9 at a random moment": (kinds.killed, 300),
    "disk full": (kinds.disk_full, 60),
    "file size limit": (kinds.file_limit, 60),
    "read-only disk": (kinds.read_only, 40),
    "read-only folder": (kinds.read_only_folder, 40),
    "clock jumping by years": (kinds.clock_jumps, 60),
    "ledger page damaged": (kinds.corrupt_page, 200),
    "running copy damaged": (kinds.corrupt_copy, 60),
    "write-ahead log torn": (kinds.torn_wal, 150),
    "two writers, one killed": (kinds.two_writers, 40),
    "memory limit": (kinds.memory_limit, 60),
    "model missing or damaged": (kinds.model_damaged, 40),
    "microphone unplugged": (sources.microphone_unplugged, 20),
    "browser gone": (sources.browser_gone, 20),
}
"""Every fault by its name, and how often it is tried."""


@dataclass
class Row:
    """What came of one fault."""

    name: str
    tries: list[Outcome] = field(default_factory=list)
    not_here: str | None = None

    def total(self, what: str) -> int:
        """The sum of a number over all tries."""
        return sum(getattr(each, what) for each in self.tries)

    @property
    def refused(self) -> int:
        """Tries in which somebody was told in a clear sentence."""
        return sum(bool(each.refused) for each in self.tries)

    @property
    def unclear(self) -> list[str]:
        """What was told otherwise, or was not told."""
        return [words for each in self.tries for words in each.unclear]


def run(share: float, seed: int, only: Sequence[str] | None, console: Console) -> list[Row]:
    """Try every fault so often (``share`` of the usual number, at least once)."""
    rows = []
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    # The bar has no thread of its own: a forked process would wait for its lock.
    with (
        tempfile.TemporaryDirectory() as scratch,
        Progress(*columns, console=console, auto_refresh=False) as bar,
    ):
        prepared = Path(scratch) / "prepared"
        case, confirmed = prepare(prepared)
        for name, (fault, usual) in FAULTS.items():
            if only and not any(word in name for word in only):
                continue
            row, tries = Row(name), max(1, round(usual * share))
            task = bar.add_task(name, total=tries)
            for number in range(tries):
                chance = Random(f"{seed} {name} {number}")
                folder = Path(scratch) / f"try {number}"
                try:
                    with scene_of(prepared, folder, case, confirmed, chance) as scene:
                        row.tries.append(fault(scene))
                except kinds.NotHere as reason:
                    row.not_here = str(reason)
                    break
                bar.update(task, advance=1, refresh=True)
            rows.append(row)
    return rows


def table(rows: Sequence[Row]) -> str:
    """The counts as Markdown."""
    lines = [
        "| fault | tries | confirmed lines before | lost | changed | restored from the copy |"
        " refused with a clear sentence | otherwise |",
        "|---|---|---|---|---|---|---|---|",
    ]

    def cells(name: str, some: Sequence[Row]) -> str:
        tries = sum(len(row.tries) for row in some)
        numbers = [sum(row.total(what) for row in some) for what in ("before", "lost", "changed")]
        restored = sum(row.total("restored") for row in some)
        refused = sum(row.refused for row in some)
        unclear = sum(len(row.unclear) for row in some)
        values = [tries, *numbers, restored, refused, unclear]
        return f"| {name} | {' | '.join(f'{value:,}' for value in values)} |"

    lines += [
        f"| {row.name} | not tried: {row.not_here} |" if row.not_here else cells(row.name, [row])
        for row in rows
    ]
    lines.append(cells("**all**", rows))
    return "\n".join(lines)


def main(
    share: Annotated[float, typer.Option(help="Share of the usual number of tries.")] = 1.0,
    seed: Annotated[int, typer.Option(help="Draws moments and places.")] = 20261125,
    only: Annotated[list[str] | None, typer.Option(help="Words in the names of faults.")] = None,
    write_readme: Annotated[
        Path | None, typer.Option(help="Write the table between the markers of this page.")
    ] = None,
) -> None:
    """Make faults happen; exit code 1 where a confirmed line was lost or changed."""
    if write_readme:
        between_markers(write_readme.read_text(encoding="utf-8"), "", "faults")
    rows = run(share, seed, only, Console(stderr=True))
    text = table(rows)
    print(text)
    for row in rows:
        for words in sorted(set(row.unclear)):
            print(f"{row.name}: {words}")
    if write_readme:
        page = write_readme.read_text(encoding="utf-8")
        write_readme.write_text(between_markers(page, text + "\n", "faults"), encoding="utf-8")
    raise typer.Exit(1 if any(row.total("lost") + row.total("changed") for row in rows) else 0)


if __name__ == "__main__":
    typer.run(main)
