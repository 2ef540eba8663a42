"""Speech on disk: shards of 16 kHz mono audio with one JSON line for each utterance.

A shard is ``NAME.opus`` (or ``NAME.raw``, int16 little-endian) and ``NAME.jsonl``. Each line has
``set`` (train or valid), ``source`` (kokoro, espeak, flite, festival, piper, people), ``voice``,
``start`` and ``length`` in samples, ``text``, ``phones`` (CTC target) and, where it is known when
they were X relative to ``start``.
"""

from __future__ import annotations

import json
import subprocess
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

RATE = 16_000


@dataclass
class Utterance:
    """One utterance of a shard; sample numbers are at 16 kHz."""

    set: str
    source: str
    voice: str
    start: int
    length: int
    text: str
    phones: list[int]
    words: list[list] = field(default_factory=list)
    times: list[list[int]] = field(default_factory=list)


class ShardWriter:
    """Collects utterances and writes them as one shard."""

    def __init__(self) -> None:
        """Start empty."""
        self.audio: list[np.ndarray] = []
        self.lines: list[Utterance] = []
        self.samples = 0

    def add(self, audio: np.ndarray, utterance: Utterance) -> None:
        """Append ``audio`` (int16); ``utterance.start`` and ``length`` are set here."""
        utterance.start, utterance.length = self.samples, len(audio)
        gap = np.zeros(RATE // 10, np.int16)  # keeps codec smear of neighbours apart
        self.audio += [audio.astype(np.int16), gap]
        self.lines.append(utterance)
        self.samples += len(audio) + len(gap)

    def write(self, stem: Path) -> None:
        """Write ``stem``.raw, then ``stem``.jsonl (its appearance says the shard is whole)."""
        if not self.lines:
            return
        stem.parent.mkdir(parents=True, exist_ok=True)
        np.concatenate(self.audio).astype("<i2").tofile(stem.with_name(stem.name + ".raw"))
        part = stem.with_name(stem.name + ".part")
        part.write_text("".join(json.dumps(asdict(u)) + "\n" for u in self.lines))
        part.rename(stem.with_name(stem.name + ".jsonl"))


def read_shard(index: Path) -> tuple[np.ndarray, list[Utterance]]:
    """Audio (int16) and utterances of the shard whose index is ``index``."""
    lines = [Utterance(**json.loads(line)) for line in index.read_text().splitlines()]
    stem = index.name.removesuffix(".jsonl")
    raw = index.with_name(stem + ".raw")
    if raw.exists():
        return np.fromfile(raw, "<i2"), lines
    import soundfile

    audio, rate = soundfile.read(index.with_name(stem + ".opus"), dtype="int16")
    if rate != RATE:
        audio = audio[:: rate // RATE]
    return audio, lines


def read_audio(path: Path) -> np.ndarray:
    """Any audio file as int16 at 16 kHz mono (through ffmpeg)."""
    command = ["ffmpeg", "-v", "error", "-i", str(path), "-f", "s16le", "-ac", "1"]
    command += ["-ar", str(RATE), "-"]
    return np.frombuffer(subprocess.run(command, capture_output=True, check=True).stdout, "<i2")


def pack(folder: Path, out: Path, kilobits: int = 18) -> None:
    """Join all raw shards of ``folder`` into ``out``.opus and ``out``.jsonl."""
    writer = ShardWriter()
    for index in sorted(folder.glob("*.jsonl")):
        audio, lines = read_shard(index)
        for u in lines:
            writer.add(audio[u.start : u.start + u.length], u)
    writer.write(out)
    raw = out.with_name(out.name + ".raw")
    subprocess.run(
        [
            "ffmpeg",
            "-v",
            "error",
            "-y",
            "-f",
            "s16le",
            "-ar",
            str(RATE),
            "-ac",
            "1",
            "-i",
            str(raw),
            "-c:a",
            "libopus",
            "-b:a",
            f"{kilobits}k",
            "-compression_level",
            "3",
            str(out.with_name(out.name + ".opus")),
        ],
        check=True,
    )
    raw.unlink()
