"""``python -m tests.benchmarks.soak``: a day of sound through one process, in compressed time.

Made recordings whose truth is known, with a quiet room between them, are fed to the live listening
path: kept sound, recogniser, kept words, ledger. One process listens to all cases, one after the
other, as the server of an operating room does. Memory is taken for every minute of sound.

A line is *lost* when the same recording, played alone to the same process before the soak, gave a
line that it does not give now; *other* when it gave another one. The manifest's truth is compared
as well: a line *missing* there is one that hearing missed, whether in a soak or not.

A day takes hours: ``--keep FILE`` writes what was measured so far after every case and every ten
minutes of sound, Ctrl-C or a TERM signal ends the soak after the recording it plays with the
figures reached, and ``--show FILE`` makes table and picture of a kept file, also while it goes on.
"""

import gc
import itertools
import json
import os
import random
import signal
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn
from tests.benchmarks.figures import between_markers

from countersign.hearing import Ears, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.ledger import Ledger, open_case, open_ledger, read_case
from countersign.listening import Listener
from countersign.meaning import Event
from countersign.sound import SAMPLE_RATE, Block, read_blocks

ROOT = Path(__file__).resolve().parents[2]
AFTER_S = 16.0
"""Silence behind a recording: a count that nobody goes on with is closed by then."""
BACKLOG_S = 20.0
NOISE = 6.0
"""Standard deviation of the room's noise, in steps of 16 bits (about −75 dB)."""
PIECE = SAMPLE_RATE
MIB = 1024 * 1024

Key = tuple[str, str | None, str, str]


@dataclass
class Played:
    """One recording in the soak: where it lies in its case, and what it should give."""

    file: str
    start_s: float
    end_s: float


@dataclass
class Soak:
    """What was measured. ``memory`` is (hours heard, bytes) for every minute of sound."""

    memory: list[tuple[float, int]] = field(default_factory=list)
    cases: int = 0
    heard_s: float = 0.0
    speech_s: float = 0.0
    wall_s: float = 0.0
    processor_s: float = 0.0
    played: int = 0
    lines: int = 0
    lost: list[str] = field(default_factory=list)
    other: list[str] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    wanted: int = 0
    missing: int = 0
    silence_rate: float = 0.0


def keep(soak: Soak, path: Path | None) -> None:
    """Write what was measured so far, whole or not at all."""
    if path is None:
        return
    beside = path.with_suffix(".part")
    beside.write_text(json.dumps(asdict(soak)), encoding="utf-8")
    beside.replace(path)


def kept(path: Path) -> Soak:
    """What ``keep`` wrote."""
    return Soak(**json.loads(path.read_text(encoding="utf-8")))


def resident() -> int:
    """Bytes of memory that this process holds now."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")


def key(event: Event) -> Key:
    """What a line says."""
    return (event.kind.value, event.item, str(event.quantity), event.unit or "")


def sound_of(path: Path) -> bytes:
    """A recording as int16 samples."""
    return b"".join(block.samples.astype("<i2").tobytes() for block in read_blocks(path))


class Room:
    """A quiet room: the same noise again and again, so that it costs nothing to make."""

    def __init__(self, seed: int) -> None:
        noise = np.random.default_rng(seed).normal(0, NOISE, SAMPLE_RATE * 61)
        self._noise = noise.astype("<i2").tobytes()

    def quiet(self, seconds: float) -> bytes:
        """So much of it."""
        wanted = 2 * round(seconds * SAMPLE_RATE)
        return (self._noise * (wanted // len(self._noise) + 1))[:wanted]


class Live:
    """A listener that is fed no faster than it hears."""

    def __init__(self, ears: Ears, kit: Kit, ledger: Ledger, folder: Path) -> None:
        self.case = open_case(ledger, kit, "live")
        self.listener = Listener(ears, kit, ledger, self.case, folder / self.case)
        self.heard_s = 0.0
        self._moved = threading.Condition()
        blocks = self.listener.sound.blocks

        def followed(start: int = 0, *, seconds: float = 0.1) -> Iterator[Block]:
            for block in blocks(start, seconds=seconds):
                with self._moved:
                    self.heard_s = block.start_s
                    self._moved.notify_all()
                yield block

        self.listener.sound.blocks = followed  # type: ignore[method-assign]
        self.listener.start()

    @property
    def fed_s(self) -> float:
        """Seconds that were fed."""
        return self.listener.sound.samples / SAMPLE_RATE

    def feed(self, data: bytes) -> Iterator[float]:
        """Feed sound in pieces of a second; gives the seconds heard after each."""
        for start in range(0, len(data), 2 * PIECE):
            self.listener.feed(self.listener.sound.samples, data[start : start + 2 * PIECE])
            with self._moved:
                while self.fed_s - self.heard_s > BACKLOG_S and self.listener.trouble is None:
                    self._moved.wait(1.0)
            yield self.heard_s


def alone(
    entries: Sequence[dict[str, Any]], fixtures: Path, ears: Ears, kit: Kit, ledger: Ledger,
    folder: Path, room: Room,
) -> dict[str, list[Key]]:  # fmt: skip
    """What each recording gives when it is the only one in its case, after a while of quiet."""
    found = {}
    for entry in entries:
        live = Live(ears, kit, ledger, folder)
        data = room.quiet(AFTER_S) + sound_of(fixtures / entry["file"]) + room.quiet(AFTER_S)
        for _ in live.feed(data):
            pass
        live.listener.end()
        found[entry["file"]] = [key(event) for event in read_case(ledger, live.case).events]
    return found


def is_so(event: Event, truth: dict[str, Any]) -> bool:
    """Whether an event is what the manifest says of it; what that leaves out is left open."""
    quantity = truth.get("quantity")
    return (event.kind.value, event.item) == (truth["kind"], truth.get("item")) and (
        quantity is None or str(event.quantity) == str(quantity)
    )


def compare(
    soak: Soak,
    events: Sequence[Event],
    played: Sequence[Played],
    expected: dict[str, list[Key]],
    wanted: dict[str, list[dict[str, Any]]],
) -> None:
    """Add to ``soak`` how the lines of one case agree with what they should be."""
    rest = list(events)
    for each in played:
        here = [e for e in rest if each.start_s - 1 <= e.start_s <= each.end_s + 1]
        rest = [e for e in rest if e not in here]
        got, should = [key(e) for e in here], list(expected[each.file])
        soak.lines += len(should)
        for line in list(got):
            if line in should:
                should.remove(line)
                got.remove(line)
        for line, instead in itertools.zip_longest(should, got):
            where = f"{each.file}: {line} / {instead}"
            (soak.lost if instead is None else soak.added if line is None else soak.other).append(
                where
            )
        left = list(here)
        for truth in wanted[each.file]:
            soak.wanted += 1
            found = next((event for event in left if is_so(event, truth)), None)
            if found is None:
                soak.missing += 1
            else:
                left.remove(found)
    soak.added += [f"between recordings: {key(event)}" for event in rest]


def run(
    hours: float,
    case_hours: float,
    every_s: float,
    fixtures: Path,
    seed: int,
    recordings: int,
    limit_s: float,
    keep_in: Path | None = None,
    stop: threading.Event | None = None,
) -> Soak:
    """Soak one process for so many hours of sound, or until the case ends after ``limit_s``.

    ``stop`` ends it after the recording that is being played.
    """
    stop = stop or threading.Event()
    chance, room, soak = random.Random(seed), Room(seed), Soak()
    kit = read_kit(demo_kit_path())
    ears = open_ears(kit)
    listed = json.loads((fixtures / "manifest.json").read_text(encoding="utf-8"))["recordings"]
    entries = [entry for entry in listed if entry["events"]]
    entries = entries[:: max(1, len(entries) // recordings)]
    wanted = {entry["file"]: entry["events"] for entry in entries}
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with (
        tempfile.TemporaryDirectory() as scratch,
        Progress(*columns, TimeRemainingColumn()) as bar,
    ):
        folder = Path(scratch)
        ledger = open_ledger(folder / "ledger.sqlite3")
        task = bar.add_task("each recording alone", total=None)
        expected = alone(entries, fixtures, ears, kit, ledger, folder, room)
        sounds = {entry["file"]: sound_of(fixtures / entry["file"]) for entry in entries}

        quiet = Live(ears, kit, ledger, folder)
        began = time.process_time()
        for _ in quiet.feed(room.quiet(120)):
            pass
        quiet.listener.end()
        soak.silence_rate = (time.process_time() - began) / 120

        bar.update(task, description="soak", total=hours * 3600)
        began, began_processor = time.perf_counter(), time.process_time()
        next_minute, over_s, ended = 0.0, 0.0, False

        def measured() -> None:
            soak.wall_s = time.perf_counter() - began
            soak.processor_s = time.process_time() - began_processor
            keep(soak, keep_in)

        while not ended and over_s < hours * 3600 - 1:
            live, played = Live(ears, kit, ledger, folder), []
            length_s = min(case_hours * 3600, hours * 3600 - over_s)
            while live.fed_s < length_s and not stop.is_set():
                gap_s = max(AFTER_S, chance.expovariate(1 / every_s))
                file = chance.choice(entries)["file"]
                start_s = live.fed_s + gap_s
                played.append(Played(file, start_s, start_s + len(sounds[file]) / 2 / SAMPLE_RATE))
                soak.speech_s += len(sounds[file]) / 2 / SAMPLE_RATE
                for heard_s in live.feed(room.quiet(gap_s) + sounds[file]):
                    soak.heard_s = over_s + heard_s
                    if soak.heard_s >= next_minute:
                        soak.memory.append((soak.heard_s / 3600, resident()))
                        bar.update(task, completed=soak.heard_s)
                        next_minute = soak.heard_s + 60
                        if len(soak.memory) % 10 == 0:
                            measured()
            for _ in live.feed(room.quiet(AFTER_S)):
                pass
            live.listener.end()
            soak.cases += 1
            over_s += live.fed_s
            soak.heard_s = over_s
            soak.played += len(played)
            compare(soak, read_case(ledger, live.case).events, played, expected, wanted)
            (folder / live.case / "sound.wav").unlink()  # a day is 2.8 GB
            del live
            gc.collect()
            measured()
            bar.console.print(so_far(soak), highlight=False, soft_wrap=True)
            ended = stop.is_set() or soak.wall_s > limit_s
        soak.memory.append((soak.heard_s / 3600, resident()))
        measured()
        ledger.close()
        open_ledger(folder / "ledger.sqlite3").close()  # checks the chain over everything
    return soak


def so_far(soak: Soak) -> str:
    """One line after each case."""
    return (
        f"{soak.heard_s / 3600:.2f} h in {soak.cases} cases, {soak.played} recordings, "
        f"{soak.lines} lines: {len(soak.lost)} lost, {len(soak.other)} other, "
        f"{len(soak.added)} more; {soak.memory[-1][1] / MIB:.0f} MiB, "
        f"{soak.processor_s / 60:.0f} min of processor in {soak.wall_s / 60:.0f} min"
    )


def growth(memory: Sequence[tuple[float, int]]) -> float:
    """MiB an hour: the slope of a straight line through the second half of the memory taken."""
    half = memory[len(memory) // 2 :]
    if len(half) < 2:
        return 0.0
    hours, size = np.array([at for at, _ in half]), np.array([each / MIB for _, each in half])
    return float(np.polyfit(hours, size, 1)[0])


def table(soak: Soak) -> str:
    """The figures as Markdown."""
    sizes = [size / MIB for _, size in soak.memory]
    rows = [
        ("Sound heard by one process", f"{soak.heard_s / 3600:.1f} h in {soak.cases} cases"),
        ("Of that, recordings", f"{soak.played:,}, {soak.speech_s / 60:.0f} min"),
        ("Lines they should give", f"{soak.lines:,}"),
        ("Lines lost", f"{len(soak.lost)}"),
        ("Lines other than alone", f"{len(soak.other)}"),
        ("Lines more than alone", f"{len(soak.added)}"),
        ("Events said, and not heard so (as in any run)", f"{soak.wanted:,}, {soak.missing:,}"),
        ("Memory at the start, most, at the end",
         f"{sizes[0]:.0f}, {max(sizes):.0f}, {sizes[-1]:.0f} MiB"),
        ("Growth over the second half", f"{growth(soak.memory):+.2f} MiB an hour"),
        ("Processor time by length of sound", f"{soak.processor_s / soak.heard_s:.3f}"),
        ("The same, of a quiet room alone", f"{soak.silence_rate:.3f}"),
    ]  # fmt: skip
    return "\n".join(["| | |", "|---|---|", *(f"| {name} | {value} |" for name, value in rows)])


def plot(soak: Soak, path: Path) -> None:
    """Memory over the hours heard, as a picture."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, axes = pyplot.subplots(figsize=(8, 3.5), layout="constrained")
    axes.plot([at for at, _ in soak.memory], [size / MIB for _, size in soak.memory], color="black")
    axes.set(xlabel="hours of sound heard", ylabel="memory of the process, MiB")
    axes.set_ylim(0, 1.2 * max(size / MIB for _, size in soak.memory))
    axes.set_title(f"One process, {soak.cases} cases, {soak.played} recordings")
    axes.grid(alpha=0.3)
    figure.savefig(path, dpi=130)


def main(
    hours: Annotated[float, typer.Option(help="Hours of sound.")] = 24.0,
    case_hours: Annotated[float, typer.Option(help="Hours of one case.")] = 1.0,
    every: Annotated[float, typer.Option(help="Mean seconds between recordings.")] = 60.0,
    fixtures: Annotated[Path, typer.Option(help="Folder of the made recordings.")] = (
        ROOT / "audio_fixtures"
    ),
    seed: Annotated[int, typer.Option(help="Draws the recordings and pauses.")] = 20261125,
    recordings: Annotated[int, typer.Option(help="How many different recordings.")] = 20,
    limit_minutes: Annotated[
        float, typer.Option(help="Begin no other case after so many minutes.")
    ] = 600,
    picture: Annotated[Path | None, typer.Option(help="Write the memory plot (PNG).")] = None,
    keep_in: Annotated[
        Path | None, typer.Option("--keep", help="Write the figures so far to this file (JSON).")
    ] = None,
    show: Annotated[
        Path | None, typer.Option(help="Play nothing: show the figures of such a file.")
    ] = None,
    write_readme: Annotated[
        Path | None, typer.Option(help="Write the table between the markers of this page.")
    ] = None,
) -> None:
    """Listen to a day of sound in one process; exit code 1 where a line was lost or changed."""
    if write_readme:
        between_markers(write_readme.read_text(encoding="utf-8"), "", "soak")
    if show:
        soak = kept(show)
    else:
        stop = threading.Event()
        for each in (signal.SIGINT, signal.SIGTERM):
            signal.signal(each, lambda *_: stop.set())
        soak = run(
            hours, case_hours, every, fixtures, seed, recordings, limit_minutes * 60, keep_in, stop
        )
    text = table(soak)
    print(text)
    for kind, lines in (("lost", soak.lost), ("other", soak.other), ("more", soak.added)):
        for line in lines:
            print(f"{kind}: {line}")
    if picture:
        plot(soak, picture)
    if write_readme:
        page = write_readme.read_text(encoding="utf-8")
        write_readme.write_text(between_markers(page, text + "\n", "soak"), encoding="utf-8")
    raise typer.Exit(1 if soak.lost or soak.other else 0)


if __name__ == "__main__":
    typer.run(main)
