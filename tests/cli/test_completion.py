"""The shell completion, as a real bash runs it."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.papers.cases import plain_case

from countersign.ledger import open_ledger

PROGRAM = Path(sys.executable).parent / "countersign"
BASH = shutil.which("bash")

pytestmark = pytest.mark.skipif(
    BASH is None or not PROGRAM.exists(), reason="needs bash and the installed command"
)


@pytest.fixture
def ledger(tmp_path: Path) -> tuple[Path, str]:
    path = tmp_path / "ledger.sqlite3"
    opened = open_ledger(path)
    case = plain_case(opened)
    opened.close()
    return path, case


def completed(words: str, **surroundings: str) -> list[str]:
    """What bash offers after these words, by the script that the command prints."""
    script = """
        eval "$(countersign --show-completion bash)"
        read -ra COMP_WORDS <<< "$1"
        [[ "$1" == *" " ]] && COMP_WORDS+=("")
        COMP_CWORD=$((${#COMP_WORDS[@]} - 1))
        _countersign_completion countersign
        printf '%s\\n' "${COMPREPLY[@]}"
    """
    path = f"{PROGRAM.parent}:{os.environ['PATH']}"
    done = subprocess.run(
        [BASH or "bash", "-c", script, "bash", words],
        env={**os.environ, "PATH": path, "SHELL": "/bin/bash", **surroundings},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.split()


def test_commands_options_and_cases(ledger: tuple[Path, str]) -> None:
    path, case = ledger
    assert completed("countersign confi") == ["confirm"]
    assert "--csv" in completed("countersign export --c")
    assert completed(f"countersign confirm {case[:3]}", COUNTERSIGN_LEDGER=str(path)) == [case]


def test_no_ledger_offers_nothing_and_makes_none(tmp_path: Path) -> None:
    missing = tmp_path / "none.sqlite3"
    assert completed("countersign confirm 1", COUNTERSIGN_LEDGER=str(missing)) == []
    assert not missing.exists()
