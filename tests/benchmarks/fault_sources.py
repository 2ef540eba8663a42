"""Faults of where the sound comes from: a microphone pulled out, a browser that is gone."""

import json
import socket
import struct
import threading
import time
from contextlib import closing
from functools import cache
from pathlib import Path
from unittest.mock import patch

import httpx
import numpy as np
import uvicorn
from tests.benchmarks.fault_scene import Outcome, Scene, decision, look
from tests.sound.test_sound_microphone import StandIn
from websockets.sync.client import ClientConnection, connect

from countersign import chain
from countersign.hearing import Ears, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.ledger import append_decision, append_event, open_ledger, read_case
from countersign.meaning import Event
from countersign.pages import Served, create_app
from countersign.pages.rooms import Rooms
from countersign.sound import LevelMeter, microphone, read_blocks

RECORDING = Path(__file__).resolve().parents[2] / "audio_fixtures" / "sharps-three-items.flac"
_PIECE = 3_200


@cache
def _opened() -> tuple[Kit, Ears]:
    kit = read_kit(demo_kit_path())
    return kit, open_ears(kit)


@cache
def _sound() -> bytes:
    return b"".join(block.samples.astype("<i2").tobytes() for block in read_blocks(RECORDING))


def microphone_unplugged(scene: Scene) -> Outcome:
    """The device ends in the middle; every line that came is confirmed as it comes.

    The device is a stand-in with the calls of sounddevice, since no test machine has one.
    """
    outcome = Outcome()
    kit, ears = _opened()
    samples = np.frombuffer(_sound(), dtype="<i2")
    until = scene.chance.randrange(1_600, len(samples))
    frames = (samples[:until, None] / 32_768).astype(np.float32)
    stand_in = StandIn(frames, rate=16_000, inputs=1, rates=(16_000,))
    meter = LevelMeter()
    with closing(open_ledger(scene.path, create=False)) as ledger:

        def on_event(event: Event) -> None:
            line = append_event(ledger, scene.case, event)
            made = decision(f"live {line}", line)
            append_decision(ledger, scene.case, made)
            scene.confirmed[made.reason or ""] = made

        with patch.object(microphone, "_library", lambda: stand_in):
            blocks = microphone.blocks(None, seconds=microphone.PIECE_S, meter=meter)
            chain.live(blocks, kit, meter=meter, ears=ears, on_event=on_event)
    ended = [each.sentence for each in meter.warnings() if each.code == "ends_early"]
    for sentence in ended:
        outcome.refuse(sentence)
    if not ended:
        outcome.unclear.append("the microphone ended and nothing was said")
    return look(scene, outcome)


class _Site:
    """A real server on a port of this machine, with somebody signed in."""

    def __init__(self, scene: Scene) -> None:
        served = Served(
            ledger=scene.path,
            sound=scene.folder / "sound",
            people=scene.folder / "people.json",
            secret=scene.folder / "session.key",
        )
        listening = socket.create_server(("127.0.0.1", 0))
        self.address = f"127.0.0.1:{listening.getsockname()[1]}"
        self._ears = patch.object(Rooms, "_ears_for", lambda *_: _opened()[1])
        self._ears.start()
        config = uvicorn.Config(create_app(served), log_level="critical", ws="websockets-sansio")
        self._server = uvicorn.Server(config)
        self._thread = threading.Thread(
            target=self._server.run, kwargs={"sockets": [listening]}, daemon=True
        )
        self._thread.start()
        while not self._server.started:
            time.sleep(0.01)
        self.client = httpx.Client(base_url=f"http://{self.address}", follow_redirects=True)
        answer = self.client.post("/sign-in", data={"initials": "AB", "role": "circulator"})
        self.token = answer.text.split('name="form_token" value="')[1].split('"')[0]

    def post(self, path: str) -> str:
        """Send a form; gives where it led."""
        return str(self.client.post(path, data={"form_token": self.token}).url)

    def hear(self, case: str) -> ClientConnection:
        """The socket that sound is sent through."""
        cookies = "; ".join(f"{name}={value}" for name, value in self.client.cookies.items())
        return connect(
            f"ws://{self.address}/cases/{case}/hear",
            origin=f"http://{self.address}",  # type: ignore[arg-type]
            additional_headers={"Cookie": cookies},
        )

    def close(self) -> None:
        """Stop the server."""
        self.client.close()
        self._server.should_exit = True
        self._thread.join(20)
        self._ears.stop()


def _send(site: _Site, case: str, take: int | None, until: int, *, gone: bool) -> int:
    """Send sound from where the server wants it; ``gone`` cuts the line without a word."""
    line = site.hear(case)
    line.send(json.dumps({"take": take}))
    hello = json.loads(line.recv())
    for at in range(hello["have"], until, _PIECE):
        line.send(struct.pack("<Q", at) + _sound()[2 * at : 2 * min(at + _PIECE, until)])
        if not gone:
            line.recv()
    if gone:
        line.socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        line.socket.close()  # a reset, as when the machine is switched off
    else:
        line.close()
    return int(hello["take"])


@cache
def _undisturbed(recording: Path) -> tuple[str, ...]:
    """The lines of the whole recording, heard without a fault."""
    kit, ears = _opened()
    return tuple(_said(chain.listen(recording, kit, ears=ears).events))


def _said(events: "tuple[Event, ...] | list[Event]") -> list[str]:
    return [f"{event.kind.value} {event.item} {event.quantity}" for event in events]


def browser_gone(scene: Scene) -> Outcome:
    """The browser's connection is cut while it sends, once or more, and another one goes on."""
    outcome = Outcome()
    site = _Site(scene)
    try:
        case = site.post("/cases").rstrip("/").rsplit("/", 1)[1]
        whole, take, sent = len(_sound()) // 2, None, 0
        for _ in range(scene.chance.randrange(1, 4)):
            sent = min(whole, sent + scene.chance.randrange(1_600, whole // 2))
            take = _send(site, case, take, sent, gone=True)
        _send(site, case, take, whole, gone=False)
        site.post(f"/cases/{case}/end")
    finally:
        site.close()
    with closing(open_ledger(scene.path, create=False)) as ledger:
        got = _said(list(read_case(ledger, case).events))
    expected = list(_undisturbed(RECORDING))
    if got != expected:
        outcome.unclear.append(f"heard {got} instead of {expected}")
    return look(scene, outcome)
