"""Changing pronunciations in a kit file, and nothing else in it."""

import os
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import cast

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array, Table

from countersign.kit.check import load
from countersign.kit.model import Kit
from countersign.kit.phones import PHONES, Phones
from countersign.kit.source import kit_text
from countersign.problems import BadInput

TABLE = "pronunciations"


def read_phones(written: str) -> Phones:
    """Phones as a person types them, any case, stress marks passed over.

    Raises ``BadInput`` for one that is none of the 39.
    """
    phones = tuple(phone.upper().rstrip("012") for phone in written.split())
    strange = [phone for phone in phones if phone not in PHONES]
    if strange or not phones:
        said = f"“{strange[0]}” is not one of the phones" if strange else "There are no phones"
        raise BadInput(f"{said}; write some of {' '.join(sorted(PHONES))}.")
    return phones


def set_pronunciations(path: str | os.PathLike[str], word: str, phones: Sequence[Phones]) -> None:
    """Write how ``word`` is pronounced into the kit file, in place of what it said before.

    Comments, order and everything else stay as they are; the file changes whole or not at all.
    Raises ``BadInput`` if the file is no kit that can be used, or cannot be written.
    """
    file = Path(path)
    before = kit_text(file)
    kit = _usable(before, file)
    after = _changed(before, word, [" ".join(one) for one in phones])
    wanted = {**kit.pronunciations, word: tuple(" ".join(one) for one in phones)}
    if _usable(after, file) != kit.model_copy(update={TABLE: wanted}):
        raise BadInput(
            f"{file} is written in a way that cannot be changed safely; edit it by hand."
        )
    _replace(file, after)


def _usable(text: str, file: Path) -> Kit:
    kit, mistakes = load(text)
    if kit is None:
        raise BadInput(f"{file}, line {mistakes[0].line}: {mistakes[0].sentence}")
    return kit


def _changed(text: str, word: str, spoken: Sequence[str]) -> str:
    # tomlkit writes line ends of its own beside those of the file, so it sees only one kind.
    ends = "\r\n" if "\r\n" in text else "\n"
    try:
        document = tomlkit.parse(text.replace("\r\n", "\n"))
    except TOMLKitError as error:
        raise BadInput(f"The kit cannot be changed: {error}.") from None
    if TABLE not in document:
        if not text.endswith("\n\n"):
            document.add(tomlkit.nl())
        document.add(TABLE, tomlkit.table())
    table = cast(Table, document[TABLE])
    array: Array = tomlkit.array()
    array.extend(spoken)
    table[word] = array
    return document.as_string().replace("\n", ends)


def _replace(file: Path, text: str) -> None:
    target = file.resolve()  # a link stays a link
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(text.encode("utf-8"))
                stream.flush()
                os.fsync(stream.fileno())
            part.chmod(target.stat().st_mode & 0o7777)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise BadInput(f"{file} cannot be written: {error.strerror}.") from None
