"""Runs every example of the documentation and compares what it prints."""

import doctest
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from sybil import Example, Sybil
from sybil.parsers.rest import CodeBlockParser, DocTestParser

from countersign.ledger import list_cases, open_ledger

_PROGRAM = Path(sys.executable).parent
_SAME = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def run_console(example: Example) -> str | None:
    """Run a block of ``$`` lines in bash, in the page's folder; ``CASE`` is the case kept last.

    In what is printed, ``...`` stands for anything, and runs of blanks for one another.
    """
    folder: Path = example.namespace["folder"]
    for command, expected in _commands(example.parsed):
        surroundings = {
            "PATH": f"{_PROGRAM}:/usr/bin:/bin",
            "HOME": str(folder),
            "LANG": "C.UTF-8",
            "COLUMNS": "80",
            "COUNTERSIGN_LEDGER": str(folder / "console.sqlite3"),
            "PYTHONPATH": os.pathsep.join(filter(None, sys.path)),
        }
        done = subprocess.run(
            ["bash", "-c", command.replace("CASE", example.namespace.get("case", "CASE"))],
            cwd=folder,
            env=surroundings,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            check=False,
        )
        if "--keep" in command:
            example.namespace["case"] = _last_case(folder / "console.sqlite3")
        printed = done.stdout.replace(example.namespace.get("case", "CASE"), "CASE")
        if not doctest.OutputChecker().check_output(expected, printed, _SAME):
            return f"$ {command}\nshould print\n{expected}\nprinted\n{printed}"
    return None


def _commands(block: str) -> Iterator[tuple[str, str]]:
    """Each command with what is shown below it."""
    for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        command, _, expected = part.partition("\n")
        yield command, expected


def _last_case(place: Path) -> str:
    with closing(open_ledger(place, create=False)) as opened:
        return list_cases(opened)[-1].case_id


def _setup(namespace: dict[str, Any]) -> None:
    namespace["_kept"] = TemporaryDirectory()
    namespace["recordings"] = Path(__file__).parents[1] / "audio_fixtures"
    namespace["folder"] = Path(namespace["_kept"].name)


def _teardown(namespace: dict[str, Any]) -> None:
    namespace["_kept"].cleanup()


pytest_collect_file = Sybil(
    parsers=[
        DocTestParser(optionflags=_SAME),
        CodeBlockParser(language="console", evaluator=run_console),
    ],
    pattern="*.rst",
    setup=_setup,
    teardown=_teardown,
).pytest()
