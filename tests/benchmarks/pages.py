"""How quick the pages are: ``python -m tests.benchmarks.pages [--rooms 20] [--only NAME]``.

A server runs in a process of its own, as ``countersign serve`` runs it; sound is sent as a browser
sends it, in pieces of a tenth of a second at the pace of speech. Three things are measured:

- *line*: from the end of speech (the end of the last word in the recording, by the words' own
  times) to the news on the page's socket that says so: the first news that shows the count (open
  or as a line), and the news of a line;
- *rooms*: so many cases streaming at once; the lag is how far the last news of each room is behind
  the end of its speech, and how much sound still waits when the stream ends;
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
from pathlib import Path

import httpx
import numpy as np
import websockets

from countersign.hearing import hear, open_ears
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


async def one_room(page: Page, case: str, sound: bytes, end_s: float) -> dict[str, float]:
    told: list[tuple[float, dict[str, object]]] = []
    began: list[float] = []
    watching = asyncio.ensure_future(news(page, case, told))
    await asyncio.sleep(0.3)
    waits = await stream(page, case, sound, began)
    await asyncio.sleep(3.0)
    watching.cancel()
    end = began[0] + end_s
    after = [(at - end, message) for at, message in told if at > end - 0.05]
    shown = [at for at, message in after if message.get("changed")]
    partial = [at for at, message in after if message.get("partial") == ""]
    lines = [at for at, message in after if "line" in message]
    return {
        "shown": min(shown, default=float("nan")),
        "words": min(partial, default=float("nan")),
        "line": min(lines, default=float("nan")),
        "waits": waits,
        "lines": sum("line" in message for _, message in told),
    }


def recorded(name: str) -> tuple[bytes, float]:
    """The samples with silence behind them, and when the last word ends."""
    blocks = [block.samples for block in read_blocks(FIXTURES / name)]
    ears = open_ears(read_kit(demo_kit_path()))
    end_s = max(utterance.end_s for utterance in hear(ears, read_blocks(FIXTURES / name)))
    silence = np.zeros(int(TAIL_S * SAMPLE_RATE), dtype=np.int16)
    return np.concatenate([*blocks, silence]).astype("<i2").tobytes(), end_s


def row(*cells: object) -> None:
    print("| " + " | ".join(f"{c:.2f}" if isinstance(c, float) else str(c) for c in cells) + " |")


def measure_lines(page: Page) -> None:
    row("recording", "count shown, s after speech", "line kept, s after speech", "lines")
    row("---", "---:", "---:", "---:")
    for name in RECORDINGS:
        sound, end_s = recorded(name)
        found = asyncio.run(one_room(page, page.begin(), sound, end_s))
        row(name, found["shown"], found["line"], int(found["lines"]))


def measure_rooms(page: Page, rooms: int) -> None:
    sound, end_s = recorded(RECORDINGS[0])
    cases = [page.begin() for _ in range(rooms)]

    async def together() -> list[dict[str, float]]:
        return await asyncio.gather(*(one_room(page, case, sound, end_s) for case in cases))

    found = asyncio.run(together())
    shown = sorted(each["shown"] for each in found)
    row("rooms", "median s after speech", "slowest", "sound not taken in, s", "lines in each")
    row("---:", "---:", "---:", "---:", "---:")
    row(
        rooms,
        statistics.median(shown),
        shown[-1],
        max(each["waits"] for each in found),
        sorted({int(each["lines"]) for each in found}),
    )


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
                measure_rooms(page, given.rooms)
        finally:
            server.terminate()
            server.join(10)


if __name__ == "__main__":
    main()
