"""Usage, lists of cases, kits: what does not need to hear anything."""

import re
from pathlib import Path

import pytest

from countersign.kit import demo_kit_path
from countersign.printable import clean

from .conftest import Command


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("listen",),
        ("sing",),
        ("listen", "--loud", "x.wav"),
        ("read",),
        ("kit",),
        ("kit", "check"),
        ("kit", "check", "/nowhere.toml"),
        ("model", "use"),
        ("export", "x"),
        ("listen", "/nowhere.wav"),
        ("listen", "/nowhere.wav", "--json"),
        ("read", "two laps", "--kit", "/nowhere.toml"),
        ("read", ""),
        ("read", " \n \t"),
        ("read", "two\0laps"),
        ("read", "two laps\udcff"),
        ("cases",),
        ("cases", "--ledger", "/nowhere/ledger.sqlite3"),
        ("confirm", "0101-none"),
    ],
)
def test_bad_input_is_one_sentence_and_2(
    command: Command, ledger_file: Path, arguments: tuple[str, ...]
) -> None:
    done = command(*arguments)
    assert done.code == 2
    assert done.out == ""
    assert re.fullmatch(r"[^\n]+[.]\n", done.err)
    assert "Traceback" not in done.err
    assert not ledger_file.exists()


def test_help(command: Command) -> None:
    done = command("--help")
    assert done.code == 0
    for name in ("listen", "read", "live", "confirm", "cases", "kit", "model", "export"):
        assert name in done.out


def test_cases_are_listed(command: Command, kept_case: str) -> None:
    done = command("cases")
    assert done.code == 0
    assert kept_case in done.out
    assert "=opening.wav" in done.out
    assert max(map(len, done.out.splitlines())) <= 80


def test_a_kit_without_mistakes(command: Command) -> None:
    done = command("kit", "check", demo_kit_path())
    assert done.code == 0
    assert "the kit can be used." in done.out


def test_a_kit_with_mistakes(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    text = demo_kit_path().read_text(encoding="utf-8")
    path.write_text(text.replace("pack = 10", "pack = 1", 1), encoding="utf-8")
    line = text[: text.index("pack = 10")].count("\n") + 1
    done = command("kit", "check", path)
    assert done.code == 2
    assert re.search(rf"^line {line}: error: ", done.out, re.MULTILINE)
    assert re.fullmatch(r"[^\n]*cannot be used: it has 1 mistake\.\n", done.err)


def test_a_folder_in_place_of_the_ledger(command: Command, tmp_path: Path, kept_case: str) -> None:
    done = command("confirm", kept_case, "--ledger", tmp_path)
    assert done.code == 2
    assert done.err == f"The ledger {tmp_path} is not a file.\n"


def test_words_from_outside_cannot_steer_the_terminal() -> None:
    """ECMA-48 control functions begin with ESC (0x1B) or a C1 control (0x80 to 0x9F)."""
    printed = clean("five\x1b[2Jlaps\x9b31m\u202etwo\r\n")
    assert not re.search("[\x00-\x1f\x7f-\x9f\u202a-\u202e]", printed)
    assert clean("4 × 4 “laps” é") == "4 × 4 “laps” é"
