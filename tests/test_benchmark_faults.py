"""Every fault once, really made to happen, and the arithmetic of the soak."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from tests.benchmarks.soak import MIB, Played, Soak, compare, growth, key

from countersign.meaning.event import Event, EventKind

ROOT = Path(__file__).parents[1]
TOLD = (
    "disk full",
    "file size limit",
    "read-only disk",
    "read-only folder",
    "model missing",
    "microphone",
)
"""Faults that somebody must be told about, whenever they happen."""


@pytest.mark.slow
@pytest.mark.skipif(sys.platform != "linux", reason="the faults are those of Linux")
def test_no_fault_loses_or_changes_a_confirmed_line() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.faults", "--share", "0.005"],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src"), "COLUMNS": "200"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    rows = [line.strip("| ").split(" | ") for line in done.stdout.splitlines() if "|" in line][2:]
    tried = {name: [int(cell.replace(",", "")) for cell in cells] for name, *cells in rows
             if not cells[0].startswith("not tried")}  # fmt: skip
    assert len(rows) == 15 and len(tried) >= 13  # the last row is all of them
    for name, (tries, before, lost, changed, *_) in tried.items():
        assert tries >= 1 and before >= 12 and (lost, changed) == (0, 0), done.stdout
        if name.startswith(TOLD):
            told, otherwise = tried[name][-2:]
            assert (told, otherwise) == (tries, 0), done.stdout


def line(item: str, quantity: int, start_s: float) -> Event:
    return Event(
        kind=EventKind.COUNT,
        item=item,
        quantity=quantity,
        unit="each",
        start_s=start_s,
        end_s=start_s + 1,
        words="words",
        confidence=0.9,
    )


def test_a_lost_line_and_another_one_are_told_apart() -> None:
    played = [Played("a", 10, 15), Played("b", 40, 45), Played("a", 70, 75)]
    expected = {"a": [key(line("lap_sponge", 5, 0))], "b": [key(line("raytec", 10, 0))]}
    said = {
        "a": [{"kind": "count", "item": "lap_sponge", "quantity": 5}],
        "b": [{"kind": "count", "item": "raytec", "quantity": 10}],
    }
    events = [line("lap_sponge", 5, 11), line("raytec", 9, 41), line("raytec", 1, 60)]
    soak = Soak()
    compare(soak, events, played, expected, said)
    assert (soak.lines, soak.wanted, soak.missing) == (3, 3, 2)
    assert (len(soak.lost), len(soak.other), len(soak.added)) == (1, 1, 1)


def test_growth_is_that_of_the_second_half() -> None:
    warming = [(hour / 10, (100 + hour * 10) * MIB) for hour in range(10)]
    flat = [(1 + hour / 10, 200 * MIB) for hour in range(10)]
    assert growth(warming + flat) == pytest.approx(0, abs=1e-6)
    rising = [(hour, (200 + 3 * hour) * MIB) for hour in range(10)]
    assert growth(rising) == pytest.approx(3)
