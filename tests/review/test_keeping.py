"""Attempts on disk, and folders of recordings in processes and on Dask."""

import os
import shutil
from concurrent.futures import Executor, ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from threading import Event

import pytest
import soundfile
from pydantic import ValidationError

from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.problems import BadInput
from countersign.review import Entry, EntryKind, Store, analyse, is_learner
from countersign.review.batch import Outcome, jobs_in, measure, measure_all, workers
from countersign.tally.record import Role

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"


def entry(**more: object) -> Entry:
    made = {"kind": "comment", "role": Role.EDUCATOR, "initials": "ED", "text": "well done"}
    return Entry.model_validate({**made, "made_at": datetime.now(UTC), **more})


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory, kit: Kit, ears: Ears) -> Store:
    kept = Store(tmp_path_factory.mktemp("attempts"))
    path = FIXTURES / "laps-five.flac"
    kept.keep(analyse(path, kit, ears, learner="L1"), path)
    return kept


def test_what_is_kept_comes_back(store: Store) -> None:
    (found,) = store.attempts()
    assert store.read(found.attempt_id) == found
    sound = soundfile.info(store.sound(found.attempt_id))
    assert (sound.samplerate, sound.channels) == (16_000, 1)
    assert sound.duration == pytest.approx(found.duration_s, abs=0.01)


def test_entries_are_appended_and_survive_a_power_cut(store: Store) -> None:
    (found,) = store.attempts()
    store.add(found.attempt_id, entry(text="one"))
    path = store.folder / found.attempt_id / "entries.jsonl"
    with path.open("ab") as file:
        file.write(b'{"kind": "comm')  # the power went
    assert [each.text for each in store.entries(found.attempt_id)] == ["one"]
    store.add(found.attempt_id, entry(text="two"))
    assert [each.text for each in store.entries(found.attempt_id)] == ["one", "two"]
    assert [each.entry for each in store.entries(found.attempt_id)] == [1, 2]


@pytest.mark.parametrize("name", ["..", "../..", "", "0" * 15, "0" * 16 + "/x", "G" * 16, "/etc"])
def test_an_id_is_never_a_path(store: Store, name: str) -> None:
    for use in (store.read, store.sound, store.entries):
        with pytest.raises(BadInput):
            use(name)
    with pytest.raises(BadInput):
        store.add(name, entry())


@pytest.mark.parametrize(
    "more",
    [
        {"text": "  "},
        {"kind": "mark"},
        {"kind": "mark", "at_s": -1},
        {"kind": "mark", "at_s": float("nan")},
        {"kind": "correction", "line": 1},
        {"kind": "correction", "item": "laps"},
        {"kind": "point", "point": "order"},
        {"kind": "point", "verdict": "met"},
        {"text": "x" * 501},
        {"initials": ""},
    ],
)
def test_an_entry_that_says_nothing_is_refused(more: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        entry(**more)
    assert entry().kind is EntryKind.COMMENT


def test_a_learners_code_is_no_name_and_no_path() -> None:
    for code in ("", "L1", "A-17", "2026-spring"):
        assert is_learner(code)
    for code in ("../L1", "Jo Public", "L1\n", "x" * 13, "-a", "é"):
        assert not is_learner(code)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for learner, names in {
        "L1": ["laps-five.flac", "i-mean.flac"],
        "L2": ["two-packs.flac"],
    }.items():
        (tmp_path / "in" / learner).mkdir(parents=True)
        for name in names:
            shutil.copy(FIXTURES / name, tmp_path / "in" / learner)
    (tmp_path / "in" / "L2" / "broken.wav").write_bytes(b"no sound at all")
    (tmp_path / "in" / "notes.txt").write_text("not a recording", encoding="utf-8")
    return tmp_path / "in"


def run(folder: Path, store: Path, pool: Executor) -> list[Outcome]:
    outcomes: list[Outcome] = []
    measure_all(jobs_in(folder, store), pool, outcomes.append)
    return sorted(outcomes, key=lambda each: each.recording)


def kept(store: Path) -> list[tuple[str, str, int]]:
    return sorted((a.learner, a.name, len(a.lines)) for a in Store(store).attempts())


HEARD = [("L1", "i-mean.flac", 2), ("L1", "laps-five.flac", 1), ("L2", "two-packs.flac", 1)]


@pytest.mark.slow
def test_a_folder_is_measured_in_processes(folder: Path, tmp_path: Path) -> None:
    with workers(2) as pool:
        outcomes = run(folder, tmp_path / "store", pool)
        assert [bool(each.attempt_id) for each in outcomes] == [True, True, False, True]
        assert "broken.wav" in outcomes[2].problem
        # a second run goes on where the first one ended
        again = run(folder, tmp_path / "store", pool)
        assert [each.before for each in again] == [True, True, False, True]
    assert kept(tmp_path / "store") == HEARD


@pytest.mark.slow
def test_a_folder_is_measured_on_dask_by_the_same_code(folder: Path, tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed", reason="needs the extra dask")
    with workers(1, dask="local") as pool:
        assert isinstance(pool, distributed.cfexecutor.ClientExecutor)
        where = pool.submit(os.getpid).result()
        assert where != os.getpid()  # a worker of the cluster, not this process
        outcomes = run(folder, tmp_path / "store", pool)
        assert [bool(each.attempt_id) for each in outcomes] == [True, True, False, True]
    assert kept(tmp_path / "store") == HEARD


def test_a_scheduler_that_does_not_answer_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed", reason="needs the extra dask")
    monkeypatch.setattr("countersign.review.batch.ANSWERS_S", 0.5)
    with (
        pytest.raises(BadInput, match=r"127\.0\.0\.1:9 does not answer"),
        workers(dask="127.0.0.1:9"),
    ):
        pass


def test_stopping_keeps_what_was_measured(folder: Path, tmp_path: Path) -> None:
    stop, outcomes = Event(), []

    def done(outcome: Outcome) -> None:
        outcomes.append(outcome)
        stop.set()

    jobs = jobs_in(folder, tmp_path / "store") * 6
    with ThreadPoolExecutor(1) as pool:  # processes are tried above, and take seconds to begin
        measure_all(jobs, pool, done, stop)
    assert 0 < len(outcomes) < len(jobs)
    assert Store(tmp_path / "store").attempts()


def test_an_educators_entries_outlive_a_new_measurement(folder: Path, tmp_path: Path) -> None:
    (job, *_) = jobs_in(folder / "L1" / "laps-five.flac", tmp_path / "store", learner="L1")
    first = measure(job)
    assert first.attempt_id is not None
    store = Store(tmp_path / "store")
    store.add(first.attempt_id, entry(text="stays"))
    old = store.read(first.attempt_id).model_copy(update={"made_with": "an older version"})
    store.keep(old, job.recording)
    second = measure(job)
    assert not second.before
    assert [each.text for each in store.entries(first.attempt_id)] == ["stays"]


def test_nothing_to_measure_is_said(tmp_path: Path) -> None:
    for path in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(BadInput):
            jobs_in(path, tmp_path / "store")
    with pytest.raises(BadInput, match="code"):
        jobs_in(tmp_path, tmp_path / "store", learner="Jo Public")
