"""``countersign confirm`` with a pipe and on a real terminal."""

import io
import re
import subprocess
import sys
from pathlib import Path

import pytest

from countersign.ledger import open_ledger, read_case
from countersign.tally import Act

from .conftest import COMMAND, Command


def decisions(ledger_file: Path, case: str) -> list[tuple[int, Act, str]]:
    ledger = open_ledger(ledger_file, create=False)
    history = read_case(ledger, case)
    ledger.close()
    return [(d.line, d.act, d.initials) for d in history.decisions]


def test_through_a_pipe(environment: dict[str, str], ledger_file: Path, kept_case: str) -> None:
    done = subprocess.run(
        [*COMMAND, "confirm", kept_case.upper()],
        input="circ\ncd\na\nm\n\n10\nu\na\nu 1\nq\n",
        capture_output=True,
        text=True,
        env=environment,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert decisions(ledger_file, kept_case) == [
        (1, Act.ACCEPT, "CD"),
        (2, Act.AMEND, "CD"),
        (2, Act.UNDO, "CD"),
        (2, Act.ACCEPT, "CD"),
        (1, Act.UNDO, "CD"),
    ]
    assert max(map(len, done.stdout.splitlines())) <= 80
    assert "A count is made by two people" in done.stdout
    assert f"countersign confirm {kept_case}" in done.stdout


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_on_a_terminal(environment: dict[str, str], ledger_file: Path, kept_case: str) -> None:
    pexpect = pytest.importorskip("pexpect")
    person = pexpect.spawn(
        COMMAND[0],
        [*COMMAND[1:], "confirm", kept_case],
        env={**environment, "TERM": "xterm-256color"},
        encoding="utf-8",
        dimensions=(24, 80),
        timeout=10,
    )
    person.expect("Your role")
    person.sendline("scrub")
    person.expect("Your initials")
    person.sendline("ab")
    person.expect("Line 1 of 3")
    person.expect("> ")
    person.sendline("a")
    person.expect("Kept: line 1 accepted by AB")
    assert decisions(ledger_file, kept_case) == [(1, Act.ACCEPT, "AB")]
    person.expect("Line 2 of 3")
    person.expect("It was hard to hear")
    person.expect("> ")
    person.sendline("s")
    person.expect("Why")
    person.sendline("said twice")
    person.expect("Kept: line 2 set aside by AB")
    person.expect("> ")
    person.sendintr()
    person.expect("Stopped from the keyboard")
    person.expect(pexpect.EOF)
    person.close()
    assert person.exitstatus == 130
    assert decisions(ledger_file, kept_case) == [
        (1, Act.ACCEPT, "AB"),
        (2, Act.SET_ASIDE, "AB"),
    ]


def test_the_end_says_what_is_open(
    command: Command, kept_case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("a\nn\na\n"))
    done = command("confirm", kept_case, "--role", "scrub", "--initials", "AB")
    assert done.code == 0
    assert "cannot be confirmed as a whole; still open" in done.out
    assert "Line 2: It was hard to hear." in done.out
    assert "Every line was acted on" not in done.out


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("confirm", "0101-none"), "has no case 0101-none"),
        (("confirm", "CASE", "--role", "surgeon", "--initials", "ab"), "The role is one of"),
        (("confirm", "CASE", "--role", "scrub", "--initials", "1"), "Initials are"),
        (("confirm", "CASE"), "Nobody gave a role"),
    ],
)
def test_bad_input(
    command: Command,
    kept_case: str,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    sentence: str,
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    done = command(*(kept_case if word == "CASE" else word for word in arguments))
    assert done.code == 2
    assert re.fullmatch(rf"[^\n]*{sentence}[^\n]*\.\n", done.err)
