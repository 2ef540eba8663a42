"""The sound of a live case, kept in one WAV file as it arrives."""

import os
import struct
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE, Block

_HEADER_BYTES = 44
_SAMPLE_BYTES = 2
_LONGEST_BYTES = 2**32 - 2**16
"""A WAV file counts its bytes in 32 bits: about 37 hours at 16 kHz."""


class SoundEnded(BadInput):
    """Sound came for a case that is over."""


class KeptSound:
    """An append-only 16 kHz mono 16-bit WAV file that one thread writes and others read.

    The sender says where each piece belongs, in samples from the start, so that a piece sent twice
    is kept once. ``samples`` is how many are kept. After a power cut the file is as long as what
    reached the disk; its header is put right when it is opened again.
    """

    def __init__(self, path: Path) -> None:
        """Open or make the file; ``BadInput`` where it cannot be written."""
        self.path = path
        self._more = threading.Condition()
        self._ended = False
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
            self._file = os.fdopen(handle, "r+b", buffering=0)
            size = self._file.seek(0, os.SEEK_END)
            self.samples = max(0, size - _HEADER_BYTES) // _SAMPLE_BYTES
            self._file.truncate(_HEADER_BYTES + self.samples * _SAMPLE_BYTES)
            self._write_header()
        except OSError as error:
            raise _trouble(path, error) from error

    def append(self, at: int, data: bytes) -> int:
        """Keep int16 samples that begin at sample ``at``; returns how many samples are missing.

        What is already kept is dropped. A piece from further on leaves a gap, which is kept as
        silence so that times stay true; its length is returned (0 where nothing is missing).
        ``SoundEnded`` after :meth:`end`.
        """
        if self._ended:
            raise SoundEnded("This case was ended.")
        if at < 0 or len(data) % _SAMPLE_BYTES:
            raise ValueError("a piece of sound needs whole samples from the start on")
        missing = max(0, at - self.samples)
        known = min(len(data), max(0, self.samples - at) * _SAMPLE_BYTES)
        piece = bytes(missing * _SAMPLE_BYTES) + data[known:]
        if not piece:
            return 0
        if (self.samples * _SAMPLE_BYTES) + len(piece) > _LONGEST_BYTES:
            raise BadInput(f"The recording {self.path} has reached its greatest length.")
        try:
            # pwrite, since the reader's thread writes the header through the same handle
            place, written = _HEADER_BYTES + self.samples * _SAMPLE_BYTES, 0
            while written < len(piece):
                written += os.pwrite(self._file.fileno(), piece[written:], place + written)
        except ValueError:  # it was closed meanwhile
            raise SoundEnded("This case was ended.") from None
        except OSError as error:
            raise _trouble(self.path, error) from error
        with self._more:
            self.samples += len(piece) // _SAMPLE_BYTES
            self._more.notify_all()
        return missing

    def sync(self) -> None:
        """Put everything kept so far on the disk, with a header that says so."""
        try:
            self._write_header()
            os.fsync(self._file.fileno())
        except OSError as error:
            raise _trouble(self.path, error) from error

    def end(self) -> None:
        """No more sound comes: readers finish."""
        with self._more:
            self._ended = True
            self._more.notify_all()

    def close(self) -> None:
        """End, and release the file."""
        self.end()
        if not self._file.closed:
            self.sync()
            self._file.close()

    def blocks(self, start: int = 0, *, seconds: float = 0.1) -> Iterator[Block]:
        """The sound from sample ``start`` on, waiting for more until :meth:`end`.

        ``start_s`` of a block counts from the start of the file.
        """
        size = round(seconds * SAMPLE_RATE)
        with self.path.open("rb") as file:
            while True:
                with self._more:
                    while self.samples - start < size and not self._ended:
                        self._more.wait()
                    ready = min(size, self.samples - start)
                if ready <= 0:
                    return
                file.seek(_HEADER_BYTES + start * _SAMPLE_BYTES)
                samples = np.frombuffer(file.read(ready * _SAMPLE_BYTES), dtype="<i2")
                yield Block(samples.astype(np.int16), start / SAMPLE_RATE)
                start += ready

    def _write_header(self) -> None:
        length = self.samples * _SAMPLE_BYTES
        header = struct.pack(
            "<4sI4s4sIHHIIHH4sI",
            b"RIFF", _HEADER_BYTES - 8 + length, b"WAVE", b"fmt ", 16, 1, 1,
            SAMPLE_RATE, SAMPLE_RATE * _SAMPLE_BYTES, _SAMPLE_BYTES, 8 * _SAMPLE_BYTES,
            b"data", length,
        )  # fmt: skip
        os.pwrite(self._file.fileno(), header, 0)


def _trouble(path: Path, error: OSError) -> BadInput:
    return BadInput(f"The recording {path} cannot be kept ({error.strerror or error}).")
