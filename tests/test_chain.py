"""The rooms together: written lines, recordings and a microphone to events and a draft record."""

import math
from collections.abc import Iterator
from pathlib import Path

import pytest
from tests.hearing.conftest import RECORDINGS, manifest, speech_folder, use_folders_in

from countersign import chain
from countersign.chain import Result, listen, live, read
from countersign.hearing import Ears, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning import Event
from countersign.meaning.event import EventKind
from countersign.problems import BadInput
from countersign.sound import LevelMeter
from countersign.sound.microphone import file_as_microphone

LINES = ["initial count", "", "laps one two three four five", "needles six", "adding five laps"]
CHANGES = {EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL}


@pytest.fixture(scope="module", autouse=True)
def own_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        use_folders_in(tmp_path_factory.mktemp("home"), patch)
        yield


@pytest.fixture(scope="module")
def kit() -> Kit:
    return read_kit(demo_kit_path())


@pytest.fixture(scope="module")
def ears(own_folders: None, kit: Kit) -> Ears:
    return open_ears(kit)


def test_written_lines_give_events(kit: Kit) -> None:
    told: list[Event] = []
    result = read(LINES, kit, on_event=told.append)
    assert tuple(told) == result.events
    assert (result.source, result.model, result.duration_s) == ("written", "written", 0.0)
    found = [(each.kind, each.item, each.quantity) for each in result.events]
    assert found == [
        (EventKind.PHASE, None, None),
        (EventKind.COUNT, "lap_sponge", 5),
        (EventKind.COUNT, "suture_needle", 6),
        (EventKind.ADDITION, "lap_sponge", 5),
    ]
    assert len(result.record.lines) >= 3


def test_nothing_written_gives_nothing(kit: Kit) -> None:
    result = read(["", "   "], kit)
    assert result.events == ()
    assert result.record.lines == ()


def test_a_result_goes_through_json(kit: Kit, ears: Ears) -> None:
    for result in (read(LINES, kit), listen(RECORDINGS / "laps-five.flac", kit, ears=ears)):
        assert result.events
        assert Result.model_validate_json(result.model_dump_json()) == result


def test_a_recording_gives_what_its_manifest_says(kit: Kit, ears: Ears) -> None:
    said = next(each for each in manifest() if each["file"] == "laps-five.flac")
    heard_s: list[float] = []
    told: list[Event] = []
    result = listen(
        RECORDINGS / "laps-five.flac",
        kit,
        ears=ears,
        on_event=told.append,
        on_progress=heard_s.append,
    )
    assert tuple(told) == result.events
    assert [(each.kind, each.item, each.quantity) for each in result.events] == [
        (each["kind"], each["item"], each["quantity"]) for each in said["events"]
    ]
    assert heard_s == sorted(heard_s)
    assert heard_s[-1] == pytest.approx(said["duration_s"], abs=0.01)
    assert result.duration_s == pytest.approx(said["duration_s"], abs=0.01)
    assert result.model == ears.info.version


def test_a_broken_recording_is_refused_before_a_model_is_loaded(
    kit: Kit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def loaded(*arguments: object) -> Ears:
        raise AssertionError("a model was loaded")

    monkeypatch.setattr(chain, "open_ears", loaded)
    broken = tmp_path / "broken.flac"
    broken.write_bytes((RECORDINGS / "laps-five.flac").read_bytes()[8:200])
    for path in (broken, tmp_path / "nowhere.wav"):
        with pytest.raises(BadInput):
            listen(path, kit)
    with pytest.raises(AssertionError, match="a model was loaded"):
        listen(RECORDINGS / "laps-five.flac", kit)


@pytest.mark.parametrize("name", ["laps-five.flac", "needles-narrow-band.wav"])
def test_a_microphone_gives_what_the_file_gives(name: str, kit: Kit, ears: Ears) -> None:
    path, meter = RECORDINGS / name, LevelMeter()
    blocks = file_as_microphone(path, math.inf, seconds=0.1, meter=meter)
    spoken = live(blocks, kit, ears=ears, meter=meter)
    recorded = listen(path, kit, ears=ears)
    assert spoken.source == "microphone"
    assert spoken.model_dump(exclude={"source"}) == recorded.model_dump(exclude={"source"})


def test_no_count_is_heard_in_orders_to_a_machine(kit: Kit, ears: Ears) -> None:
    """People giving short orders in English, none of them a count."""
    files = sorted(
        path for path in speech_folder("orders").glob("*.opus") if path.name[0] in "0123"
    )[::19][:8]
    assert len(files) == 8
    for path in files:
        events = listen(path, kit, ears=ears).events
        assert not CHANGES & {event.kind for event in events}, path.name
