"""The sound socket and the news socket."""

import json
import struct
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import soundfile
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect
from tests.pages.conftest import FIXTURES, pieces, rooms_of, signed_in

from countersign.chain import listen
from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.ledger import read_case

RECORDING = "sharps-three-items.flac"
SOCKETS = "ws://127.0.0.1"


def begin(client: TestClient) -> str:
    token = signed_in(client)
    answer = client.post("/cases", data={"form_token": token}, follow_redirects=False)
    return answer.headers["location"].rsplit("/", 1)[1]


def end(client: TestClient, case: str) -> None:
    token = signed_in(client)
    client.post(f"/cases/{case}/end", data={"form_token": token})


def speak(client: TestClient, case: str, sound: bytes, take: int | None = None, **how: int) -> int:
    """Send sound from where the server wants it; gives the take."""
    with client.websocket_connect(f"{SOCKETS}/cases/{case}/hear") as socket:
        socket.send_text(json.dumps({"take": take}))
        hello = json.loads(socket.receive_text())
        have = hello["have"] - how.get("back", 0)
        stop = how.get("stop", len(sound) // 2)
        for at in range(have, stop, 3200):
            socket.send_bytes(struct.pack("<Q", at) + sound[2 * at : 2 * min(at + 3200, stop)])
            assert json.loads(socket.receive_text())["take"] == hello["take"]
        return int(hello["take"])


def kept(client: TestClient, case: str) -> list[tuple[object, ...]]:
    events = read_case(rooms_of(client).ledger, case).events
    return [(event.kind, event.item, event.quantity, event.words) for event in events]


@pytest.fixture(scope="module")
def lines(kit: Kit, ears: Ears) -> list[tuple[object, ...]]:
    """What the recording gives when it is heard as a file."""
    events = listen(FIXTURES / RECORDING, kit, ears=ears).events
    assert [event.item for event in events][:2] == ["suture_needle", "knife_blade"]
    return [(event.kind, event.item, event.quantity, event.words) for event in events]


def test_sound_becomes_lines_and_a_dropped_connection_neither_loses_nor_doubles_any(
    client: TestClient, tmp_path: Path, lines: list[tuple[object, ...]]
) -> None:
    case = begin(client)
    sound = pieces(RECORDING)
    take = speak(client, case, sound, stop=40_000)
    # it comes back with the same take, and sends again what it does not know to be kept
    assert speak(client, case, sound, take, back=8_000) == take
    end(client, case)
    there, _ = soundfile.read(tmp_path / "sound" / case / "sound.wav", dtype="int16")
    assert there.tobytes() == sound
    assert kept(client, case) == lines
    assert read_case(rooms_of(client).ledger, case).heard_to_the_end
    answer = client.get(f"/cases/{case}/lines/1/sound")
    assert answer.headers["content-type"] == "audio/wav"
    assert len(answer.content) > 16_000


def test_a_restarted_server_goes_on(
    make_client: Callable[..., TestClient], lines: list[tuple[object, ...]]
) -> None:
    first = make_client()
    case = begin(first)
    sound = pieces(RECORDING)
    take = speak(first, case, sound, stop=60_000)
    rooms_of(first).close()
    second = make_client()
    signed_in(second)
    assert speak(second, case, sound, take) == take
    end(second, case)
    assert kept(second, case) == lines


def test_another_microphone_takes_over(client: TestClient) -> None:
    case = begin(client)
    sound = pieces(RECORDING)
    with client.websocket_connect(f"{SOCKETS}/cases/{case}/hear") as older:
        older.send_text(json.dumps({"take": None}))
        assert json.loads(older.receive_text()) == {"take": 1, "have": 0}
        assert speak(client, case, sound, stop=3200) == 2
        older.send_bytes(struct.pack("<Q", 0) + sound[:6400])
        assert json.loads(older.receive_text()) == {"taken_over": True}


def test_a_microphone_that_is_still_on_when_its_case_ends_is_told_so(client: TestClient) -> None:
    case = begin(client)
    with client.websocket_connect(f"{SOCKETS}/cases/{case}/hear") as socket:
        socket.send_text(json.dumps({"take": None}))
        socket.receive_text()
        end(client, case)
        socket.send_bytes(bytes(8 + 3200))
        with pytest.raises(WebSocketDisconnect) as refused:
            socket.receive_text()
    assert (refused.value.code, refused.value.reason) == (4404, "This case was ended.")


def test_news_comes_with_each_line_and_says_when_words_come_late(client: TestClient) -> None:
    case = begin(client)
    with client.websocket_connect(f"{SOCKETS}/cases/{case}/watch") as news:
        assert json.loads(news.receive_text()) == {"changed": True}
        speak(client, case, pieces(RECORDING))  # faster than anybody can be heard
        told: list[int] = []
        late: list[int] = []
        deadline = time.monotonic() + 60
        while len(told) < 2 or late[-1]:
            rooms_of(client).see_whether_late(case)  # as each piece of sound does
            assert time.monotonic() < deadline
            message = json.loads(news.receive_text())
            if "line" in message:
                told.append(message["line"])
            if "behind" in message:
                late.append(message["behind"])
        assert told[:2] == [1, 2]
        assert max(late) >= 3


@pytest.mark.parametrize("path", ["hear", "watch"])
def test_sockets_want_a_signed_in_page_of_this_server(client: TestClient, path: str) -> None:
    case = begin(client)
    address = f"{SOCKETS}/cases/{case}/{path}"
    with client.websocket_connect(
        address, headers={"origin": "http://elsewhere.example"}
    ) as socket:
        with pytest.raises(WebSocketDisconnect) as refused:
            socket.receive_text()
        assert refused.value.code == 4401
    client.cookies.clear()
    with client.websocket_connect(address) as socket:
        with pytest.raises(WebSocketDisconnect) as refused:
            socket.receive_text()
        assert refused.value.code == 4401


@pytest.mark.parametrize(
    "piece", [b"", b"12345678", b"123456789", bytes(8) + bytes(200_000), b"\xff" * 16]
)
def test_what_is_no_piece_of_sound_ends_the_socket(client: TestClient, piece: bytes) -> None:
    case = begin(client)
    with client.websocket_connect(f"{SOCKETS}/cases/{case}/hear") as socket:
        socket.send_text("not even JSON")
        socket.receive_text()
        socket.send_bytes(piece)
        with pytest.raises(WebSocketDisconnect):
            socket.receive_text()
