"""The unit and the container file of a ward server, as far as they can be checked without one."""

import configparser
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from countersign.cli import app

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
UNIT = DEPLOY / "countersign.service"


def options_of(*words: str) -> set[str]:
    command = typer.main.get_command(app)
    for word in words:
        command = command.commands[word]
    return {option for each in command.params for option in each.opts}


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="needs systemd-analyze")
def test_systemd_takes_the_unit(tmp_path: Path) -> None:
    """The program is not where the unit expects it; any that is there stands for it."""
    unit = tmp_path / UNIT.name
    unit.write_text(UNIT.read_text().replace("/opt/countersign/bin/countersign", sys.executable))
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", str(unit)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout + done.stderr) == (0, "")
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--threshold=20", str(unit)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-300:]  # exposure of at most 2.0 of 10


def test_the_unit_starts_a_command_that_there_is() -> None:
    unit = configparser.ConfigParser(interpolation=None, strict=False, delimiters=("=",))
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read(UNIT)
    program, command, *rest = unit["Service"]["ExecStart"].split()
    assert (Path(program).name, command) == ("countersign", "serve")
    assert {word for word in rest if word.startswith("--")} <= options_of("serve")
    assert "--network" in rest


def test_what_the_container_copies_and_runs_is_there() -> None:
    text = (DEPLOY / "Containerfile").read_text()
    for words in re.findall(r"^COPY (?!--from)(.*)$", text, flags=re.MULTILINE):
        *sources, _ = words.split()
        assert all((ROOT / source).exists() for source in sources), words
    assert "--require-hashes -r deploy/requirements.lock" in text
    users = re.findall(r"^USER (.*)$", text, flags=re.MULTILINE)
    assert users == ["countersign"]
    (command,) = re.findall(r"^CMD \[(.*)\]$", text, flags=re.MULTILINE)
    words = re.findall(r'"([^"]*)"', command)
    assert words[0] == "serve"
    assert {word for word in words if word.startswith("--")} <= options_of("serve")
