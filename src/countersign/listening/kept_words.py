"""The utterances of a live case, kept one a line, so that a restart does not hear them again."""

import json
import os
from pathlib import Path

from pydantic import ValidationError

from countersign.hearing import Utterance
from countersign.problems import BadInput

_END = '"end"'


class KeptWords:
    """An append-only file of utterances in JSON lines; a line ``"end"`` closes a stretch.

    ``stretches`` are the utterances of each stretch of listening, the last one still open. A last
    line that a power cut left unfinished is dropped.
    """

    def __init__(self, path: Path) -> None:
        """Read what is kept; ``BadInput`` where the file cannot be read or is damaged."""
        self.path = path
        self.stretches: list[list[Utterance]] = [[]]
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
            self._file = os.fdopen(handle, "r+b")
            self._read()
        except OSError as error:
            raise BadInput(f"The words {path} cannot be kept ({error.strerror}).") from error

    def append(self, utterance: Utterance) -> None:
        """Keep one utterance; it is on disk when this returns."""
        self.stretches[-1].append(utterance)
        self._write(utterance.model_dump_json())

    def end(self) -> None:
        """Close the stretch: whatever was still being said is complete."""
        if self.stretches[-1]:
            self.stretches.append([])
            self._write(_END)

    def close(self) -> None:
        """Release the file."""
        self._file.close()

    def _read(self) -> None:
        whole = 0
        for number, line in enumerate(self._file, start=1):
            if not line.endswith(b"\n"):
                break
            whole += len(line)
            try:
                if json.loads(line) == "end":
                    self.stretches.append([])
                else:
                    self.stretches[-1].append(Utterance.model_validate_json(line))
            except (ValueError, ValidationError) as error:
                raise BadInput(f"Line {number} of {self.path} cannot be read.") from error
        self._file.seek(whole)
        self._file.truncate()

    def _write(self, line: str) -> None:
        try:
            self._file.write(line.encode() + b"\n")
            self._file.flush()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise BadInput(f"The words {self.path} cannot be kept ({error.strerror}).") from error
