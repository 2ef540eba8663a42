"""``countersign papers``, ``verify``, ``import``, ``schema`` and ``export --fhir``."""

import hashlib
import json
import re
from importlib.metadata import version
from pathlib import Path

import pytest
from tests.cli.conftest import Command, command, ledger_file  # noqa: F401
from tests.papers.cases import decided, exception_case, kept, opening, short_case
from tests.papers.conftest import pages

from countersign.exchange.schema import shipped_schema
from countersign.hearing.models import bundled_model
from countersign.ledger import append_decision, list_cases, open_ledger, read_case


@pytest.fixture
def case(ledger_file: Path) -> str:  # noqa: F811
    ledger = open_ledger(ledger_file)
    try:
        return short_case(ledger)
    finally:
        ledger.close()


def change(ledger_file: Path, case: str) -> None:  # noqa: F811
    ledger = open_ledger(ledger_file)
    append_decision(ledger, case, decided(14))
    ledger.close()


def test_papers_are_written_and_verified(
    command: Command,  # noqa: F811
    case: str,
    tmp_path: Path,
    ledger_file: Path,  # noqa: F811
) -> None:
    out = tmp_path / "new" / "papers"
    done = command("papers", case.upper(), "--out", out, "--paper", "Letter")
    assert (done.code, done.err) == (0, "")
    names = [f"{case}-count-sheet.pdf", f"{case}-medication-sheet.pdf"]
    assert done.out.split("\n")[:-1] == [str(out / name) for name in names]
    assert sorted(path.name for path in out.iterdir()) == names
    for name in names:
        done = command("verify", out / name)
        assert done.code == 0
        assert done.out.startswith(f"Matches case {case} in the ledger.")
    change(ledger_file, case)
    done = command("verify", out / names[0])
    assert done.code == 1
    assert done.out.startswith("The case has changed since: 1 entry was added")


def test_a_paper_names_the_version_of_the_model(
    command: Command,  # noqa: F811
    tmp_path: Path,
    ledger_file: Path,  # noqa: F811
) -> None:
    recording = Path(__file__).parents[2] / "audio_fixtures" / "laps-five.flac"
    assert command("listen", recording).code == 0
    ledger = open_ledger(ledger_file)
    (kept_one,) = list_cases(ledger)
    ledger.close()
    assert command("papers", kept_one.case_id, "--out", tmp_path).code == 0
    weights = hashlib.sha256((bundled_model() / "am" / "final.mdl").read_bytes()).hexdigest()
    for path in tmp_path.glob("*.pdf"):
        for page in pages(path.read_bytes()):
            assert f"countersign {version('countersign')}, model counting-en {weights[:12]}" in page


def test_papers_are_not_written_over(
    command: Command,  # noqa: F811
    case: str,
    tmp_path: Path,
) -> None:
    taken = tmp_path / f"{case}-medication-sheet.pdf"
    taken.write_text("mine")
    done = command("papers", case, "--out", tmp_path)
    assert (done.code, done.out) == (2, "")
    assert re.fullmatch(r"[^\n]*is there already[^\n]*\.\n", done.err)
    assert taken.read_text() == "mine"
    assert list(tmp_path.glob("*.pdf")) == [taken] and not list(tmp_path.glob(".paper*"))
    assert command("papers", case, "--out", tmp_path, "--replace").code == 0
    assert taken.read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("papers", "CASE", "--out", "FOLDER", "--paper", "a3"), "The paper is a4 or letter."),
        (("papers", "1125-nono", "--out", "FOLDER"), "has no case 1125-nono."),
        (("papers", "CASE", "--out", "FOLDER/file"), "is a file, not a folder."),
        (("verify", "FOLDER/file"), "is not a case that this tool exported as JSON."),
        (("verify", "FOLDER/none"), "cannot be read"),
        (("verify", "FOLDER"), "is a folder, not a file."),
        (("import", "FOLDER/file"), "is not a case that this tool exported as JSON."),
        (("export", "CASE", "--fhir", "--json"), "Choose one form, --json, --csv or --fhir."),
    ],
)
def test_bad_input_is_one_sentence(
    command: Command,  # noqa: F811
    case: str,
    tmp_path: Path,
    arguments: tuple[str, ...],
    words: str,
) -> None:
    (tmp_path / "file").write_text("text")
    given = [a.replace("CASE", case).replace("FOLDER", str(tmp_path)) for a in arguments]
    done = command(*given)
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert words in done.err


def test_a_case_moves_to_another_ledger(
    command: Command,  # noqa: F811
    case: str,
    tmp_path: Path,
    ledger_file: Path,  # noqa: F811
) -> None:
    file, elsewhere = tmp_path / "case.json", tmp_path / "elsewhere" / "ledger.sqlite3"
    assert command("export", case, "--json", "--out", file).code == 0
    done = command("import", file, "--ledger", elsewhere)
    assert (done.code, done.out) == (0, "")
    assert done.err.startswith(f"Kept as case {case}: ")
    histories = []
    for path in (ledger_file, elsewhere):
        ledger = open_ledger(path, create=False)
        histories.append(read_case(ledger, case))
        ledger.close()
    assert histories[0] == histories[1]
    assert command("verify", file, "--ledger", elsewhere).code == 0
    done = command("import", file, "--ledger", elsewhere)
    assert done.code == 2 and "nothing was written" in done.err


def test_a_changed_file_is_refused(
    command: Command,  # noqa: F811
    case: str,
    tmp_path: Path,
) -> None:
    file = tmp_path / "case.json"
    command("export", case, "--json", "--out", file)
    file.write_text(file.read_text().replace("one lay under the drape", "no reason"))
    done = command("import", file, "--ledger", tmp_path / "x.sqlite3")
    assert (done.code, done.err.count("\n")) == (2, 1)
    assert "it was changed" in done.err
    assert not (tmp_path / "x.sqlite3").exists()
    assert command("verify", file).code == 2


def test_fhir_of_the_command(
    command: Command,  # noqa: F811
    ledger_file: Path,  # noqa: F811
) -> None:
    ledger = open_ledger(ledger_file)
    confirmed = exception_case(ledger)
    unconfirmed = kept(ledger, opening())
    ledger.close()
    bundle = json.loads(command("export", confirmed, "--fhir").out)
    assert bundle["resourceType"] == "Bundle"
    done = command("export", unconfirmed, "--fhir")
    assert (done.code, done.out, done.err.count("\n")) == (2, "", 1)
    assert f"Nothing in case {unconfirmed} is confirmed" in done.err


def test_the_schema_is_printed(command: Command) -> None:  # noqa: F811
    done = command("schema")
    assert done.code == 0
    assert json.loads(done.out) == shipped_schema()
