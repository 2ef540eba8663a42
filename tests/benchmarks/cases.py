"""``python -m tests.benchmarks.cases``: whole invented cases as words, judged line by line.

Every case goes through ``countersign read``'s way (meaning and tally); no sound is involved.
"""

import time
from collections import Counter
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import track
from rich.table import Table
from tests.benchmarks.line_figures import rate
from tests.cases.generate import EVERYTHING, generate
from tests.cases.judge import Judged, Outcome, judge
from tests.cases.saying import UNDERSTOOD

from countersign.chain import read
from countersign.kit import demo_kit_path, read_kit


def main(
    cases: Annotated[int, typer.Option(help="How many cases.")] = 200,
    lines: Annotated[int, typer.Option(help="About how many things happen in each.")] = 120,
    first: Annotated[int, typer.Option(help="The first seed.")] = 0,
    everything: Annotated[
        bool, typer.Option(help="Also kinds of phrase that are not read yet.")
    ] = False,
    show: Annotated[int, typer.Option(help="Print at most so many misread lines.")] = 20,
) -> None:
    """Read whole cases and count lines that were exact, questioned and wrong in silence."""
    kit = read_kit(demo_kit_path())
    on = EVERYTHING if everything else UNDERSTOOD
    started = time.perf_counter()
    judged: list[tuple[int, Judged]] = []
    for seed in track(range(first, first + cases), console=Console(stderr=True)):
        case = generate(kit, seed, lines=lines, on=on)
        judged += [(seed, each) for each in judge(case, read(case.lines, kit).record)]
    console = Console(width=None if Console().is_terminal else 200, highlight=False)
    for seed, each in [pair for pair in judged if pair[1].outcome is Outcome.SILENT][:show]:
        console.print(f"case {seed}, line {each.step.first_line}, {each.sentence}", markup=False)
    console.print(_table([each for _, each in judged]))
    telling = [each for _, each in judged if each.step.event is not None]
    silent = sum(each.outcome is Outcome.SILENT for _, each in judged)
    console.print(
        f"{cases} cases, {len(judged):,} things said, {len(telling):,} of them events; wrong in "
        f"silence {rate(silent, len(judged))}; {time.perf_counter() - started:.0f} s"
    )


def _table(judged: list[Judged]) -> Table:
    by_act: dict[str, Counter[str]] = {}
    for each in judged:
        counts = by_act.setdefault(type(each.step.act).__name__.lower(), Counter())
        counts[each.outcome.value] += 1
        counts["needless"] += each.needless
    table = Table()
    table.add_column("what was said")
    columns = [*(outcome.value for outcome in Outcome), "needless"]
    for name in columns:
        table.add_column(name, justify="right")
    for act, counts in sorted(by_act.items()):
        table.add_row(act, *(f"{counts[name]:,}" for name in columns))
    whole = sum(by_act.values(), Counter())
    table.add_row("all", *(f"{whole[name]:,}" for name in columns), style="bold")
    return table


if __name__ == "__main__":
    typer.run(main)
