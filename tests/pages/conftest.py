"""A server with a scratch ledger, signed-in clients, and a real browser where there is one."""

import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from fastapi.testclient import TestClient

from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.ledger import append_event, open_case
from countersign.pages import Served, create_app
from countersign.pages.rooms import Rooms
from countersign.sound import read_blocks

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
