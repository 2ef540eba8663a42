"""A case as JSON and CSV."""

import csv
import io
import json
import re
from pathlib import Path

import pytest

from countersign.export import write_whole
from countersign.ledger import open_ledger, read_case
from countersign.problems import BadInput

from .conftest import Command


def decide(command: Command, case: str, monkeypatch: pytest.MonkeyPatch, *typed: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in typed)))
    done = command("confirm", case, "--role", "scrub", "--initials", "ab")
    assert done.code == 0, done.err


def test_json_marks_everything_that_nobody_confirmed(command: Command, kept_case: str) -> None:
    done = command("export", kept_case, "--json")
    exported = json.loads(done.out)
    assert done.code == 0
    assert exported["status"] == "NOT CONFIRMED"
    assert exported["caution"].endswith("Nothing here is confirmed.")
    assert exported["verdict"]["status"] == "NOT CONFIRMED"
    assert len(exported["lines"]) == 3
    for line in exported["lines"]:
        assert line["status"] == line["heard"]["status"] == "NOT CONFIRMED"
        assert line["confirmed"] is None
    for total in exported["totals"]:
        assert total["heard"]["status"] == "NOT CONFIRMED"


def test_json_numbers_are_integers_or_decimal_strings(command: Command, kept_case: str) -> None:
    def no_floats(text: str) -> object:
        raise AssertionError(f"a binary fraction was written: {text}")

    out = command("export", kept_case, "--json").out
    exported = json.loads(out, parse_float=no_floats)
    assert exported["lines"][1]["heard"]["start_s"] == "4.0"
    assert exported["lines"][1]["heard"]["confidence"] == "0.875"
    assert exported["lines"][1]["heard"]["quantity"] == 5


def test_json_of_a_confirmed_and_an_amended_and_a_dropped_line(
    command: Command, kept_case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    decide(command, kept_case, monkeypatch, "a", "m", "", "10", "s", "said twice")
    lines = json.loads(command("export", kept_case, "--json").out)["lines"]
    assert [line["status"] for line in lines] == [
        "CONFIRMED",
        "CONFIRMED",
        "NOT CONFIRMED (set aside)",
    ]
    assert lines[0]["confirmed"] == {
        "item": "raytec",
        "quantity": 10,
        "unit": "each",
        "place": None,
        "part": None,
    }
    assert lines[1]["confirmed"]["quantity"] == 10
    assert lines[1]["heard"]["quantity"] == 5
    assert lines[1]["heard"]["status"] == "NOT CONFIRMED (amended)"
    assert lines[2]["confirmed"] is None
    assert lines[2]["decision"]["reason"] == "said twice"
    assert lines[2]["decision"]["initials"] == "AB"


def test_csv_rows(command: Command, kept_case: str, monkeypatch: pytest.MonkeyPatch) -> None:
    decide(command, kept_case, monkeypatch, "a", "q")
    done = command("export", kept_case, "--csv")
    rows = list(csv.DictReader(io.StringIO(done.out)))
    assert [row["status"] for row in rows] == ["CONFIRMED", "NOT CONFIRMED", "NOT CONFIRMED"]
    assert [row["confirmed_quantity"] for row in rows] == ["10", "", ""]
    assert [row["heard_quantity"] for row in rows] == ["10", "5", "2"]
    assert next(iter(rows[0])) == "status"
    assert rows[0]["initials"] == "AB"


def test_csv_is_rfc_4180(command: Command, kept_case: str, tmp_path: Path) -> None:
    """RFC 4180, section 2: CRLF ends every record, and all have the same number of fields."""
    out = tmp_path / "case.csv"
    assert command("export", kept_case, "--csv", "--out", out).code == 0
    data = out.read_bytes()
    assert data.endswith(b"\r\n")
    assert not re.search(rb"(?<!\r)\n", data)
    with out.open(newline="", encoding="utf-8") as file:
        assert len({len(row) for row in csv.reader(file, strict=True)}) == 1


def test_csv_has_no_formulas(command: Command, kept_case: str) -> None:
    """OWASP, "CSV Injection" (from memory): no cell begins with = + - @ tab or return."""
    rows = list(csv.reader(io.StringIO(command("export", kept_case, "--csv").out)))
    cells = [cell for row in rows for cell in row]
    assert "'=five laps" in cells
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]


def test_a_file_that_is_there_is_not_written_over(
    command: Command, kept_case: str, tmp_path: Path
) -> None:
    out = tmp_path / "case.json"
    out.write_text("mine")
    done = command("export", kept_case, "--json", "--out", out)
    assert (done.code, done.out) == (2, "")
    assert re.fullmatch(r"[^\n]*is there already[^\n]*\.\n", done.err)
    assert out.read_text() == "mine"
    assert command("export", kept_case, "--json", "--out", out, "--replace").code == 0
    assert json.loads(out.read_text())["case"] == kept_case
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_a_write_that_fails_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = tmp_path / "case.json"
    out.write_text("mine")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("countersign.export.os.fsync", full)
    with pytest.raises(BadInput, match=r"cannot be written \(No space left on device\)\."):
        write_whole(out, "new", replace=True)
    assert out.read_text() == "mine"
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize("where", ["missing/case.json", "."])
def test_a_place_that_cannot_be_written(
    command: Command, kept_case: str, tmp_path: Path, where: str
) -> None:
    done = command("export", kept_case, "--json", "--out", tmp_path / where)
    assert done.code == 2
    assert done.err.count("\n") == 1


@pytest.mark.parametrize("forms", [(), ("--json", "--csv")])
def test_one_form(command: Command, kept_case: str, forms: tuple[str, ...]) -> None:
    done = command("export", kept_case, *forms)
    assert (done.code, done.out) == (2, "")
    assert done.err == "Choose one form, --json, --csv or --fhir.\n"


def test_exporting_writes_nothing_to_the_ledger(
    command: Command, kept_case: str, ledger_file: Path
) -> None:
    command("export", kept_case, "--json")
    ledger = open_ledger(ledger_file)
    assert read_case(ledger, kept_case).last_entry == 4
    ledger.close()
