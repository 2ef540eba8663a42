"""``countersign read`` through every room, from words to the printed record."""

import io
import json
import os
import subprocess
from pathlib import Path
from typing import Any

import pytest

from countersign.kit import demo_kit_path
from countersign.ledger import list_cases, open_ledger, read_case

from .conftest import COMMAND, Command

COUNT = """initial count
raytecs one two three four five six seven eight nine ten
laps one two three five
"""


def no_floats(text: str) -> object:
    raise AssertionError(f"a binary fraction was written: {text}")


def one_object(out: str) -> dict[str, Any]:
    assert out.count("\n") == 1
    found: dict[str, Any] = json.loads(out, parse_float=no_floats)
    return found


def test_json(command: Command, ledger_file: Path) -> None:
    done = command("read", COUNT, "--json")
    assert (done.code, done.err) == (0, "")
    found = one_object(done.out)
    assert list(found) == ["source", "duration_s", "model", "events", "record", "questions"]
    counts = [event for event in found["events"] if event["kind"] == "count"]
    assert (counts[0]["item"], counts[0]["quantity"]) == ("raytec", 10)
    assert counts[0]["sequence"] == list(range(1, 11))
    assert counts[0]["questions"] == []
    codes = {
        question["code"]
        for line in found["record"]["lines"]
        if line["event"]["item"] == "lap_sponge"
        for question in line["questions"]
    }
    assert "number_skipped" in codes
    assert found["record"]["confirmed"] is False
    assert {"number_skipped"} <= {question["code"] for question in found["questions"]}
    assert not ledger_file.exists()


def test_standard_input_is_the_same(command: Command, environment: dict[str, str]) -> None:
    done = subprocess.run(
        [*COMMAND, "read", "-", "--json"],
        input=b"\xef\xbb\xbf" + COUNT.replace("\n", "\r\n").encode(),
        capture_output=True,
        env=environment,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")
    from_text = one_object(command("read", COUNT, "--json").out)
    assert one_object(done.stdout.decode().replace(os.linesep, "\n")) == from_text


def test_standard_input_that_is_not_text(command: Command, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"two laps \xff\n")))
    done = command("read", "-", "--json")
    assert (done.code, done.out) == (2, "")
    assert done.err == "The words are not UTF-8 text (byte 10 cannot be read).\n"


def test_people_get_a_table(command: Command) -> None:
    done = command("read", COUNT)
    assert done.code == 0
    words = " ".join(done.out.split())
    assert "Laparotomy sponge" in words
    assert "not confirmed" in words
    assert "A count is made by two people, aloud and together" in words
    assert "Nothing here is confirmed." in words
    assert max(map(len, done.out.splitlines())) <= 80
    assert "\x1b" not in done.out


def test_keeping(command: Command, ledger_file: Path) -> None:
    done = command("read", COUNT, "--keep", "--json")
    ledger = open_ledger(ledger_file, create=False)
    (row,) = list_cases(ledger)
    history = read_case(ledger, row.case_id)
    ledger.close()
    assert done.err == f"Kept as case {row.case_id}.\n"
    assert len(history.events) == len(one_object(done.out)["events"])
    assert history.heard_to_the_end
    assert history.source == "written words"


def test_another_kit(command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "site.toml"
    text = demo_kit_path().read_text(encoding="utf-8")
    path.write_text(text.replace('"raytecs"', '"blips"'), encoding="utf-8")
    by_option = one_object(command("read", "four blips", "--json", "--kit", path).out)
    monkeypatch.setenv("COUNTERSIGN_KIT", str(path))
    by_variable = one_object(command("read", "four blips", "--json").out)
    assert by_option == by_variable
    assert by_option["events"][0]["item"] == "raytec"


def test_talk_without_a_count_is_no_error(command: Command) -> None:
    done = command("read", "the weather is nice today")
    assert done.code == 0
    assert "Nothing here is confirmed." in " ".join(done.out.split())
