"""The page of commands and the manual page name every command and option, and no other.

Where one of these fails: ``pip install '.[docs]' && python docs/build.py``.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer

from countersign.cli import app

DOCS = Path(__file__).parents[2] / "docs"


def commands(command: Any, name: str) -> Iterator[tuple[str, Any]]:
    yield name, command
    for inner in getattr(command, "commands", {}).values():
        yield from commands(inner, f"{name} {inner.name}")


ALL = dict(commands(typer.main.get_command(app), "countersign"))


def sections(text: str, head: str) -> dict[str, set[str]]:
    """The options that stand under the heading of each command."""
    parts = re.split(head, text, flags=re.MULTILINE)
    return {
        " ".join(name.split()): set(re.findall(r"--[a-z][a-z-]*", body))
        for name, body in zip(parts[1::2], parts[2::2], strict=True)
    }


def test_the_page_of_commands() -> None:
    text = (DOCS / "commands.md").read_text(encoding="utf-8")
    found = sections(text.split("## Exit codes")[0], r"^#+ `(countersign[a-z ]*)`$")
    assert set(found) == set(ALL) - {"countersign"}
    for name, said in found.items():
        options = {o for p in ALL[name].params for o in (*p.opts, *p.secondary_opts)}
        expected = {option for option in options if option.startswith("--")}
        assert expected | {"--help"} <= said, name


@pytest.mark.parametrize("name", sorted(ALL))
def test_the_manual_page(name: str) -> None:
    page = (DOCS / "countersign.1").read_text(encoding="utf-8")
    text = re.sub(r"\\f[A-Z]", "", page).replace("\\-", "-").replace("\\(en", "–")
    assert name in text
    for parameter in ALL[name].params:
        assert all(option in text for option in parameter.opts if option.startswith("--"))
    assert "EXIT CODES" in text.upper() and "made by two people" in " ".join(text.split())
