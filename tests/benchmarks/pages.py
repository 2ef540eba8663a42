"""How quick the pages are: ``python -m tests.benchmarks.pages [--only NAME] [--rooms N …]``.

A server runs in a process of its own, as ``countersign serve`` runs it; sound is sent as a browser
sends it, in pieces of a tenth of a second at the pace of speech. Three things are measured:

- *line*: from the end of speech (the end of the last word in the recording, by the words' own
  times) to the news on the page's socket that shows the last count in full, and to that of its
  line. The last news before that of the line is the one: earlier ones may come late;
- *rooms*: so many cases streaming the same at once, again and again for so many minutes: the lag
  of the last count of every round in every room, how much sound waits when the streams end, and the
  server's processor time. All rooms speak and are silent together, the worst that can be, unless
  ``--apart`` spreads them over a round;
- *page*: bytes and milliseconds of the first load of a case with forty lines.

Figures hold for the machine they are taken on; the number of cores is printed beside them.
"""

import argparse
import asyncio
import json
import multiprocessing
import os
import socket
import statistics
import struct
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import httpx
import numpy as np
import websockets

from countersign.chain import listen
from countersign.hearing import open_ears
from countersign.kit import demo_kit_path, read_kit
from countersign.ledger import append_event, open_case, open_ledger, read_case
from countersign.sound import SAMPLE_RATE, read_blocks

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"
RECORDINGS = ("sharps-three-items.flac", "laps-five.flac", "totals-three.flac")
PIECE = SAMPLE_RATE // 10
TAIL_S = 12.0
"""Silence after the recording: longer than the pause after which meaning closes a count."""


def serve(folder: Path, port: int) -> None:
    """The server's process."""
    from countersign.pages.served import Served
    from countersign.pages.server import serve as run

    settings = Served(
        ledger=folder / "ledger.sqlite3",
        sound=folder / "sound",
        people=folder / "people.json",
        secret=folder / "session.key",
    )
    run(settings, "127.0.0.1", port)


class Page:
    """A signed-in browser without a screen."""

    def __init__(self, port: int) -> None:
        self.base = f"http://127.0.0.1:{port}"
        self.client = httpx.Client(base_url=self.base, timeout=60, follow_redirects=True)
        form = {"initials": "AB", "role": "circulator"}
        text = self.client.post("/sign-in", data=form).raise_for_status().text
        self.token = text.split('name="form_token" value="')[1].split('"')[0]

    def begin(self) -> str:
        answer = self.client.post("/cases", data={"form_token": self.token}).raise_for_status()
        return answer.url.path.rsplit("/", 1)[1]

    def headers(self) -> dict[str, str]:
        cookies = "; ".join(f"{name}={value}" for name, value in self.client.cookies.items())
        return {"Cookie": cookies}

    def socket(self, case: str, what: str) -> str:
        return f"{self.base.replace('http', 'ws')}/cases/{case}/{what}"


async def stream(page: Page, case: str, sound: bytes, began: list[float]) -> float:
    """Send sound at the pace of speech; gives the seconds that waited unanswered at the end."""
    async with websockets.connect(
        page.socket(case, "hear"), additional_headers=page.headers()
    ) as out:
        await out.send(json.dumps({"take": None}))
        await out.recv()
        have = 0

        async def answers() -> None:
            nonlocal have
            async for message in out:
                have = json.loads(message).get("have", have)

        listening = asyncio.ensure_future(answers())
        start = time.monotonic()
        began.append(start)
        for at in range(0, len(sound) // 2, PIECE):
            await asyncio.sleep(max(0.0, start + (at + PIECE) / SAMPLE_RATE - time.monotonic()))
            await out.send(struct.pack("<Q", at) + sound[2 * at : 2 * (at + PIECE)])
        waits = len(sound) // 2 - have
        listening.cancel()
        return waits / SAMPLE_RATE


async def news(page: Page, case: str, told: list[tuple[float, dict[str, object]]]) -> None:
    async with websockets.connect(
        page.socket(case, "watch"), additional_headers=page.headers()
    ) as watching:
        async for message in watching:
            told.append((time.monotonic(), json.loads(message)))


@dataclass(frozen=True)
class Round:
    """A recording with silence behind it: its samples, when its last word ends, and its lines."""

    sound: bytes
    end_s: float
    lines: int

    @property
    def length_s(self) -> float:
        return len(self.sound) / 2 / SAMPLE_RATE


@dataclass(frozen=True)
class Heard:
    """What came of a room: seconds after speech until the last count of each round was shown, and
    kept; how many lines there were, of how many; and how much sound waited at the end.
    """

    shown: list[float]
    kept: list[float]
    lines: int
    expected: int
    waits: float


def lags(
    told: Sequence[tuple[float, dict[str, object]]], ends: Sequence[float], lines: int
) -> tuple[list[float], list[float]]:
    """Seconds after each end until its last count was shown, and kept; ``lines`` come in a round.

    Shown is the last change before the news of the line: what is still being said changes with
    every utterance, and the news of an earlier one may come after the end.
    """
    shown, kept = [], []
    changed, number = float("nan"), 0
    for at, message in told:
        if "line" in message:
            number += 1
            if number % lines == 0 and number // lines <= len(ends):
                end = ends[number // lines - 1]
                shown.append(changed - end)
                kept.append(at - end)
        elif message.get("changed"):
            changed = at
    return shown, kept


async def one_room(page: Page, case: str, one: Round, rounds: int, after_s: float = 0.0) -> Heard:
    told: list[tuple[float, dict[str, object]]] = []
    began: list[float] = []
    watching = asyncio.ensure_future(news(page, case, told))
    await asyncio.sleep(0.3 + after_s)
    waits = await stream(page, case, one.sound * rounds, began)
    await asyncio.sleep(3.0)
    watching.cancel()
    ends = [began[0] + at * one.length_s + one.end_s for at in range(rounds)]
    shown, kept = lags(told, ends, one.lines)
    lines = sum("line" in message for _, message in told)
    return Heard(shown, kept, lines, one.lines * rounds, waits)


def recorded(name: str) -> Round:
    """A recording with silence behind it, as long as whole pieces of sound are."""
    kit = read_kit(demo_kit_path())
    events = listen(FIXTURES / name, kit, ears=open_ears(kit)).events
    blocks = [block.samples for block in read_blocks(FIXTURES / name)]
    spoken = sum(map(len, blocks))
    silence = np.zeros(int(TAIL_S * SAMPLE_RATE) - spoken % PIECE, dtype=np.int16)
    sound = np.concatenate([*blocks, silence]).astype("<i2").tobytes()
    return Round(sound, max(event.end_s for event in events), len(events))


def row(*cells: object) -> None:
    print("| " + " | ".join(f"{c:.2f}" if isinstance(c, float) else str(c) for c in cells) + " |")


def measure_lines(page: Page) -> None:
    row("recording", "count shown, s after speech", "line kept, s after speech", "lines")
    row("---", "---:", "---:", "---:")
    for name in RECORDINGS:
        found = asyncio.run(one_room(page, page.begin(), recorded(name), 1))
        row(name, found.shown[-1], found.kept[-1], f"{found.lines} of {found.expected}")


def measure_rooms(page: Page, rooms: int, minutes: float, server: int, *, apart: bool) -> None:
    one = recorded(RECORDINGS[0])
    rounds = max(1, round(60 * minutes / one.length_s))
    cases = [page.begin() for _ in range(rooms)]

    async def together() -> list[Heard]:
        spread = one.length_s / rooms if apart else 0.0
        return await asyncio.gather(
            *(one_room(page, case, one, rounds, at * spread) for at, case in enumerate(cases))
        )

    before = processor_s(server)
    found = asyncio.run(together())
    used = processor_s(server) - before
    shown = sorted(lag for each in found for lag in each.shown)
    row(
        "rooms", "minutes", "median s after speech", "95 %", "slowest", "lines", "waits, s", "cores"
    )
    row(*["---:"] * 8)
    row(
        rooms,
        rounds * one.length_s / 60,
        statistics.median(shown),
        shown[int(0.95 * (len(shown) - 1))],
        shown[-1],
        f"{sum(each.lines for each in found)} of {sum(each.expected for each in found)}",
        max(each.waits for each in found),
        used / (rounds * one.length_s),
    )
    by_round = [
        max(each.shown[at] for each in found if at < len(each.shown)) for at in range(rounds)
    ]
    print("\nSlowest of each round, s: " + ", ".join(f"{lag:.1f}" for lag in by_round))


def processor_s(process: int) -> float:
    """Processor time that a process has used so far (proc(5): utime and stime)."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rsplit(") ", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def measure_page(page: Page, folder: Path) -> None:
    from countersign.chain import read

    ledger = open_ledger(folder / "ledger.sqlite3")
    kit = read_kit(demo_kit_path())
    case = open_case(ledger, kit, "written words")
    lines = ["initial count", *["laps one two three four five", "needles one two three"] * 20]
    for event in read(lines, kit).events:
        append_event(ledger, case, event)
    count = len(read_case(ledger, case).events)
    ledger.close()
    times, size = [], 0
    for _ in range(20):
        start = time.perf_counter()
        size = len(page.client.get(f"/cases/{case}").content)
        times.append(1000 * (time.perf_counter() - start))
    scripts = ("case.js", "renew.js", "microphone.js", "voice.js", "recorder.js")
    parts = ("page.css", "mark.svg", *scripts)
    static = sum(len(page.client.get(f"/static/{part}").content) for part in parts)
    row("page", "lines", "kB with all its parts", "median ms", "slowest ms")
    row("---", "---:", "---:", "---:", "---:")
    row("a case", count, (size + static) / 1000, statistics.median(times), max(times))
    times = []
    for _ in range(20):
        start = time.perf_counter()
        page.client.get("/")
        times.append(1000 * (time.perf_counter() - start))
    row("the cases", "", "", statistics.median(times), max(times))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rooms", type=int, default=20)
    parser.add_argument("--minutes", type=float, default=1.0)
    parser.add_argument("--apart", action="store_true")
    parser.add_argument("--only", choices=("line", "rooms", "page"), action="append")
    given = parser.parse_args()
    wanted = given.only or ["page", "line", "rooms"]
    with tempfile.TemporaryDirectory(prefix="countersign-") as name, socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        server = multiprocessing.get_context("spawn").Process(
            target=serve, args=(Path(name), port), daemon=True
        )
        server.start()
        for _ in range(300):
            try:
                httpx.get(f"http://127.0.0.1:{port}/sign-in")
                break
            except httpx.TransportError:
                time.sleep(0.1)
        page = Page(port)
        print(f"{os.cpu_count()} cores\n")
        try:
            if "page" in wanted:
                measure_page(page, Path(name))
                print()
            if "line" in wanted:
                measure_lines(page)
                print()
            if "rooms" in wanted:
                process = server.pid or 0
                measure_rooms(page, given.rooms, given.minutes, process, apart=given.apart)
        finally:
            server.terminate()
            server.join(10)


if __name__ == "__main__":
    main()
