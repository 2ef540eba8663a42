"""``countersign listen`` with a real recording and the bundled model."""

import json
import subprocess
from pathlib import Path

import pytest
import soundfile

from countersign.hearing.models import bundled_model, describe_model
from countersign.ledger import list_cases, open_ledger, read_case
from countersign.problems import BadInput

from .conftest import COMMAND, Command

RECORDINGS = Path(__file__).parents[2] / "audio_fixtures"


@pytest.fixture(autouse=True)
def needs_the_model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    try:
        bundled_model()
    except BadInput as problem:
        pytest.skip(str(problem))
    monkeypatch.setattr("platformdirs.user_config_path", lambda *_, **__: tmp_path / "config")


def test_json_and_what_is_kept(
    command: Command, ledger_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    recording = RECORDINGS / "fifteen-laps.flac"
    monkeypatch.chdir(RECORDINGS)
    done = command("listen", recording.name, "--json")
    assert done.code == 0
    found = json.loads(done.out)
    length = soundfile.info(recording).duration
    assert float(found["duration_s"]) == pytest.approx(length, abs=0.01)
    assert found["model"] == describe_model(bundled_model()).version
    (event,) = found["events"]
    assert (event["kind"], event["item"], event["quantity"]) == ("count", "lap_sponge", 15)
    assert 0 <= float(event["start_s"]) < float(event["end_s"]) <= length + 0.01

    ledger = open_ledger(ledger_file, create=False)
    (row,) = list_cases(ledger)
    history = read_case(ledger, row.case_id)
    ledger.close()
    assert done.err == f"Kept as case {row.case_id}.\n"
    assert history.source == str(recording.absolute())  # found again from any folder, to play it
    assert len(history.events) == 1
    assert history.heard_to_the_end


def test_one_bad_file_among_several_stops_before_anything(
    command: Command, ledger_file: Path, tmp_path: Path
) -> None:
    letter = tmp_path / "letter.wav"
    letter.write_text("not a recording")
    done = command("listen", RECORDINGS / "fifteen-laps.flac", letter, "--json")
    assert (done.code, done.out) == (2, "")
    assert done.err.count("\n") == 1
    assert not ledger_file.exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_output_that_cannot_be_written(environment: dict[str, str]) -> None:
    for form in ([], ["--json"]):
        with Path("/dev/full").open("wb") as full:
            done = subprocess.run(
                [*COMMAND, "read", "two laps", *form],
                stdout=full,
                stderr=subprocess.PIPE,
                env=environment,
                check=False,
            )
        assert done.returncode == 2
        assert done.stderr == b"The output cannot be written (No space left on device).\n"
