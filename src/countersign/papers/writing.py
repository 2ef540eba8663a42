"""Writing the papers of a case into a folder."""

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path

from countersign.papers.count_sheet import FORM as COUNT
from countersign.papers.count_sheet import count_sheet
from countersign.papers.medication_sheet import FORM as MEDICATION
from countersign.papers.medication_sheet import medication_sheet
from countersign.papers.practice import Practice
from countersign.papers.practice_sheet import FORM as PRACTICE
from countersign.papers.practice_sheet import practice_sheet
from countersign.papers.printing import Printing
from countersign.problems import BadInput

FORMS = {COUNT: count_sheet, MEDICATION: medication_sheet}
"""Every paper by the name of its form."""


def write_papers(made: Printing, folder: Path, *, replace: bool = False) -> tuple[Path, ...]:
    """Write every paper of a case; the folder is made if it is missing.

    Raises ``BadInput`` where a file is there already (without ``replace``) or cannot be written;
    then no paper of this printing is left in the folder under its name.
    """
    papers = {
        folder / f"{made.history.case_id}-{form}.pdf": draw(made) for form, draw in FORMS.items()
    }
    return _write_new(papers, folder, replace=replace)


def write_practice(made: Practice, folder: Path, *, replace: bool = False) -> tuple[Path, ...]:
    """Write the summary of a learner's practice, as :func:`write_papers` writes a case."""
    path = folder / f"{PRACTICE}-{made.learner or 'not-named'}.pdf"
    return _write_new({path: practice_sheet(made)}, folder, replace=replace)


def _write_new(papers: Mapping[Path, bytes], folder: Path, *, replace: bool) -> tuple[Path, ...]:
    if folder.exists() and not folder.is_dir():
        raise BadInput(f"{folder} is a file, not a folder.")
    if not replace:
        for path in papers:
            if path.exists():
                raise BadInput(f"{path} is there already; --replace writes over it.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _write_all(folder, papers)
    except OSError as error:
        raise BadInput(
            f"The papers cannot be written to {folder} ({error.strerror or error})."
        ) from error
    return tuple(papers)


def _write_all(folder: Path, papers: Mapping[Path, bytes]) -> None:
    """All of them whole on disk before the first takes its name."""
    parts: dict[Path, Path] = {}
    try:
        for path, data in papers.items():
            handle, name = tempfile.mkstemp(prefix=".paper-", dir=folder)
            parts[path] = Path(name)
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
        for path, part in parts.items():
            part.replace(path)
    finally:
        for part in parts.values():
            part.unlink(missing_ok=True)
