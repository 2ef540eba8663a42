"""What a file is by its own first bytes, never by its name.

A name proves nothing, and a decoder asked about arbitrary bytes may guess: headerless formats fit
any file. So a file goes to libsndfile only if it identifies itself as a format below, and MPEG
audio, which has no signature, only if several frame headers follow each other.

Signatures: RIFF/RIFX (Microsoft multimedia specification 1.0), RF64 (EBU Tech 3306), FORM (EA IFF
85), FLAC (RFC 9639), Ogg (RFC 3533), MPEG audio headers (ISO/IEC 11172-3 table 2.4.2.3 and
13818-3), ADTS (ISO/IEC 13818-7), ISO base media (ISO/IEC 14496-12).

Of WAV, Wave64 and AIFF, libsndfile gets what is plain samples. The ADPCM kin, which nobody records
counts with, goes to ffmpeg: their readers in libsndfile up to 1.2.2 write past their memory for a
crafted file (CVE-2026-37555, CVE-2022-33065), and no later one is packed for Python yet.
"""

import os
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO, Literal

_HEADERS_IN_A_ROW = 3
_SEARCHED_AFTER_TAG = 65536
_MOST_CHUNKS = 1000

_BITRATES: dict[tuple[bool, int], tuple[int, ...]] = {
    (True, 1): (0, 32, 64, 96, 128, 160, 192, 224, 256, 288, 320, 352, 384, 416, 448),
    (True, 2): (0, 32, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320, 384),
    (True, 3): (0, 32, 40, 48, 56, 64, 80, 96, 112, 128, 160, 192, 224, 256, 320),
    (False, 1): (0, 32, 48, 56, 64, 80, 96, 112, 128, 144, 160, 176, 192, 224, 256),
    (False, 2): (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160),
    (False, 3): (0, 8, 16, 24, 32, 40, 48, 56, 64, 80, 96, 112, 128, 144, 160),
}
_RATES = {3: (44100, 48000, 32000), 2: (22050, 24000, 16000), 0: (11025, 12000, 8000)}

# Plain samples: PCM, IEEE float, A-law, µ-law (Microsoft's format tags; AIFF-C compression types).
_PLAIN_TAGS = frozenset({1, 3, 6, 7})
_EXTENSIBLE = 0xFFFE
_PLAIN_TYPES = frozenset(
    {b"NONE", b"sowt", b"twos", b"raw ", b"in24", b"42ni", b"in32", b"23ni"}
    | {b"fl32", b"FL32", b"fl64", b"FL64", b"alaw", b"ALAW", b"ulaw", b"ULAW"}
)
_WAVE64_FORMAT = b"fmt \xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a"

# Lengths that writers to a pipe put where they cannot know the length yet.
_UNKNOWN_LENGTH = (range(0x7FFFF000, 0x80001000), range(0xFFFFF000, 0x100000000))


@dataclass(frozen=True)
class Recognised:
    """A file's format as its own bytes tell it.

    ``decoder`` says who reads it first. ``present`` is the share of the promised sound data that
    the file holds, below 1 if it is cut off; ``unfinished`` is true where an end mark is missing.
    ``repairs`` maps byte offsets to bytes that stand in for header fields left wrong by a recorder
    that was cut off; the file itself is never touched.
    """

    name: str
    decoder: Literal["libsndfile", "ffmpeg"]
    present: float = 1.0
    unfinished: bool = False
    repairs: dict[int, bytes] = field(default_factory=dict)


def recognise(path: Path) -> Recognised | None:
    """Identify the file, or give None where no known signature is found."""
    with path.open("rb") as file:
        size = os.fstat(file.fileno()).st_size
        head = file.read(64)
        if head[:4] in (b"RIFF", b"RIFX") and head[8:12] == b"WAVE":
            return _wav(file, size, "<" if head[:4] == b"RIFF" else ">")
        if head[:4] in (b"RF64", b"BW64") and head[8:12] == b"WAVE":
            return _wav(file, size, "<", "WAV (64-bit)")
        if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
            return _aiff(file, size)
        if head[:4] == b"fLaC":
            return Recognised("FLAC", "libsndfile")
        if head[:4] == b"OggS":
            name = "Ogg Opus" if b"OpusHead" in head else "Ogg"
            return Recognised(name, "libsndfile", unfinished=not _ogg_ends(file, size))
        if head[:4] == b".snd":
            return _au(head, size)
        if head[:4] == b"caff":
            return Recognised("CAF", "libsndfile")
        if head[:16] == b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00":
            return _wave64(head + file.read(4096), size)
        if head[:19] == b"Creative Voice File":
            return Recognised("VOC", "libsndfile")
        if head[:7] == b"NIST_1A":
            return Recognised("NIST SPHERE", "libsndfile")
        if head[4:8] == b"ftyp":
            return Recognised("M4A or MP4", "ffmpeg")
        if head[:4] == b"\x1a\x45\xdf\xa3":
            return Recognised("Matroska or WebM", "ffmpeg")
        if head[:16] == b"\x30\x26\xb2\x75\x8e\x66\xcf\x11\xa6\xd9\x00\xaa\x00\x62\xce\x6c":
            return Recognised("WMA", "ffmpeg")
        if head[:5] == b"#!AMR":
            return Recognised("AMR", "ffmpeg")
        mpeg = _mpeg_start(file, size)
        if mpeg is not None:
            return Recognised("MP3", "libsndfile", repairs=_xing_repair(file, mpeg, size))
        if len(head) > 6 and head[0] == 0xFF and head[1] & 0xF6 == 0xF0:
            return Recognised("AAC", "ffmpeg")
        if head[:3] == b"ID3":
            return Recognised("MP3 or AAC", "ffmpeg")
    return None


def _wav(file: BinaryIO, size: int, order: str, name: str = "WAV") -> Recognised:
    long_length, offset = None, 12
    for kind, length in _chunks(file, offset, order):
        if kind == b"fmt " and not _plain(file.read(26), order):
            return Recognised(f"compressed {name}", "ffmpeg")
        if kind == b"ds64":
            long_length = struct.unpack("<QQ", file.read(16).ljust(16, b"\0"))[1]
        if kind == b"data":
            offset = file.tell()
            present = max(0, size - offset)
            if length == 0 and present and file.read(4) not in _CHUNKS_AFTER_DATA:
                # Recorders write the length last: without it, the rest of the file is the sound.
                known = struct.pack(f"{order}I", min(present, 0xFFFFFFFF))
                return Recognised(name, "libsndfile", unfinished=True, repairs={offset - 4: known})
            return Recognised(name, "libsndfile", _present(long_length or length, present))
    return Recognised(name, "libsndfile")


def _plain(form: bytes, order: str) -> bool:
    """Whether a format chunk tells of plain samples."""
    fields = form.ljust(26, b"\0")
    tag = struct.unpack(f"{order}H", fields[:2])[0]
    if tag == _EXTENSIBLE:
        tag = struct.unpack(f"{order}H", fields[24:26])[0]
    return tag in _PLAIN_TAGS


def _wave64(head: bytes, size: int) -> Recognised:
    form = head.find(_WAVE64_FORMAT)
    if form >= 0 and not _plain(head[form + 24 : form + 50], "<"):
        return Recognised("compressed Wave64", "ffmpeg")
    total = struct.unpack("<Q", head[16:24].ljust(8, b"\0"))[0]
    return Recognised("Wave64", "libsndfile", size / total if total > size else 1.0)


def _aiff(file: BinaryIO, size: int) -> Recognised:
    file.seek(8)
    compressible = file.read(4) == b"AIFC"
    for kind, length in _chunks(file, 12, ">"):
        if kind == b"COMM" and compressible and file.read(22)[18:] not in _PLAIN_TYPES:
            return Recognised("compressed AIFF", "ffmpeg")
        if kind == b"SSND":
            return Recognised("AIFF", "libsndfile", _present(length, size - file.tell()))
    return Recognised("AIFF", "libsndfile")


def _au(head: bytes, size: int) -> Recognised:
    for order in (">", "<"):
        offset, length = struct.unpack(f"{order}II", head[4:12].ljust(8, b"\0"))
        if 24 <= offset <= 1 << 20:
            # libsndfile adds both as signed numbers of 32 bits; all ones say "until the end"
            repairs = {8: b"\xff" * 4} if offset + length > 0x7FFFFFFF else {}
            return Recognised("AU", "libsndfile", _present(length, size - offset), repairs=repairs)
    return Recognised("AU", "ffmpeg")


def _present(length: int, present: int) -> float:
    if any(length in numbers for numbers in _UNKNOWN_LENGTH) or length <= max(present, 0):
        return 1.0
    return max(present, 0) / length


def _chunks(file: BinaryIO, offset: int, order: str) -> Iterator[tuple[bytes, int]]:
    """Kind and length of each chunk, with the file standing at the chunk's content."""
    for _ in range(_MOST_CHUNKS):
        file.seek(offset)
        header = file.read(8)
        if len(header) < 8:
            return
        length = struct.unpack(f"{order}I", header[4:])[0]
        yield header[:4], length
        offset += 8 + length + length % 2


_CHUNKS_AFTER_DATA = (
    b"LIST",
    b"fact",
    b"cue ",
    b"bext",
    b"iXML",
    b"id3 ",
    b"PEAK",
    b"JUNK",
    b"PAD ",
)


def _ogg_ends(file: BinaryIO, size: int) -> bool:
    """True if the last page is whole and marked as the end of its stream (RFC 3533, 6)."""
    file.seek(max(0, size - 65536 * 2))
    tail = file.read()
    page = tail.rfind(b"OggS")
    if page < 0 or len(tail) < page + 27:
        return False
    segments = tail[page + 26]
    lacing = tail[page + 27 : page + 27 + segments]
    whole = len(lacing) == segments and len(tail) >= page + 27 + segments + sum(lacing)
    return whole and bool(tail[page + 5] & 0x04)


def _frame_length(header: bytes) -> int | None:
    """Bytes in the MPEG audio frame that starts with these four bytes; None if it is no header."""
    if len(header) < 4 or header[0] != 0xFF or header[1] & 0xE0 != 0xE0:
        return None
    version, layer = header[1] >> 3 & 3, 4 - (header[1] >> 1 & 3)
    bitrate, rate = header[2] >> 4, header[2] >> 2 & 3
    if version == 1 or layer == 4 or bitrate in (0, 15) or rate == 3:
        return None
    bits = _BITRATES[version == 3, layer][bitrate] * 1000
    hertz, padding = _RATES[version][rate], header[2] >> 1 & 1
    if layer == 1:
        return (12 * bits // hertz + padding) * 4
    samples = 144 if layer == 2 or version == 3 else 72
    return samples * bits // hertz + padding


def _mpeg_start(file: BinaryIO, size: int) -> int | None:
    """Where the first of several consecutive MPEG audio frames begins."""
    file.seek(0)
    head = file.read(10)
    start, searched = 0, 1
    if head[:3] == b"ID3" and len(head) == 10:
        # ID3v2 length: four bytes of seven bits each.
        start = 10 + sum((head[6 + place] & 0x7F) << 7 * (3 - place) for place in range(4))
        searched = _SEARCHED_AFTER_TAG
    file.seek(start)
    window = file.read(searched + 4)
    for place in range(min(searched, len(window))):
        if window[place] == 0xFF and _frames_follow(file, start + place, size):
            return start + place
    return None


def _frames_follow(file: BinaryIO, offset: int, size: int) -> bool:
    for _ in range(_HEADERS_IN_A_ROW):
        file.seek(offset)
        length = _frame_length(file.read(4))
        if length is None or offset >= size:
            return False
        offset += length
    return True


def _xing_repair(file: BinaryIO, start: int, size: int) -> dict[int, bytes]:
    """The true byte count for the length field of the first MP3 frame, where it is wrong.

    The decoder writes a remark about a wrong count to the terminal, which is not its place.
    """
    file.seek(start)
    frame = file.read(200)
    for place in (36, 21, 13):
        if frame[place : place + 4] in (b"Xing", b"Info") and len(frame) >= place + 16:
            flags = frame[place + 7]
            if flags & 2:
                return {start + place + (12 if flags & 1 else 8): struct.pack(">I", size - start)}
    return {}
