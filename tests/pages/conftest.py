"""A server with a scratch ledger, signed-in clients, and a real browser where there is one."""

import shutil
import socket
import threading
import time
import wave
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
import soxr
import uvicorn
from fastapi.testclient import TestClient
from tests.pages.serving import Serving

from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.ledger import append_event, open_case
from countersign.pages import Served, create_app
from countersign.pages.rooms import Rooms
from countersign.review import Attempt, analyse
from countersign.sound import read_blocks

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"
ORIGIN = "http://127.0.0.1"


@pytest.fixture
def settings(tmp_path: Path) -> Served:
    return Served(
        ledger=tmp_path / "ledger.sqlite3",
        sound=tmp_path / "sound",
        people=tmp_path / "people.json",
        secret=tmp_path / "session.key",
    )


@pytest.fixture
def make_client(
    settings: Served, kit: Kit, ears: Ears, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Callable[..., TestClient]]:
    monkeypatch.setattr(Rooms, "_ears_for", lambda _self, _kit: ears)
    opened: list[TestClient] = []

    def make(changed: Served | None = None) -> TestClient:
        client = TestClient(create_app(changed or settings), base_url=ORIGIN)
        client.__enter__()
        opened.append(client)
        return client

    yield make
    for client in opened:
        client.__exit__(None, None, None)


@pytest.fixture
def client(make_client: Callable[..., TestClient]) -> TestClient:
    return make_client()


def signed_in(client: TestClient, initials: str = "AB", role: str = "circulator") -> str:
    """Sign in; gives the form token of the session."""
    answer = client.post("/sign-in", data={"initials": initials, "role": role})
    assert answer.status_code == 200, answer.text
    return token_in(answer.text)


def token_in(page: str) -> str:
    return page.split('name="form_token" value="')[1].split('"')[0]


def rooms_of(client: TestClient) -> Rooms:
    app: Any = client.app
    rooms: Rooms = app.state.rooms
    return rooms


def case_of_words(client: TestClient, *lines: str) -> str:
    """A kept case made of written words."""
    from countersign.chain import read

    rooms = rooms_of(client)
    kit = rooms.kit()
    case = open_case(rooms.ledger, kit, "written words")
    for event in read(lines, kit).events:
        append_event(rooms.ledger, case, event)
    return case


def pieces(name: str, silence_s: float = 2.0) -> bytes:
    """A recording as int16 samples, with silence behind it."""
    sound = b"".join(
        block.samples.astype("<i2").tobytes() for block in read_blocks(FIXTURES / name)
    )
    return sound + bytes(2 * int(16_000 * silence_s))


@pytest.fixture
def server(
    settings: Served, kit: Kit, ears: Ears, monkeypatch: pytest.MonkeyPatch
) -> Iterator[str]:
    """The address of a running server."""
    monkeypatch.setattr(Rooms, "_ears_for", lambda _self, _kit: ears)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    running = uvicorn.Server(
        uvicorn.Config(create_app(settings), host="127.0.0.1", port=port, log_level="warning")
    )
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    while not running.started:
        time.sleep(0.01)
    yield f"http://127.0.0.1:{port}"
    running.should_exit = True
    thread.join(10)


@pytest.fixture(scope="session")
def chromium() -> str:
    """The path of Debian's Chromium; the test is skipped where there is none."""
    pytest.importorskip("playwright")
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("needs Chromium (Debian package chromium)")
    return path


@pytest.fixture(scope="module")
def microphone_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What the browser's microphone plays, from its start whenever it is switched on."""
    path = tmp_path_factory.mktemp("microphone") / "microphone.wav"
    play_into(path, "laps-five.flac")
    return path


def play_into(path: Path, *names: str) -> None:
    """Make recordings what the browser's microphone hears, one after the other, then silence."""
    write_microphone(path, b"".join(pieces(name, 0.8) for name in names))


def play_silence(path: Path) -> None:
    """Make silence what the browser's microphone hears when it is switched on the next time."""
    write_microphone(path, b"")


def write_microphone(path: Path, sound: bytes) -> None:
    """Samples at 16 kHz, and half a minute of silence behind them, as a browser wants them."""
    samples = np.frombuffer(sound + bytes(2 * 16_000 * 30), dtype="<i2")
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 2, 48_000, 0, "NONE", ""))
        file.writeframes(soxr.resample(samples, 16_000, 48_000).astype("<i2").tobytes())


@pytest.fixture(scope="module")
def launched(chromium: str, microphone_file: Path) -> Iterator["Browser"]:
    """One browser for all tests of a module; each test has contexts of its own."""
    from playwright.sync_api import sync_playwright

    arguments = [
        "--no-sandbox",
        "--autoplay-policy=no-user-gesture-required",
        "--use-fake-ui-for-media-stream",
        "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-audio-capture={microphone_file}%noloop",
    ]
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=arguments)
        try:
            yield browser
        finally:
            browser.close()


@pytest.fixture
def opened(launched: "Browser") -> Iterator["Browser"]:
    yield launched
    for context in launched.contexts:
        context.close()


@pytest.fixture(scope="session")
def measured(kit: Kit, ears: Ears) -> Callable[[str], Attempt]:
    """A recording as a measured attempt; each is listened to once."""
    known: dict[str, Attempt] = {}

    def measure(name: str) -> Attempt:
        if name not in known:
            known[name] = analyse(FIXTURES / name, kit, ears, learner="L1")
        return known[name]

    return measure


@pytest.fixture
def serving(tmp_path: Path) -> Iterator[Serving]:
    """A server in a process of its own."""
    made = Serving(tmp_path)
    yield made
    made.kill()
