"""Reading a kit file."""

import os
from importlib.resources import files
from pathlib import Path

from countersign.kit.check import load
from countersign.kit.model import Kit
from countersign.kit.source import kit_text
from countersign.problems import BadInput


def demo_kit_path() -> Path:
    """Where the demonstration kit (open inguinal hernia repair) is installed."""
    return Path(str(files("countersign.kit") / "hernia.toml"))


def read_kit(path: str | os.PathLike[str]) -> Kit:
    """The kit in a TOML file.

    Raises :class:`BadInput` with one sentence, naming the line, if the file cannot be read, is not
    TOML, or says something a kit cannot say; :func:`check_kit` lists everything at once.
    """
    kit, mistakes = load(kit_text(path))
    if kit is None:
        first = mistakes[0]
        raise BadInput(f"{os.fspath(path)}, line {first.line}: {first.sentence}")
    return kit
