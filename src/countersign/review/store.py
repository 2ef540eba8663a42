"""Where attempts are kept: a folder each, named by the recording's digest, beside the ledger."""

import fcntl
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import soundfile
from pydantic import ValidationError

from countersign.problems import BadInput
from countersign.review.analysis import ID_LENGTH
from countersign.review.attempt import Attempt
from countersign.review.checklist import WRITTEN_FILE
from countersign.review.entries import Entry
from countersign.sound import SAMPLE_RATE, read_blocks

_ID = re.compile(rf"[0-9a-f]{{{ID_LENGTH}}}")
_LEARNER = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,11}")
_ATTEMPT, _ENTRIES, _SOUND = "attempt.json", "entries.jsonl", "sound.flac"


def is_learner(code: str) -> bool:
    """Whether this is a code for a learner: letters, figures and dashes, never a name of a person.

    An empty code stands for nobody in particular.
    """
    return code == "" or _LEARNER.fullmatch(code) is not None


def store_path(ledger: Path) -> Path:
    """Where attempts lie: beside the ledger."""
    return ledger.parent / "attempts"


class Store:
    """Attempts with their sound and what educators added to them."""

    def __init__(self, folder: Path) -> None:
        """The folder is made when something is kept."""
        self.folder = folder

    @property
    def written_checklist(self) -> Path:
        """Where the checklist lies that was written on the pages; it need not be there."""
        return self.folder / WRITTEN_FILE

    def keep(self, attempt: Attempt, recording: Path) -> None:
        """Keep a measured attempt and its sound (16 kHz mono FLAC, for the page to play).

        What educators added stays. ``BadInput`` where it cannot be written.
        """
        place = self._place(attempt.attempt_id)
        try:
            place.mkdir(parents=True, exist_ok=True, mode=0o700)
            if not (place / _SOUND).is_file():
                _write_sound(recording, place / _SOUND)
            part = place / f"{_ATTEMPT}.{os.getpid()}.part"
            part.write_text(attempt.model_dump_json(), encoding="utf-8")
            part.replace(place / _ATTEMPT)  # last: what is there is whole
        except OSError as error:
            raise BadInput(f"The attempt cannot be kept in {place} ({error.strerror}).") from error

    def is_measured(self, attempt_id: str, made_with: str) -> bool:
        """Whether the recording was measured before, with the same kit, model and version."""
        try:
            return self.read(attempt_id).made_with == made_with
        except BadInput:
            return False

    def read(self, attempt_id: str) -> Attempt:
        """An attempt; ``BadInput`` where there is none of that id, or it cannot be read."""
        try:
            text = (self._place(attempt_id) / _ATTEMPT).read_bytes()
            return Attempt.model_validate_json(text)
        except FileNotFoundError:
            raise BadInput(f"There is no attempt {attempt_id}.") from None
        except (OSError, ValidationError):
            raise BadInput(f"The attempt {attempt_id} cannot be read.") from None

    def attempts(self) -> list[Attempt]:
        """Every attempt that can be read, by learner and then by when it was measured."""
        found = []
        for place in self._places():
            try:
                found.append(self.read(place.name))
            except BadInput:
                continue
        return sorted(found, key=lambda each: (each.learner, each.measured_at, each.name))

    def sound(self, attempt_id: str) -> Path:
        """The sound of an attempt; ``BadInput`` where it is not kept."""
        path = self._place(attempt_id) / _SOUND
        if not path.is_file():
            raise BadInput(f"There is no sound of attempt {attempt_id}.")
        return path

    def entries(self, attempt_id: str) -> list[Entry]:
        """What was added, oldest first; without a last line that a power cut left unfinished."""
        path = self._place(attempt_id) / _ENTRIES
        try:
            lines = path.read_bytes().split(b"\n")[:-1]
            return [
                Entry.model_validate_json(line).model_copy(update={"entry": number})
                for number, line in enumerate(lines, start=1)
            ]
        except FileNotFoundError:
            return []
        except (OSError, ValidationError):
            raise BadInput(f"What was added to attempt {attempt_id} cannot be read.") from None

    def add(self, attempt_id: str, entry: Entry) -> None:
        """Append one entry; it is on disk when this returns. ``BadInput`` where it cannot be."""
        self.read(attempt_id)
        path = self._place(attempt_id) / _ENTRIES
        try:
            with _locked(path) as handle:
                size = os.fstat(handle).st_size
                if size and os.pread(handle, 1, size - 1) != b"\n":  # what a power cut left
                    kept = os.pread(handle, size, 0).rfind(b"\n") + 1
                    os.ftruncate(handle, kept)
                os.write(handle, entry.model_dump_json(exclude={"entry"}).encode() + b"\n")
                os.fsync(handle)
        except OSError as error:
            raise BadInput(f"The entry cannot be kept in {path} ({error.strerror}).") from error

    def _places(self) -> list[Path]:
        try:
            return [place for place in self.folder.iterdir() if _ID.fullmatch(place.name)]
        except FileNotFoundError:
            return []
        except OSError as error:
            raise BadInput(f"{self.folder} cannot be read ({error.strerror}).") from error

    def _place(self, attempt_id: str) -> Path:
        if not _ID.fullmatch(attempt_id):
            raise BadInput("There is no such attempt.")
        return self.folder / attempt_id


@contextmanager
def _locked(path: Path) -> Iterator[int]:
    handle = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield handle
    finally:
        os.close(handle)


def _write_sound(recording: Path, path: Path) -> None:
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        with soundfile.SoundFile(
            part, "w", SAMPLE_RATE, 1, format="FLAC", subtype="PCM_16"
        ) as file:
            for block in read_blocks(recording):
                file.write(np.ascontiguousarray(block.samples))
        part.replace(path)
    except soundfile.SoundFileError as error:
        raise BadInput(f"The sound cannot be kept in {path.parent} ({error}).") from error
    finally:
        part.unlink(missing_ok=True)
