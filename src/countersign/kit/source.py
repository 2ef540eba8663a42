"""The text of a kit file."""

import os

from countersign.written_file import text_of

LARGEST_BYTES = 1_000_000
"""A kit file larger than this is refused: a full instrument list is a few tens of kilobytes."""


def kit_text(path: str | os.PathLike[str]) -> str:
    """The text of a kit file; ``BadInput`` if it cannot be read as UTF-8 text."""
    return text_of(path, "kit", LARGEST_BYTES)
