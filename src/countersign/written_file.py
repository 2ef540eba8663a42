"""The text of a file that a facility writes: a kit or a policy."""

import os
from pathlib import Path

from countersign.problems import BadInput


def text_of(path: str | os.PathLike[str], what: str, largest: int) -> str:
    """The text of a ``what`` file (such as ``kit``) of at most ``largest`` bytes.

    ``BadInput`` if it cannot be read as UTF-8 text.
    """
    file = Path(path)
    too_large = f"{file} is larger than {largest:,} bytes, too large for a {what}."
    try:
        if file.is_dir():
            raise BadInput(f"{file} is a folder, not a {what} file.")
        if file.stat().st_size > largest:
            raise BadInput(too_large)
        with file.open("rb") as stream:
            data = stream.read(largest + 1)
    except FileNotFoundError:
        raise BadInput(f"There is no {what} file {file}.") from None
    except PermissionError:
        raise BadInput(f"The {what} file {file} may not be read: permission denied.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise BadInput(f"The {what} file {file} cannot be read: {reason}.") from None
    if len(data) > largest:
        raise BadInput(too_large)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise BadInput(f"{file}, line {line}: the {what} file is not UTF-8 text.") from None
