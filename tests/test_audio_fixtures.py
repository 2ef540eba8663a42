"""The recordings in ``audio_fixtures``: text and sound against the manifest.

The manifest says what was spoken and what must come out. It was written with the script that the
voices spoke, before any recogniser heard them.
"""

import hashlib
import json
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from typing import Any

import pytest
import soundfile
from tests.benchmarks.scores import QUANTITIES, agrees, observed, score

from countersign import chain
from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.sound import open_source

FOLDER = Path(__file__).parent.parent / "audio_fixtures"
ENTRIES: list[dict[str, Any]] = json.loads((FOLDER / "manifest.json").read_text(encoding="utf-8"))[
    "recordings"
]
COUNTING = [entry for entry in ENTRIES if not entry["talk"]]
TALK = [entry for entry in ENTRIES if entry["talk"]]

HELD_OUT = {
    "flite-slt", "flite-rms", "festival-slt-hts", "festival-ked", "piper-joe", "kokoro-tebukuro",
    "espeak-scotland", "espeak-scotland-f5", "espeak-scotland-m8",
}  # fmt: skip
"""Voices that the recipe of the bundled model keeps out of training."""


@pytest.fixture(scope="module")
def heard(kit: Kit, ears: Ears) -> dict[str, list[dict[str, Any]]]:
    """Events of every recording, heard once, two at a time (Vosk leaves Python's lock alone)."""

    def listen(entry: dict[str, Any]) -> list[dict[str, Any]]:
        return observed(chain.listen(FOLDER / entry["file"], kit, ears=ears).record)

    with ThreadPoolExecutor(2) as pool:
        return dict(zip(map(by_file, ENTRIES), pool.map(listen, ENTRIES), strict=True))


def by_file(entry: dict[str, Any]) -> str:
    return str(entry["file"])


def test_manifest_and_folder_agree() -> None:
    sounds = {
        path.name for path in FOLDER.iterdir() if path.suffix in (".flac", ".opus", ".mp3", ".wav")
    }
    assert sounds == {entry["file"] for entry in ENTRIES}
    for entry in ENTRIES:
        data = (FOLDER / entry["file"]).read_bytes()
        assert hashlib.sha256(data).hexdigest() == entry["sha256"], entry["file"]
    assert sum((FOLDER / name).stat().st_size for name in sounds) < 8_000_000


def test_the_set_is_wide_enough() -> None:
    kinds = {event["kind"] for entry in ENTRIES for event in entry["events"]}
    assert kinds == {
        "count", "addition", "removal", "correction", "phase", "verdict", "receipt", "label",
        "draw", "set_up", "remark",
    }  # fmt: skip
    said = {event.get("spoken") for entry in ENTRIES for event in entry["events"]}
    assert {"sequence", "total", "pack"} <= said
    assert {voice for entry in ENTRIES for voice in entry["voices"]} == HELD_OUT
    noises = {entry["noise"] for entry in ENTRIES}
    assert {"suction", "monitor", "ventilation", "clatter", "babble"} <= noises
    assert len(ENTRIES) >= 36 and len(TALK) >= 6


@pytest.mark.parametrize("entry", ENTRIES, ids=by_file)
def test_sound_is_as_the_manifest_says(entry: dict[str, Any]) -> None:
    """Length, rate and channels, and sound wherever a word is said (libsndfile reads it)."""
    samples, rate = soundfile.read(FOLDER / entry["file"], always_2d=True)
    source = open_source(FOLDER / entry["file"])
    assert source.duration_s == pytest.approx(entry["duration_s"], abs=0.1)
    assert samples.shape[1] == entry["channels"]
    # Opus always decodes at 48 kHz (RFC 7845, section 5.1: the input rate is only metadata).
    assert rate in (
        {entry["sample_rate"], 48_000} if entry["file"].endswith("opus") else {entry["sample_rate"]}
    )
    for part in entry["spoken"]:
        stretch = samples[int(part["start_s"] * rate) : int(part["end_s"] * rate), 0]
        assert (stretch**2).mean() ** 0.5 > 0.02, part["text"]


@pytest.mark.parametrize("entry", ENTRIES, ids=by_file)
def test_written_words_give_the_manifest(entry: dict[str, Any], kit: Kit) -> None:
    events = observed(chain.read(entry["lines"], kit).record)
    wanted = entry["events"]
    if not any(event["kind"] == "remark" for event in wanted):
        events = [event for event in events if event["kind"] != "remark"]
    assert len(events) == len(wanted), [event["words"] for event in events]
    for truth, event in zip(wanted, events, strict=True):
        assert agrees(truth, event), (truth, event)


@pytest.mark.slow
@pytest.mark.parametrize("entry", COUNTING, ids=by_file)
def test_no_silent_error(entry: dict[str, Any], heard: dict[str, list[dict[str, Any]]]) -> None:
    """A number that is not what was said asks somebody."""
    events = heard[entry["file"]]
    assert score(entry["events"], events).silent_errors == 0, (entry["lines"], events)


@pytest.mark.slow
@pytest.mark.parametrize("entry", TALK, ids=by_file)
def test_no_count_in_talk(entry: dict[str, Any], heard: dict[str, list[dict[str, Any]]]) -> None:
    """Nothing in talk is a count of an item; a number of nothing may be asked about."""
    counts = [event for event in heard[entry["file"]] if event["kind"] in QUANTITIES]
    assert [event for event in counts if event.get("item") is not None] == []
    assert all(event["questions"] for event in counts)


@pytest.mark.slow
def test_most_of_it_is_heard(heard: dict[str, list[dict[str, Any]]]) -> None:
    """Asking about everything, or hearing nothing, would pass the tests above; not this one."""
    results = [score(entry["events"], heard[entry["file"]]) for entry in COUNTING]
    wanted = sum(result.lines_wanted for result in results)
    exact = sum(result.lines_exact for result in results)
    needless = sum(result.asked_needlessly for result in results)
    assert exact / wanted >= 0.7
    assert needless / wanted <= 0.6


def test_expiry_dates_of_the_manifest_are_on_the_right_side_of_today() -> None:
    """The receipts say dates that stay ahead, except the one that is spoken as past."""
    for entry in ENTRIES:
        for event in entry["events"]:
            expiry = event.get("medication", {}).get("expiry")
            if expiry:
                past = "expiry_past" in event.get("questions", ())
                assert (date.fromisoformat(expiry) < date(2026, 1, 1)) == past
