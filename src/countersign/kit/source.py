"""The text of a kit file."""

import os
from pathlib import Path

from countersign.problems import BadInput

LARGEST_BYTES = 1_000_000
"""A kit file larger than this is refused: a full instrument list is a few tens of kilobytes."""


def kit_text(path: str | os.PathLike[str]) -> str:
    """The text of a kit file; :class:`BadInput` if it cannot be read as UTF-8 text."""
    file = Path(path)
    try:
        if file.is_dir():
            raise BadInput(f"{file} is a folder, not a kit file.")
        if file.stat().st_size > LARGEST_BYTES:
            raise BadInput(f"{file} is larger than {LARGEST_BYTES:,} bytes, too large for a kit.")
        with file.open("rb") as stream:
            data = stream.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise BadInput(f"There is no kit file {file}.") from None
    except PermissionError:
        raise BadInput(f"The kit file {file} may not be read: permission denied.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise BadInput(f"The kit file {file} cannot be read: {reason}.") from None
    if len(data) > LARGEST_BYTES:
        raise BadInput(f"{file} is larger than {LARGEST_BYTES:,} bytes, too large for a kit.")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise BadInput(f"{file}, line {line}: the kit file is not UTF-8 text.") from None
