"""Which software wrote something, and with which acoustic model a case was heard."""

from importlib.metadata import PackageNotFoundError, version

from countersign.ledger import CaseHistory


def software() -> str:
    """The name and version of this program: ``countersign 0.1.0``."""
    try:
        return f"countersign {version('countersign')}"
    except PackageNotFoundError:  # run from a folder that was never installed
        return "countersign, version unknown"


def model_of(history: CaseHistory) -> str | None:
    """The acoustic model named last in the notes of a case, ``None`` for written words."""
    named = [note.model for note in history.notes if note.model]
    return named[-1] if named else None
