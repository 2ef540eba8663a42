import multiprocessing
import os
import shutil
import signal
import time
from dataclasses import dataclass
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
NAMES = ["sharps-three-items.flac", "raytecs-to-twelve.flac"]

Events = list[tuple[object, ...]]


def sound_of(names: list[str]) -> bytes:
    silence = bytes(2 * SAMPLE_RATE)
    parts = []
    for name in names:
        blocks = read_blocks(FIXTURES / name)
        parts += [b"".join(block.samples.astype("<i2").tobytes() for block in blocks), silence]
    return b"".join(parts)


def fed(listener: Listener, data: bytes, step: int = 3200) -> None:
    at = listener.sound.samples
    for start in range(2 * at, len(data), step):
        listener.feed(start // 2, data[start : start + step])


def kept(ledger: Ledger, case: str) -> Events:
    events = read_case(ledger, case).events
    return [(e.kind, e.item, e.quantity, e.words) for e in events]


@dataclass(frozen=True)
class Whole:
    """A case that was heard in one go: its sound, folder, events and the words told meanwhile."""

    data: bytes
    folder: Path
    events: Events
    told: list[tuple[str, ...]]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory, ears: Ears, kit: Kit) -> Whole:
    folder = tmp_path_factory.mktemp("whole")
    data = sound_of(NAMES)
    ledger = open_ledger(folder / "whole.sqlite3")
    case = open_case(ledger, kit, "whole")
    told: list[tuple[str, ...]] = []
    listener = Listener(
        ears, kit, ledger, case, folder / "live", on_partial=lambda p: told.append(p.words)
    )
    fed(listener, data)
    assert listener.behind_s == len(data) / 2 / SAMPLE_RATE
    listener.start()
    listener.end()
    assert listener.behind_s == 0
    assert read_case(ledger, case).heard_to_the_end
    events = kept(ledger, case)
    ledger.close()
    return Whole(data, folder / "live", events, told)


def test_it_hears_what_the_chain_hears_in_the_file_it_keeps(
    whole: Whole, ears: Ears, kit: Kit
) -> None:
    result = listen(whole.folder / "sound.wav", kit, ears=ears)
    assert len(whole.events) == 4
    assert whole.events == [(e.kind, e.item, e.quantity, e.words) for e in result.events]


def test_partial_words_come_while_somebody_speaks(whole: Whole) -> None:
    assert any("needles" in words or "needle" in words for words in whole.told)
    assert whole.told[-1] == ()


def test_stopping_and_going_on_neither_loses_nor_doubles_a_line(
    tmp_path: Path, ears: Ears, kit: Kit, whole: Whole
) -> None:
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    for share in (0.3, 0.55, 0.8, 1.0):
        listener = Listener(ears, kit, ledger, case, tmp_path / "live")
        listener.start()
        fed(listener, whole.data[: 2 * int(len(whole.data) // 2 * share)])
        if share < 1:
            listener.stop()
        else:
            listener.end()
    assert kept(ledger, case) == whole.events


def _listen_until_killed(folder: Path, case: str, data: bytes) -> None:
    kit = read_kit(demo_kit_path())
    ledger = open_ledger(folder / "ledger.sqlite3")
    listener = Listener(open_ears(kit), kit, ledger, case, folder / "live")
    listener.start()
    fed(listener, data)
    (folder / "listens").touch()
    listener.end()
    (folder / "done").touch()


def test_being_killed_neither_loses_nor_doubles_a_line(
    tmp_path: Path, kit: Kit, whole: Whole
) -> None:
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    words, listens = tmp_path / "live" / "words.jsonl", tmp_path / "listens"
    spawn = multiprocessing.get_context("spawn")
    # killed as soon as it listens, then when it has kept some words
    kills = 0
    while not (tmp_path / "done").exists():
        listens.unlink(missing_ok=True)
        before = size(words)
        child = spawn.Process(target=_listen_until_killed, args=(tmp_path, case, whole.data))
        child.start()
        if kills < 2:
            at_least = before + (kills > 0)
            while child.is_alive() and not (listens.exists() and size(words) >= at_least):
                time.sleep(0.01)
        else:
            child.join()
        if child.is_alive():
            assert child.pid is not None
            os.kill(child.pid, signal.SIGKILL)
            kills += 1
        child.join()
    assert kills == 2
    assert kept(ledger, case) == whole.events


def size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


@pytest.mark.parametrize("kept_before", [3, 8])
def test_going_on_after_an_utterance_hears_what_follows_it(
    tmp_path: Path, ears: Ears, kit: Kit, whole: Whole, kept_before: int
) -> None:
    # Begun at the end of the third, the sound that died away there was once heard as "eight".
    shutil.copytree(whole.folder, tmp_path / "whole")
    words = tmp_path / "whole" / "words.jsonl"
    lines = words.read_bytes().splitlines(keepends=True)
    assert len(lines) > kept_before
    words.write_bytes(b"".join(lines[:kept_before]))
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    listener = Listener(ears, kit, ledger, case, tmp_path / "whole")
    listener.start()
    listener.end()
    assert kept(ledger, case) == whole.events


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
    tmp_path: Path, ears: Ears, kit: Kit
) -> None:
    sound = sound_of(["laps-five.flac"])
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(ledger, kit, "live")
    given: list[int] = []
    listener = Listener(
        ears, kit, ledger, case, tmp_path / "live", on_event=lambda number, _: given.append(number)
    )
    listener.start()
    for times in (1, 2):
        fed(listener, (sound + bytes(2 * SAMPLE_RATE * 12)) * times)
        deadline = time.monotonic() + 60
        while len(given) < times and time.monotonic() < deadline:
            time.sleep(0.02)
        # everything is a line although the case was not ended, and nothing came twice
        assert [event[:3] for event in kept(ledger, case)] == [("count", "lap_sponge", 5)] * times
    listener.stop()
    again = Listener(ears, kit, ledger, case, tmp_path / "live")
    again.start()
    again.end()
    assert len(kept(ledger, case)) == 2
