import json
import multiprocessing
import os
import signal
import time
from pathlib import Path

import pytest

from countersign.chain import listen
from countersign.hearing import Alternative, Ears, Utterance, Word, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.ledger import Ledger, open_case, open_ledger, read_case
from countersign.listening import Listener
from countersign.listening.listener import since
from countersign.sound import SAMPLE_RATE, read_blocks

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"


def sound_of(names: list[str]) -> bytes:
    silence = bytes(2 * SAMPLE_RATE)
    parts = []
    for name in names:
        blocks = read_blocks(FIXTURES / name)
        parts += [b"".join(block.samples.astype("<i2").tobytes() for block in blocks), silence]
    return b"".join(parts)


@pytest.fixture(scope="module")
def names() -> list[str]:
    manifest = json.loads((FIXTURES / "manifest.json").read_text(encoding="utf-8"))
    entries = manifest["recordings"] if isinstance(manifest, dict) else manifest
    with_events = [entry for entry in entries if entry["events"]]
    return [entry["file"] for entry in with_events[:4]]


def fed(listener: Listener, data: bytes, step: int = 3200) -> None:
    at = listener.sound.samples
    for start in range(2 * at, len(data), step):
        listener.feed(start // 2, data[start : start + step])


def kept(ledger: Ledger, case: str) -> list[tuple[object, ...]]:
    events = read_case(ledger, case).events
    return [(e.kind, e.item, e.quantity, e.words) for e in events]


def whole(tmp_path: Path, ears: Ears, kit: Kit, data: bytes) -> list[tuple[object, ...]]:
    ledger = open_ledger(tmp_path / "whole.sqlite3")
    case = open_case(ledger, kit, "whole")
    listener = Listener(ears, kit, ledger, case, tmp_path / "whole")
    listener.start()
    fed(listener, data)
    listener.end()
    assert read_case(ledger, case).heard_to_the_end
    events = kept(ledger, case)
    ledger.close()
    return events


def test_it_hears_what_the_chain_hears_in_the_file_it_keeps(
    tmp_path: Path, ears: Ears, kit: Kit, names: list[str]
) -> None:
    events = whole(tmp_path, ears, kit, sound_of(names))
    result = listen(tmp_path / "whole" / "sound.wav", kit, ears=ears)
    assert events
    assert events == [(e.kind, e.item, e.quantity, e.words) for e in result.events]


def test_it_says_how_far_behind_it_is(
    tmp_path: Path, ears: Ears, kit: Kit, names: list[str]
) -> None:
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    listener = Listener(ears, kit, ledger, open_case(ledger, kit, "live"), tmp_path / "live")
    data = sound_of(names[:1])
    fed(listener, data)
    assert listener.behind_s == len(data) / 2 / SAMPLE_RATE
    listener.start()
    listener.end()
    assert listener.behind_s == 0
    ledger.close()


def test_stopping_and_going_on_neither_loses_nor_doubles_a_line(
    tmp_path: Path, ears: Ears, kit: Kit, names: list[str]
) -> None:
    data = sound_of(names)
    expected = whole(tmp_path, ears, kit, data)
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    for share in (0.3, 0.55, 0.8, 1.0):
        listener = Listener(ears, kit, ledger, case, tmp_path / "live")
        listener.start()
        fed(listener, data[: 2 * int(len(data) // 2 * share)])
        if share < 1:
            listener.stop()
        else:
            listener.end()
    assert kept(ledger, case) == expected


def _listen_until_killed(folder: Path, case: str, data: bytes) -> None:
    kit = read_kit(demo_kit_path())
    ledger = open_ledger(folder / "ledger.sqlite3")
    listener = Listener(open_ears(kit), kit, ledger, case, folder / "live")
    listener.start()
    fed(listener, data)
    listener.end()
    (folder / "done").touch()


def test_being_killed_neither_loses_nor_doubles_a_line(
    tmp_path: Path, ears: Ears, kit: Kit, names: list[str]
) -> None:
    data = sound_of(names)
    expected = whole(tmp_path, ears, kit, data)
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    spawn = multiprocessing.get_context("spawn")
    wait_s, kills = 0.05, 0
    while not (tmp_path / "done").exists():
        child = spawn.Process(target=_listen_until_killed, args=(tmp_path, case, data))
        child.start()
        sound = tmp_path / "live" / "sound.wav"
        while child.is_alive() and not sound.exists():
            time.sleep(0.01)
        child.join(wait_s)
        if child.is_alive():
            assert child.pid is not None
            os.kill(child.pid, signal.SIGKILL)
            kills += 1
        child.join()
        wait_s *= 2
    assert kills > 0
    assert kept(ledger, case) == expected


@pytest.mark.parametrize("kept_before", [3, 8])
def test_going_on_after_an_utterance_hears_what_follows_it(
    tmp_path: Path, ears: Ears, kit: Kit, kept_before: int
) -> None:
    # Begun at the end of the third, the sound that died away there was once heard as "eight".
    data = sound_of(["sharps-three-items.flac", "raytecs-to-twelve.flac"])
    expected = whole(tmp_path, ears, kit, data)
    words = tmp_path / "whole" / "words.jsonl"
    lines = words.read_bytes().splitlines(keepends=True)
    assert len(lines) > kept_before
    words.write_bytes(b"".join(lines[:kept_before]))
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    listener = Listener(ears, kit, ledger, case, tmp_path / "whole")
    listener.start()
    listener.end()
    assert kept(ledger, case) == expected


def test_words_on_both_sides_of_what_is_known() -> None:
    def said(*times: float) -> tuple[Word, ...]:
        return tuple(Word(text=str(time), start_s=time, end_s=time + 0.4) for time in times)

    others = (
        Alternative(words=said(1.0), confidence=0.3),
        Alternative(words=said(1.0, 2.0), confidence=0.2),
    )
    heard = Utterance(words=said(1.0, 2.0, 3.0), start_s=1.0, end_s=3.4, alternatives=others)
    assert since(heard, 0.9) == heard
    assert since(heard, 3.4) is None
    rest = since(heard, 1.5)
    assert rest is not None and rest.text == "2.0 3.0" and rest.start_s == 2.0
    assert [other.text for other in rest.alternatives] == ["2.0"]


def test_a_silence_closes_a_count_that_nobody_goes_on_with(
    tmp_path: Path, ears: Ears, kit: Kit, names: list[str]
) -> None:
    sound = sound_of(["sharps-three-items.flac"])
    data = sound + bytes(2 * SAMPLE_RATE * 14) + sound + bytes(2 * SAMPLE_RATE * 14)
    once = whole(tmp_path / "once", ears, kit, sound)
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    given: list[int] = []
    listener = Listener(
        ears, kit, ledger, case, tmp_path / "live", on_event=lambda number, _: given.append(number)
    )
    listener.start()
    fed(listener, data)
    deadline = time.monotonic() + 60
    while len(given) < 2 * len(once) and time.monotonic() < deadline:
        time.sleep(0.05)
    # everything is a line although the case was not ended, and nothing came twice
    assert kept(ledger, case) == once * 2
    listener.stop()
    again = Listener(ears, kit, ledger, case, tmp_path / "live")
    again.start()
    again.end()
    assert kept(ledger, case) == once * 2


def test_partial_words_come_while_somebody_speaks(tmp_path: Path, ears: Ears, kit: Kit) -> None:
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    told: list[tuple[str, ...]] = []
    listener = Listener(
        ears, kit, ledger, case, tmp_path / "live", on_partial=lambda p: told.append(p.words)
    )
    listener.start()
    fed(listener, sound_of(["sharps-three-items.flac"]))
    listener.end()
    assert any("needles" in words or "needle" in words for words in told)
    assert told[-1] == ()
