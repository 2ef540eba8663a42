"""Formats that libsndfile does not read, through the ffmpeg program as a stream of samples."""

import collections
import re
import shutil
import struct
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import numpy as np

from countersign.problems import BadInput
from countersign.sound.decoder import (
    Note,
    Undecodable,
    check_header,
    still_readable,
    stretch_frames,
    tell_early_end,
)
from countersign.sound.levels import Frames, SoundWarning

# Containers that identify themselves. Left out are headerless formats, which fit any bytes, and
# play lists, through which a file could make ffmpeg open other files or the network.
_FORMATS = (
    "aac,ac3,aiff,amr,ape,asf,au,avi,caf,flac,flv,mov,mp4,m4a,matroska,webm,mp3,mpegts,ogg,tta,"
    "w64,wav,wv"
)
_PROBE_TIMEOUT_S = 30.0
_MOST_BYTES_AT_ONCE = str(256 * 1024 * 1024)
_DURATION = re.compile(r"^\s*Duration: (\d+):(\d\d):(\d\d\.\d+)", re.MULTILINE)


def executable() -> str | None:
    """Where the ffmpeg program is, or None."""
    return shutil.which("ffmpeg")


class FfmpegDecoder:
    """M4A, AAC, WebM and others, decoded to 16-bit samples at their own rate and channels.

    The samples come framed as WAV, because its header tells rate and channels.
    """

    def __init__(self, path: Path) -> None:
        """Decode the first moment, to know that sound comes out of the file."""
        self._path = path
        try:
            probe = subprocess.run(
                self._command("info", 0, ("-t", "0.2")),
                stdin=subprocess.DEVNULL,
                capture_output=True,
                timeout=_PROBE_TIMEOUT_S,
                check=False,
            )
        except subprocess.TimeoutExpired as error:
            raise Undecodable("cannot be read: ffmpeg does not come to an end") from error
        except OSError as error:
            raise BadInput(f"{path} cannot be read: ffmpeg cannot be started.") from error
        told = probe.stderr.decode("utf-8", "replace")
        header = _parse_header(probe.stdout)
        if "misdetection possible" in told:
            raise Undecodable("is not a sound file in a known format")
        if "moov atom not found" in told:
            raise Undecodable("is cut off: the index at its end is missing")
        if header is None and "matches no streams" in told:
            raise Undecodable("has no sound in it")
        if header is None:
            raise Undecodable("cannot be read: it is damaged or in an unknown format")
        self.rate, self.channels, offset = header
        check_header(path, self.rate, self.channels)
        if len(probe.stdout) <= offset:
            raise Undecodable("holds no sound that can be decoded")
        self.name = _format_name(told)
        self.duration_s = None if "Estimating duration" in told else _duration(told)

    def frames(self, note: Note, start_s: int = 0) -> Iterator[Frames]:
        """See ``Decoder``."""
        with (
            still_readable(self._path),
            subprocess.Popen(
                self._command("warning", start_s),
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
            ) as process,
        ):
            assert process.stdout is not None
            assert process.stderr is not None
            told: collections.deque[str] = collections.deque(maxlen=200)
            listener = threading.Thread(target=_keep, args=(process.stderr, told), daemon=True)
            listener.start()
            got = start_s * self.rate
            try:
                _skip_header(process.stdout)
                width = 2 * self.channels
                stretch = stretch_frames(self.rate, self.channels) * width
                while data := process.stdout.read(stretch):
                    data = data[: len(data) // width * width]
                    samples = np.frombuffer(data, dtype="<i2").reshape(-1, self.channels)
                    got += len(samples)
                    yield samples.astype(np.float32) / np.float32(32768)
                process.wait()
            finally:
                process.kill()
                listener.join()
        self._judge(note, got / self.rate, process.returncode, "\n".join(told))

    def _judge(self, note: Note, got_s: float, code: int, told: str) -> None:
        short = self.duration_s is not None and got_s < self.duration_s - 0.25
        if short or code != 0 or "partial file" in told:
            tell_early_end(note, got_s, self.duration_s)
        elif "Error while decoding" in told or "Invalid data" in told or "orrupt" in told:
            note(
                SoundWarning(
                    code="damaged",
                    sentence="Parts of the recording are damaged and may be missing or garbled.",
                )
            )

    def _command(self, loglevel: str, start_s: int, limit: tuple[str, ...] = ()) -> list[str]:
        seek = ("-ss", str(start_s)) if start_s else ()
        return [
            executable() or "ffmpeg",
            *("-hide_banner", "-nostdin", "-nostats", "-loglevel", loglevel),
            # a broken header may ask for any amount of memory at once
            *("-max_alloc", _MOST_BYTES_AT_ONCE),
            *("-protocol_whitelist", "file", "-format_whitelist", _FORMATS),
            *seek,
            # The prefix keeps a name with a colon from being taken for a network address.
            *("-i", f"file:{self._path.absolute()}"),
            *("-map", "0:a:0", *limit, "-map_metadata", "-1"),
            *("-bitexact", "-c:a", "pcm_s16le", "-f", "wav", "pipe:1"),
        ]


def _keep(stream: IO[bytes], lines: "collections.deque[str]") -> None:
    for line in stream:
        lines.append(line.decode("utf-8", "replace").rstrip())


def _parse_header(data: bytes) -> tuple[int, int, int] | None:
    """Rate, channels and where the samples begin, from the start of a WAV stream."""
    if data[:4] != b"RIFF":
        return None
    rate = channels = 0
    offset = 12
    while len(data) >= offset + 8:
        kind, length = (
            data[offset : offset + 4],
            int.from_bytes(data[offset + 4 : offset + 8], "little"),
        )
        if kind == b"data":
            return rate, channels, offset + 8
        if kind == b"fmt " and len(data) >= offset + 16:
            channels, rate = struct.unpack("<HI", data[offset + 10 : offset + 16])
        offset += 8 + length + length % 2
    return None


def _skip_header(stream: IO[bytes]) -> None:
    stream.read(12)
    while len(header := stream.read(8)) == 8 and header[:4] != b"data":
        length = int.from_bytes(header[4:], "little")
        stream.read(length + length % 2)


def _duration(told: str) -> float | None:
    found = _DURATION.search(told)
    if found is None:
        return None
    hours, minutes, rest = found.groups()
    return int(hours) * 3600 + int(minutes) * 60 + float(rest)


def _format_name(told: str) -> str:
    found = re.search(r"^\s*Stream #\S+ Audio: (\w+)", told, re.MULTILINE)
    return found.group(1).upper() if found else "sound"
