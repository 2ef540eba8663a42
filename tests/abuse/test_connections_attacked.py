"""Slow, many and garbled connections to a real server on this machine, and its two sockets."""

import json
import os
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import uvicorn
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect
from tests.pages.conftest import rooms_of, signed_in
from tests.pages.test_sockets import SOCKETS, begin
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import ClientConnection, connect

from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.pages import Served, connection, create_app, rooms, sockets
from countersign.pages.rooms import Rooms

GARBAGE = (
    "", "null", "[]", "7", '"take"', '{"take": []}', '{"take": 1e999}', '{"take": -1}',
    '{"take": 99999999999999999999999}', "[" * 100_000, '{"take"', "\x00", "\ud7ff",
)  # fmt: skip


@pytest.fixture
def port(settings: Served, kit: Kit, ears: Ears, monkeypatch: pytest.MonkeyPatch) -> Iterator[int]:
    """A server with the settings of ``countersign serve``, less patient than that."""
    from countersign.pages import server

    monkeypatch.setattr(Rooms, "_ears_for", lambda _self, _kit: ears)
    monkeypatch.setattr(connection, "PATIENCE_S", 1.0)
    running = uvicorn.Server(server.config(create_app(settings), settings, "127.0.0.1", 0))
    thread = threading.Thread(target=running.run, daemon=True)
    thread.start()
    while not running.started:
        time.sleep(0.01)
    yield running.servers[0].sockets[0].getsockname()[1]
    running.should_exit = True
    thread.join(10)


def asked(port: int, request: bytes = b"") -> socket.socket:
    opened = socket.create_connection(("127.0.0.1", port), timeout=10)
    opened.sendall(request)
    return opened


def is_served(port: int) -> bool:
    with asked(port, b"GET /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n") as opened:
        return opened.recv(100).startswith(b"HTTP/1.1 200")


def ends_within(opened: socket.socket, seconds: float) -> bool:
    opened.settimeout(seconds)
    try:
        while opened.recv(65536):
            pass
    except TimeoutError:
        return False
    except ConnectionError:
        pass
    return True


def test_who_asks_for_nothing_is_not_waited_for(port: int) -> None:
    """A slow loris: the head of a request that never ends, a byte at a time."""
    silent = asked(port)
    slow = asked(port, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n")
    began = time.monotonic()
    with pytest.raises(OSError):
        while time.monotonic() - began < 5:
            slow.sendall(b"X: y\r\n")
            time.sleep(0.1)
    assert ends_within(silent, 3)
    assert is_served(port)


def test_an_upload_has_longer_than_that(port: int) -> None:
    """The limit above is on the head of a request alone."""
    head = b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 27\r\n"
    kind = b"Content-Type: application/x-www-form-urlencoded\r\n\r\n"
    with asked(port, head + kind + b"initials=AB") as opened:
        time.sleep(1.6)
        opened.sendall(b"&role=circulator")
        assert opened.recv(100).startswith(b"HTTP/1.1 303")


def test_one_address_has_so_many_connections_and_no_more(
    port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connection, "MOST_OF_ONE_ADDRESS", 5)
    held = [asked(port) for _ in range(5)]
    time.sleep(0.1)
    with asked(port) as one_more:
        assert ends_within(one_more, 0.5)  # long before patience ends
    for each in held:
        each.close()
    time.sleep(0.1)
    assert is_served(port)


def test_endless_headers_are_cut_off(port: int) -> None:
    with asked(port, b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n") as opened:
        sent = 0
        with pytest.raises(OSError):
            while sent < 20_000_000:
                sent += opened.send(b"X: " + b"y" * 60_000 + b"\r\n")
    assert sent < 10_000_000
    assert is_served(port)


@pytest.mark.parametrize(
    "request_text",
    [
        b"\x00\xff\x16\x03\x01 not HTTP\r\n\r\n",
        b"GET / HTTP/9.9\r\n\r\n",
        b"GET http://elsewhere.example/ HTTP/1.1\r\nHost: elsewhere.example\r\n\r\n",
        b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5\r\n"
        b"Transfer-Encoding: chunked\r\n\r\n0\r\n\r\nGET / HTTP/1.1\r\n\r\n",
        b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: -5\r\n\r\n",
        b"POST /sign-in HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5\r\n"
        b"Content-Length: 6\r\n\r\nabcdef",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: elsewhere.example\r\n\r\n",
    ],
)
def test_garbled_requests_are_refused(port: int, request_text: bytes) -> None:
    with asked(port, request_text) as opened:
        answer = opened.recv(200)
    assert answer == b"" or answer[9:10] == b"4", answer
    assert is_served(port)


def opened_socket(port: int, client: TestClient, path: str) -> ClientConnection:
    return connect(
        f"ws://127.0.0.1:{port}{path}",
        additional_headers={"Cookie": f"countersign={client.cookies['countersign']}"},
        max_size=None,
        compression="deflate",
    )


def test_oversized_frames_end_the_socket(port: int, client: TestClient) -> None:
    """Also when they are small on the way: 50 MB of zeros in a compressed frame."""
    case = begin(client)  # the session's key is the same for both servers
    for frame in (bytes(300_000), bytes(50_000_000), "x" * 300_000):
        with opened_socket(port, client, f"/cases/{case}/hear") as opened:
            with pytest.raises(ConnectionClosed):
                opened.send('{"take": null}')
                opened.recv()
                opened.send(frame)
                opened.recv()
            assert opened.close_code == 1009
    assert is_served(port)


@pytest.mark.parametrize("words", GARBAGE)
def test_garbage_on_the_sockets_is_survived(client: TestClient, words: str) -> None:
    case = begin(client)
    for path in ("hear", "watch"):
        with client.websocket_connect(f"{SOCKETS}/cases/{case}/{path}") as opened:
            opened.send_text(words)
            opened.receive_text()
            opened.send_bytes(words.encode()[:100] or b"x")
    with client.websocket_connect(f"{SOCKETS}/cases/{case}/hear") as opened:
        opened.send_bytes(b"no text at all")
        assert json.loads(opened.receive_text())["have"] == 0


def refused_sound(client: TestClient, case: str, at: int, data: bytes) -> int:
    """Send one piece that the server closes the socket for; gives the code."""
    with client.websocket_connect(f"{SOCKETS}/cases/{case}/hear") as opened:
        opened.send_text('{"take": 1}')
        opened.receive_text()
        opened.send_bytes(struct.pack("<Q", at) + data)
        with pytest.raises(WebSocketDisconnect) as closed:
            opened.receive_text()
    return closed.value.code


def test_sound_from_far_ahead_is_refused(client: TestClient, settings: Served) -> None:
    """A piece of sixteen bytes must not become hours, or an hour, of silence in a case."""
    case = begin(client)
    for ahead in (2**64 - 1, 2**63, 16_000 * 3600 * 2, 16_000 * 3600, 16_000 * 62):
        assert refused_sound(client, case, ahead, bytes(8)) == 4413
    assert (settings.sound / case / "sound.wav").stat().st_size < 1000


def test_sound_that_comes_faster_than_time_passes_is_refused(
    client: TestClient, settings: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rooms, "AHEAD_S", 2.0)
    case = begin(client)
    kept = settings.sound / case / "sound.wav"
    room = rooms_of(client).room(case)
    piece = bytes(2 * 16_000 * 4)
    assert refused_sound(client, case, 0, piece) == 4413  # four seconds at once are too much now,
    monkeypatch.setattr(room, "clock", rooms.Clock(steady=time.monotonic() - 3))
    with client.websocket_connect(f"{SOCKETS}/cases/{case}/hear") as opened:
        opened.send_text('{"take": 1}')
        opened.receive_text()
        opened.send_bytes(bytes(8) + piece)  # and are not three seconds later
        assert json.loads(opened.receive_text())["have"] == 64_000
    assert refused_sound(client, case, 64_000, piece) == 4413
    assert kept.stat().st_size == 44 + len(piece)


def test_what_was_said_while_the_server_was_down_is_not_ahead(
    make_client: Callable[..., TestClient], settings: Served
) -> None:
    first = make_client()
    case = begin(first)
    rooms_of(first).close()
    long_ago = time.time() - 900
    os.utime(settings.sound / case / "sound.wav", (long_ago, long_ago))
    room = rooms_of(make_client()).room(case)
    assert not room.is_ahead(16_000 * 900)
    assert room.is_ahead(16_000 * 970)


def test_who_opens_a_socket_and_says_nothing_is_not_waited_for(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sockets, "_FIRST_WORD_S", 0.2)
    case = begin(client)
    address = f"{SOCKETS}/cases/{case}/hear"
    with client.websocket_connect(address) as opened, pytest.raises(WebSocketDisconnect):
        opened.receive_text()


def test_one_address_has_so_many_sockets_and_no_more(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sockets, "MOST_OF_ONE_ADDRESS", 3)
    case = begin(client)
    address = f"{SOCKETS}/cases/{case}/watch"
    with (
        client.websocket_connect(address) as a,
        client.websocket_connect(address) as b,
        client.websocket_connect(address) as c,
        client.websocket_connect(address) as d,
    ):
        for each in (a, b, c):
            assert json.loads(each.receive_text()) == {"changed": True}
        with pytest.raises(WebSocketDisconnect) as refused:
            d.receive_text()
        assert refused.value.code == 4429
    with client.websocket_connect(address) as again:
        assert json.loads(again.receive_text()) == {"changed": True}


def test_a_socket_ends_with_its_session(client: TestClient) -> None:
    case = begin(client)
    token = signed_in(client)
    with (
        client.websocket_connect(f"{SOCKETS}/cases/{case}/watch") as news,
        client.websocket_connect(f"{SOCKETS}/cases/{case}/hear") as sound,
    ):
        news.receive_text()
        sound.send_text('{"take": null}')
        sound.receive_text()
        client.post("/sign-out", data={"form_token": token})
        rooms_of(client).tell(case, {"partial": "seven needles"})
        sound.send_bytes(bytes(8) + bytes(640))
        for opened in (news, sound):
            with pytest.raises(WebSocketDisconnect) as ended:
                opened.receive_text()
            assert ended.value.code == 4401


def test_the_server_of_the_command_is_the_one_tried_here(settings: Served) -> None:
    from countersign.pages import server

    made = server.config(create_app(settings), settings, "127.0.0.1", 0)
    assert made.http is connection.Connection
    assert made.ws_max_size == sockets.LARGEST_PIECE
    assert Path(server.__file__).read_text(encoding="utf-8").count("uvicorn.Config(") == 1
