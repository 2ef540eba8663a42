"""``python -m tests.benchmarks.cases``: whole invented cases as words, held against their truth.

Every case goes through ``countersign read``'s way (meaning and tally); no sound is involved. It
prints what became of every line, the differences between the confirmed record and the simulated
room at every verdict and at the end, the discrepancies found, and the time for 1,000 events.
"""

import time
from collections import Counter
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import track
from rich.table import Table
from tests.benchmarks.line_figures import rate
from tests.cases.acts import Say
from tests.cases.checking import decisions_on, differences, lines_until
from tests.cases.generate import Case, generate
from tests.cases.judge import Judged, Outcome, judge

from countersign.chain import read
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning.event import Event
from countersign.tally import build_record


def main(
    cases: Annotated[int, typer.Option(help="How many cases.")] = 200,
    lines: Annotated[int, typer.Option(help="About how many things happen in each.")] = 120,
    first: Annotated[int, typer.Option(help="The first seed.")] = 0,
    show: Annotated[int, typer.Option(help="Print at most so many lines that are not exact.")] = 20,
) -> None:
    """Read whole cases; count what was exact, questioned and silent, and every difference."""
    kit = read_kit(demo_kit_path())
    started = time.perf_counter()
    judged: list[tuple[int, Judged]] = []
    found: list[str] = []
    opened = missed = 0
    for seed in track(range(first, first + cases), console=Console(stderr=True)):
        case = generate(kit, seed, lines=lines)
        result = read(case.lines, kit)
        of_case = judge(case, result.record)
        judged += [(seed, each) for each in of_case]
        true, unseen, differ = _against_truth(kit, case, of_case, result.events)
        opened, missed = opened + true, missed + unseen
        found += [f"case {seed}: {each}" for each in differ]
    console = Console(width=None if Console().is_terminal else 200, highlight=False)
    not_exact = (Outcome.SILENT, Outcome.QUESTIONED, Outcome.LOST)
    for seed, each in [pair for pair in judged if pair[1].outcome in not_exact][:show]:
        console.print(f"case {seed}, line {each.step.first_line}, {each.sentence}", markup=False)
    for sentence in found[:show]:
        console.print(sentence, markup=False)
    console.print(_table([each for _, each in judged]))
    telling = [each for _, each in judged if each.step.event is not None]
    silent = sum(each.outcome is Outcome.SILENT for _, each in judged)
    exact = sum(each.outcome is Outcome.EXACT for each in telling)
    needless = sum(each.needless for each in telling)
    console.print(
        f"{cases} cases (seeds {first} to {first + cases - 1}), {len(judged):,} things said, "
        f"{len(telling):,} of them events: {exact:,} exact, {len(telling) - exact:,} not; "
        f"{needless:,} exact ones asked about; wrong in silence {rate(silent, len(judged))}"
    )
    console.print(
        f"confirmed records against the truth at every verdict and at the end: {len(found):,} "
        f"differences; {opened:,} open discrepancies, {missed:,} not found"
    )
    console.print(
        f"1,000 events reconciled in {_speed(kit) * 1000:.0f} ms; "
        f"all in {time.perf_counter() - started:.0f} s"
    )


def _against_truth(
    kit: Kit, case: Case, judged: list[Judged], events: list[Event]
) -> tuple[int, int, list[str]]:
    """How many discrepancies were open, how many not found, and every difference of the record."""
    decisions = decisions_on(judged)
    steps = [at for at, step in enumerate(case.steps) if isinstance(step.act, Say)]
    opened = missed = 0
    found: list[str] = []
    for at in [*steps, len(case.steps) - 1]:
        truth, until = case.steps[at].truth, lines_until(judged, at)
        kept = [made for made in decisions if made.line <= until]
        record = build_record(kit, events[:until], kept)
        true = {each.item for each in truth.discrepancies if each.item not in truth.half_counted}
        opened += len(true)
        missed += len(true - {each.item for each in record.discrepancies if each.is_open})
        line = case.steps[at].first_line
        found += [f"line {line}: {each}" for each in differences(record, truth, confirmed=True)]
    return opened, missed, found


def _speed(kit: Kit) -> float:
    """Seconds of processor time to reconcile 1,000 events, the best of five."""
    events = generate(kit, 1, lines=1600).events[:1000]

    def seconds() -> float:
        begin = time.process_time()
        build_record(kit, events)
        return time.process_time() - begin

    return min(seconds() for _ in range(5))


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
