"""Where the tool keeps things, unless it is told otherwise."""

import os
from pathlib import Path

import platformdirs

from countersign.problems import BadInput

LEDGER_VARIABLE = "COUNTERSIGN_LEDGER"
KIT_VARIABLE = "COUNTERSIGN_KIT"
POLICY_VARIABLE = "COUNTERSIGN_POLICY"
COPY_VARIABLE = "COUNTERSIGN_LEDGER_COPY"
KEY_VARIABLE = "COUNTERSIGN_KEY"

_SERVER = ("postgresql://", "postgres://")

LedgerPlace = Path | str
"""The path of a ledger file, or the address of a PostgreSQL database (``postgresql://…``)."""


def ledger_place(given: LedgerPlace | None = None) -> LedgerPlace:
    """Where the ledger is: ``given``, else ``COUNTERSIGN_LEDGER``, else in the data folder."""
    named = given if given is not None else os.environ.get(LEDGER_VARIABLE)
    if isinstance(named, str) and named.startswith(_SERVER):
        return named
    return _given_or_named(Path(named) if named else None, LEDGER_VARIABLE) or (
        _data_folder() / "ledger.sqlite3"
    )


def ledger_path(given: LedgerPlace | None = None) -> Path:
    """The ledger file; for a ledger on a server, where its file would lie in the data folder.

    What is kept beside the ledger (sound, attempts) lies in the same folder.
    """
    return beside(ledger_place(given))


def beside(place: LedgerPlace) -> Path:
    """A path in the folder in which everything lies that is kept beside this ledger."""
    return place if isinstance(place, Path) else _data_folder() / "ledger.sqlite3"


def copy_path(place: LedgerPlace) -> Path | None:
    """The running copy of a ledger: ``COUNTERSIGN_LEDGER_COPY``, else beside the ledger file.

    ``None`` for a ledger on a server, unless the variable is set.
    """
    named = _given_or_named(None, COPY_VARIABLE)
    if named is not None or not isinstance(place, Path):
        return named
    return place.with_name(f"{place.name}.copy")


def key_path() -> Path | None:
    """The file with the ledger's key: ``COUNTERSIGN_KEY``, else ``None`` (not encrypted).

    Raises ``BadInput`` where the variable is there and empty: who set it means to encrypt.
    """
    if os.environ.get(KEY_VARIABLE, "-").strip() == "":
        raise BadInput(
            f"{KEY_VARIABLE} is set and empty: name the file with the key, or take it away, and "
            "nothing is encrypted."
        )
    return _given_or_named(None, KEY_VARIABLE)


def _data_folder() -> Path:
    return Path(platformdirs.user_data_dir("countersign", appauthor=False))


def kit_path(given: Path | None = None) -> Path | None:
    """The kit file: ``given``, else ``COUNTERSIGN_KIT``, else None (the demonstration kit)."""
    return _given_or_named(given, KIT_VARIABLE)


def policy_path(given: Path | None = None) -> Path | None:
    """The policy file: ``given``, else ``COUNTERSIGN_POLICY``, else None (the shipped policy)."""
    return _given_or_named(given, POLICY_VARIABLE)


def _given_or_named(given: Path | None, variable: str) -> Path | None:
    if given is not None:
        return given.expanduser().absolute()
    named = os.environ.get(variable)
    return Path(named).expanduser().absolute() if named else None
