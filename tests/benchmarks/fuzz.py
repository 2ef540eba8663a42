"""``python -m tests.benchmarks.fuzz``: broken inputs for every reader, for as long as is asked.

Each target runs in a process of its own, so that a crash of a decoder is a count and not the end,
and one that answers nothing for a while is stopped. An input that fails is kept with its seed.
"""

import json
import os
import random
import resource
import select
import subprocess
import sys
import tempfile
import time
import traceback
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

ROOT = Path(__file__).resolve().parents[2]
HANG_S = 30.0
MOST_BYTES = 6 * 1024**3


def child(name: str, seed: int, seconds: float, folder: Path, keep: Path) -> None:
    """Try one target; one line of JSON for every try."""
    from tests.abuse.targets import TARGETS, attempt

    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    target = next(each for each in TARGETS if each.name == name)
    path = folder / "input"
    target.make(random.Random(0))  # what is made once is not counted
    print(json.dumps({"ready": True}), flush=True)
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        path.write_bytes(target.make(random.Random(seed)))
        (folder / "seed").write_text(str(seed), encoding="ascii")
        answer: dict[str, object] = {"seed": seed}
        try:
            answer["refused"] = attempt(target, path) is not None
        except Exception as error:
            answer["failure"] = f"{type(error).__name__}: {error}"[:200]
            keep_input(path, keep, f"{name}-{seed}", traceback.format_exc()[-3000:])
        answer["peak"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
        print(json.dumps(answer), flush=True)
        seed += 1


class Tally:
    """What came of one target."""

    def __init__(self) -> None:
        self.tries = self.refused = self.peak = 0
        self.failures: dict[str, int] = {}


def run_target(name: str, seed: int, seconds: float, keep: Path) -> Tally:
    """One target for so many seconds, in processes of its own."""
    tally = Tally()
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        with tempfile.TemporaryDirectory() as folder:
            place = Path(folder)
            left = until - time.monotonic()
            arguments = ["child", name, str(seed), str(left), folder, str(keep.absolute())]
            process = subprocess.Popen(
                [sys.executable, "-m", "tests.benchmarks.fuzz", *arguments],
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                cwd=ROOT,
            )
            ended = _follow(process, tally)
            at = place / "seed"
            seed = int(at.read_text(encoding="ascii")) + 1 if at.exists() else seed + 1
            if ended is None:
                break
            if (place / "input").exists():
                keep_input(place / "input", keep, f"{name}-{seed - 1}", ended)
            tally.tries += 1
            tally.failures[ended] = tally.failures.get(ended, 0) + 1
    return tally


def _follow(process: "subprocess.Popen[bytes]", tally: Tally) -> str | None:
    """Count the child's tries; how it ended where that was no good end."""
    assert process.stdout is not None
    buffer = b""
    while True:
        ready, _, _ = select.select([process.stdout], [], [], HANG_S)
        if not ready:
            process.kill()
            process.wait()
            return f"no answer in {HANG_S:.0f} s"
        piece = os.read(process.stdout.fileno(), 65536)
        if not piece:
            code = process.wait()
            return None if code == 0 else f"the process ended with {code}"
        *lines, buffer = (buffer + piece).split(b"\n")
        for line in lines:
            if not line.startswith(b"{"):  # decoders of libsndfile write remarks there
                continue
            answer = json.loads(line)
            if "ready" in answer:
                continue
            tally.tries += 1
            tally.refused += bool(answer.get("refused"))
            tally.peak = max(tally.peak, answer["peak"])
            if failure := answer.get("failure"):
                tally.failures[failure] = tally.failures.get(failure, 0) + 1


def keep_input(path: Path, keep: Path, name: str, why: str) -> None:
    """Keep an input that failed, and beside it why."""
    keep.mkdir(parents=True, exist_ok=True)
    (keep / f"{name}.bin").write_bytes(path.read_bytes())
    (keep / f"{name}.txt").write_text(f"{why}\n", encoding="utf-8")


def main(
    seconds: Annotated[float, typer.Option(help="How long each target is tried.")] = 20.0,
    only: Annotated[list[str] | None, typer.Option(help="Targets; pages is one of them.")] = None,
    seed: Annotated[int, typer.Option(help="Where the tries begin.")] = 1,
    keep: Annotated[Path, typer.Option(help="Failing inputs are kept here.")] = Path(
        "fuzz-failures"
    ),
) -> None:
    """Try broken inputs and print tries, refusals and failures of each target."""
    from tests.abuse.targets import TARGETS

    known = [*(target.name for target in TARGETS), "pages"]
    names = only or known
    console = Console(stderr=True)
    if unknown := [name for name in names if name not in known]:
        console.print(f"There is no target {unknown[0]}; there are {', '.join(known)}.")
        raise typer.Exit(2)
    rows = [
        "| target | tries | refused | failures | most memory, MB |",
        "|---|---:|---:|---:|---:|",
    ]
    failed = 0
    with Progress(TextColumn("{task.description}"), BarColumn(), console=console) as progress:
        task = progress.add_task("fuzzing", total=len(names))
        for name in names:
            progress.update(task, description=name)
            if name == "pages":
                tally = _pages(seconds, seed)
            else:
                tally = run_target(name, seed, seconds, keep)
            failures = sum(tally.failures.values())
            failed += failures
            rows.append(f"| {name} | {tally.tries} | {tally.refused} | {failures} | {tally.peak} |")
            for sentence, times in tally.failures.items():
                console.print(f"{name}: {times} × {sentence}", markup=False)
            progress.advance(task)
    print("\n".join(rows))
    raise typer.Exit(1 if failed else 0)


def _pages(seconds: float, seed: int) -> Tally:
    from tests.abuse.pages_fuzz import fuzz_pages

    tally = Tally()
    with tempfile.TemporaryDirectory() as folder:
        found = fuzz_pages(Path(folder), seed=seed, seconds=seconds)
    tally.tries, tally.refused = found.tries, found.refused
    tally.peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
    for sentence in found.failures:
        tally.failures[sentence] = tally.failures.get(sentence, 0) + 1
    return tally


if __name__ == "__main__":
    if sys.argv[1:2] == ["child"]:
        child(
            sys.argv[2], int(sys.argv[3]), float(sys.argv[4]), Path(sys.argv[5]), Path(sys.argv[6])
        )
    else:
        typer.run(main)
