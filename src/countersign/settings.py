"""Where the tool keeps things, unless it is told otherwise."""

import os
from pathlib import Path

import platformdirs

LEDGER_VARIABLE = "COUNTERSIGN_LEDGER"
KIT_VARIABLE = "COUNTERSIGN_KIT"
POLICY_VARIABLE = "COUNTERSIGN_POLICY"


def ledger_path(given: Path | None = None) -> Path:
    """The ledger file: ``given``, else ``COUNTERSIGN_LEDGER``, else in the user's data folder."""
    return (
        _given_or_named(given, LEDGER_VARIABLE)
        or Path(platformdirs.user_data_dir("countersign", appauthor=False)) / "ledger.sqlite3"
    )


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
