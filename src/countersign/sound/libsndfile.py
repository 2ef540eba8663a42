"""Formats that libsndfile reads: WAV, FLAC, Ogg, Opus, MP3, AIFF and their kin."""

import contextlib
import io
import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile

from countersign.problems import BadInput
from countersign.sound.decoder import (
    LONGEST_S,
    TOO_SHORT_S,
    Note,
    Undecodable,
    check_header,
    still_readable,
    stretch_frames,
    tell_early_end,
)
from countersign.sound.levels import Frames, SoundWarning, seconds
from countersign.sound.recognition import Recognised

_MOST_SKIPS = 50
_SKIPPED_FRAMES = 4608
"""The longest block that FLAC encoders write at usual rates (RFC 9639, streamable subset)."""

_CODINGS = ("PCM_", "FLOAT", "DOUBLE", "ALAW", "ULAW", "VORBIS", "OPUS", "MPEG_", "ALAC_")
"""What libsndfile reads, by the beginnings of its names; see ``recognition`` for the rest."""


class SoundFileDecoder:
    """WAV, FLAC, Ogg, Opus, MP3, AIFF and their kin through libsndfile."""

    def __init__(self, path: Path, kind: Recognised) -> None:
        """Open the file far enough to know that sound comes out of it."""
        self._path = path
        self._kind = kind
        self._size = path.stat().st_size
        self.name = kind.name
        with self._open() as (sound, _):
            self.rate, self.channels = sound.samplerate, sound.channels
            check_header(path, self.rate, self.channels)
            declared = sound.frames / self.rate
            believable = 0 < declared <= LONGEST_S
            self.duration_s: float | None = float(declared) if believable else None
            self._expected_s = self._promised()
            first, error = _read(sound, stretch_frames(self.rate, self.channels))
            if not len(first):
                if error or self._cut_off(0.0):
                    raise Undecodable("is cut off before its first sound")
                raise BadInput(f"{path} holds no sound: it is a header with no samples after it.")
            got_s = len(first) / self.rate
            if got_s < TOO_SHORT_S and (error or self._cut_off(got_s)):
                raise BadInput(f"{path} is cut off after {got_s:.3f} s, which is too short to use.")

    def frames(self, note: Note, start_s: int = 0) -> Iterator[Frames]:
        """See ``Decoder``."""
        got, hole, skips, damaged, failed = start_s * self.rate, 0, 0, False, False
        while skips <= _MOST_SKIPS:
            with still_readable(self._path), self._open() as (sound, file):
                try:
                    if got + hole:
                        sound.seek(min(got + hole, sound.frames))
                except (soundfile.LibsndfileError, RuntimeError):
                    break
                error = None
                while error is None:
                    stretch, error = _read(sound, stretch_frames(self.rate, self.channels))
                    if not len(stretch):
                        break
                    if hole:
                        # Silence in place of what was skipped keeps later times true.
                        damaged = True
                        _tell_damage(note, got / self.rate)
                        yield np.zeros((hole, self.channels), dtype=np.float32)
                        got, hole = got + hole, 0
                    yield stretch
                    got += len(stretch)
                failed = error is not None and file.tell() < self._size
            if not failed:
                break
            # A decoder that lost its place finds it again when it starts behind the damage.
            hole += _SKIPPED_FRAMES
            skips += 1
        if failed or hole or not damaged:
            self._judge(note, got / self.rate, failed=failed or hole > 0)

    @contextlib.contextmanager
    def _open(self) -> Iterator[tuple[soundfile.SoundFile, BinaryIO]]:
        with io.BufferedReader(_Nameless(self._path, self._kind.repairs), 1 << 16) as file:
            try:
                sound = _Stream(file)
            except soundfile.LibsndfileError as error:
                raise Undecodable(
                    f"starts like {self._kind.name} but cannot be read: it is damaged, cut off or "
                    "has an impossible header"
                ) from error
            with sound:
                if not sound.subtype.startswith(_CODINGS):
                    raise Undecodable(f"is {self._kind.name} with a compression that is not read")
                yield sound, file

    def _promised(self) -> float | None:
        if self._kind.unfinished or self.duration_s is None:
            return None
        if self._kind.present < 1:
            return self.duration_s / max(self._kind.present, 1e-9)
        return self.duration_s

    def _judge(self, note: Note, got_s: float, *, failed: bool) -> None:
        if not failed and not self._cut_off(got_s):
            return
        if self._kind.name.startswith("Ogg") and not self._kind.unfinished and not failed:
            # The end mark is there, so that what is missing is missing on the way.
            note(
                SoundWarning(
                    code="damaged",
                    sentence="The recording is damaged: "
                    f"{seconds((self._expected_s or got_s) - got_s)} of it is missing, and times "
                    "after the gap are too early by as much.",
                )
            )
        else:
            tell_early_end(note, got_s, self._expected_s)

    def _cut_off(self, got_s: float) -> bool:
        if self._kind.unfinished or self._kind.present < 1:
            return True
        # An MP3 may hold a frame or two fewer than its header says, and is whole all the same.
        return self._expected_s is not None and got_s < self._expected_s - TOO_SHORT_S / 2


def _tell_damage(note: Note, at_s: float) -> None:
    note(
        SoundWarning(
            code="damaged",
            sentence=f"The recording is damaged shortly before {seconds(at_s)}, where words may "
            "be missing.",
        )
    )


class _Stream(soundfile.SoundFile):  # type: ignore[misc]
    """Read from front to back.

    On a source that can seek, soundfile seeks after every read to where it is already. That makes
    the MP3 decoder forget the bits that a frame borrows from those before it, and the FLAC decoder
    lose its place after damage.
    """

    def seekable(self) -> bool:
        """No, as far as reading is concerned; ``seek`` itself works all the same."""
        return False


class _Nameless(io.RawIOBase):
    """A file without a name, so that its extension cannot speak for it, with header repairs."""

    def __init__(self, path: Path, repairs: dict[int, bytes]) -> None:
        self._file = path.open("rb", buffering=0)
        self._repairs = repairs

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        try:
            return self._file.seek(offset, whence)
        except (OSError, OverflowError, ValueError):
            # A broken header can send the decoder before the start; staying put tells it so.
            return self._file.tell()

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: "memoryview | bytearray") -> int:  # type: ignore[override]
        start = self._file.tell()
        count = self._file.readinto(buffer) or 0
        for offset, known in self._repairs.items():
            for place, byte in enumerate(known, start=offset - start):
                if 0 <= place < count:
                    buffer[place] = byte
        return count

    def close(self) -> None:
        self._file.close()
        super().close()


def _read(sound: soundfile.SoundFile, count: int) -> tuple[Frames, Exception | None]:
    """Up to ``count`` frames, and the error that stopped the reading, with what came before it."""
    buffer = np.full((count, sound.channels), np.nan, dtype=np.float32)
    try:
        return sound.read(out=buffer), None
    except (soundfile.LibsndfileError, RuntimeError) as error:
        filled = np.flatnonzero(np.isfinite(buffer).all(axis=1))
        return buffer[: int(filled[-1]) + 1 if len(filled) else 0], error
