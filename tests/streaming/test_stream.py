"""Sound that reaches a case without a browser."""

import os
import subprocess
import threading
import time
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.pages.conftest import FIXTURES, pieces
from tests.pages.serving import COMMAND, Serving, environment

from countersign.chain import listen
from countersign.cli_stream import raw_blocks
from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.ledger import list_cases, open_ledger, read_case
from countersign.pages import Served
from countersign.pages.people import add_person
from countersign.problems import BadInput
from countersign.sound import Block
from countersign.streaming import Session, begin_case, end_case, send, sending, sign_in
from countersign.tally.record import Role

RECORDING = "totals-three.flac"


def no_pin() -> str:
    raise AssertionError("no PIN is asked for here")


def entered(server: str) -> Session:
    return sign_in(server, "AB", Role.SCRUB, no_pin)


def blocks_of(sound: bytes, block_s: float = 0.2) -> Iterator[Block]:
    size = 2 * round(16_000 * block_s)
    for at in range(0, len(sound), size):
        samples = np.frombuffer(sound[at : at + size], dtype="<i2").astype(np.int16)
        yield Block(samples, at / 2 / 16_000)


def kept_sound(folder: Path, case: str) -> bytes:
    samples, rate = soundfile.read(folder / case / "sound.wav", dtype="int16")
    assert rate == 16_000
    data: bytes = samples.astype("<i2").tobytes()
    return data


def test_a_fed_stream_outlives_a_killed_server(
    serving: Serving, tmp_path: Path, kit: Kit, ears: Ears
) -> None:
    sound = pieces(RECORDING, 1.0)
    command = [*COMMAND, "stream", "new", "-", "--to", serving.address, "--initials", "AB", "--end"]
    client = subprocess.Popen(
        command, env=environment(tmp_path), stdin=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert client.stdin is not None

    def feed() -> None:
        assert client.stdin is not None
        client.stdin.write(sound)
        client.stdin.close()

    threading.Thread(target=feed, daemon=True).start()
    kept = tmp_path / "sound"
    wait_for(lambda: any(f.stat().st_size > 2 * 16_000 * 2 for f in kept.glob("*/sound.wav")))
    serving.kill()
    time.sleep(1.5)  # sound goes on meanwhile
    serving.begin()
    code = client.wait(90)
    assert client.stderr is not None
    said = client.stderr.read().decode()
    assert code == 0, said
    assert "No connection" in said
    assert "The connection is back." in said
    assert "6.9 s of sound were sent" in said
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    (case,) = list_cases(ledger)
    history = read_case(ledger, case.case_id)
    ledger.close()
    assert kept_sound(kept, case.case_id) == sound
    expected = listen(FIXTURES / RECORDING, kit, ears=ears).events
    assert [(e.kind, e.item, e.quantity, e.words) for e in history.events] == [
        (e.kind, e.item, e.quantity, e.words) for e in expected
    ]
    assert history.heard_to_the_end


def wait_for(happened: object, seconds: float = 60) -> None:
    assert callable(happened)
    deadline = time.monotonic() + seconds
    while not happened():
        assert time.monotonic() < deadline
        time.sleep(0.05)


def test_a_case_is_begun_fed_and_ended(server: str, settings: Served) -> None:
    session = entered(server)
    case = begin_case(session)
    told: list[str] = []
    sound = pieces("laps-five.flac")
    sent = send(lambda: session, case, blocks_of(sound), told.append)
    assert (sent.sent_s, sent.lost_s) == (len(sound) / 32_000, 0)
    assert told == []
    end_case(session, case)
    assert kept_sound(settings.sound, case) == sound
    ledger = open_ledger(settings.ledger)
    (event,) = read_case(ledger, case).events
    ledger.close()
    assert (event.item, event.quantity) == ("lap_sponge", 5)


def test_whoever_has_no_pin_adds_no_sound(server: str, settings: Served) -> None:
    add_person(settings.people, "AB", Role.SCRUB, "redoak42")
    with pytest.raises(BadInput, match="do not belong together"):
        sign_in(server, "AB", Role.SCRUB, lambda: "wrong one")
    session = sign_in(server, "AB", Role.SCRUB, lambda: "redoak42")
    assert begin_case(session)


def test_an_educator_adds_no_sound(server: str) -> None:
    case = begin_case(entered(server))
    educator = sign_in(server, "ED", Role.EDUCATOR, no_pin)
    with pytest.raises(BadInput, match="Sign in"):
        send(lambda: educator, case, blocks_of(bytes(32_000)), print)


def test_what_cannot_be_reached_is_one_sentence(server: str) -> None:
    session = entered(server)
    with pytest.raises(BadInput, match="no case nowhere"):
        send(lambda: session, "nowhere", blocks_of(bytes(32_000)), print)
    for address, sentence in (
        ("ward.example:8734", "no address"),
        ("ftp://127.0.0.1", "no address"),
        ("http://10.0.0.9:8734", "https only"),
        ("http://127.0.0.1:9", "does not answer"),
    ):
        with pytest.raises(BadInput, match=sentence):
            sign_in(address, "AB", Role.SCRUB, no_pin)


def test_a_second_microphone_takes_over_and_the_first_is_told(server: str) -> None:
    session = entered(server)
    case = begin_case(session)

    def until_taken_over() -> Iterator[Block]:
        yield from blocks_of(bytes(32_000))
        send(lambda: session, case, blocks_of(bytes(32_000)), print)
        while True:
            time.sleep(0.05)
            yield from blocks_of(bytes(6_400))

    with pytest.raises(BadInput, match="Another microphone"):
        send(lambda: session, case, until_taken_over(), print)


def test_sound_beyond_what_is_kept_during_a_break_is_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sending, "LONGEST_S", 3.0)
    backlog = sending._Backlog()
    for _ in range(5):
        backlog.add(bytes(32_000))
    assert [at for at, _ in backlog.pieces] == [32_000, 48_000, 64_000]
    assert backlog.lost == 32_000
    backlog.answered(7, 0)  # a new take begins with what is left
    assert [at for at, _ in backlog.pieces] == [0, 16_000, 32_000]
    backlog.answered(7, 16_500)
    assert [at for at, _ in backlog.unsent()] == [16_000, 32_000]


def test_raw_sound_comes_no_faster_than_it_can_be_spoken() -> None:
    reading, writing = os.pipe()
    os.write(writing, bytes(16_001))
    os.close(writing)
    times = []
    with os.fdopen(reading, "rb") as file:
        for block in raw_blocks(file, threading.Event()):
            times.append((time.monotonic(), len(block.samples)))
    assert [samples for _, samples in times] == [1600] * 5
    assert all(later - sooner > 0.05 for (sooner, _), (later, _) in pairwise(times))
