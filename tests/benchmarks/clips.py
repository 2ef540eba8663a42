"""Which recordings the benchmark plays, and what is true about each."""

import json
import math
import re
import wave
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import soundfile
from tests.benchmarks.line_texts import is_kept_out

Group = Literal["fixtures", "doubtful", "talk", "digits", "orders", "testdata"]
GROUPS: tuple[Group, ...] = ("fixtures", "doubtful", "talk", "digits", "orders", "testdata")
DIGITS = "zero one two three four five six seven eight nine".split()


@dataclass(frozen=True)
class Clip:
    """A recording: ``said`` its words if known, ``wanted`` its events if it is a fixture.

    In every group but ``fixtures``, ``doubtful`` and ``digits`` nobody counts.
    """

    path: Path
    group: Group
    duration_s: float
    said: tuple[str, ...] | None = None
    wanted: tuple[dict[str, Any], ...] = ()


class Absent(Exception):
    """Recordings that are not on this machine; the message says which and why they are skipped."""


def fixtures(folder: Path) -> list[Clip]:
    """The made recordings of the manifest in ``folder``."""
    manifest = folder / "manifest.json"
    if not manifest.is_file():
        raise Absent(f"The made recordings are skipped because {manifest} does not exist.")
    return [
        Clip(
            folder / entry["file"],
            _group(entry),
            entry["duration_s"],
            tuple(" ".join(entry["lines"]).split()),
            tuple(entry["events"]),
        )
        for entry in json.loads(manifest.read_text(encoding="utf-8"))["recordings"]
    ]


def _group(entry: dict[str, Any]) -> Group:
    if entry["talk"]:
        return "talk"
    # The voices of the manifest were all kept out of training, its wordings only by chance.
    return "fixtures" if all(map(is_kept_out, entry["lines"])) else "doubtful"


def digits(folder: Path | None) -> list[Clip]:
    """Single spoken digits; file names begin with the digit (``7_person_3.flac``)."""
    if folder is None:
        raise Absent("The digits are skipped because --digits names no folder.")
    found = [path for path in sorted(folder.glob("*.*")) if re.match(r"\d_", path.name)]
    if not found:
        raise Absent(
            f"The digits are skipped because {folder} has no file such as 7_person_3.flac."
        )
    return [Clip(path, "digits", _length(path), (DIGITS[int(path.name[0])],)) for path in found]


def orders(folder: Path | None) -> list[Clip]:
    """People ordering drinks: the files held out from training, whose names begin with 0 to 3."""
    if folder is None:
        raise Absent("The orders are skipped because --orders names no folder.")
    found = [path for path in sorted(folder.glob("[0-3]*.*")) if path.suffix != ".jsonl"]
    if not found:
        raise Absent(
            f"The orders are skipped because {folder} has no file that begins with 0 to 3."
        )
    return [Clip(path, "orders", _length(path)) for path in found]


def testdata(folder: Path, scratch: Path) -> list[Clip]:
    """Human recordings of Debian's pocketsphinx-testdata: cards, digits, a command, read prose.

    Headerless files are given a header in ``scratch``.
    """
    if not folder.is_dir():
        raise Absent(
            f"The human test recordings are skipped because {folder} does not exist (Debian's"
            " pocketsphinx-testdata has them)."
        )
    said = {}
    for transcript in folder.glob("*/*transcription"):
        for text, name in re.findall(
            r"<s>(.*?)</s>\s*\(([^)]+)\)", transcript.read_text(encoding="utf-8")
        ):
            said[name] = tuple(text.split())
    said["goforward"] = ("go", "forward", "ten", "meters")
    paths = sorted([*folder.glob("cards/*.wav"), *folder.glob("librivox/*.wav")])
    # TIDIGITS names its files after the digits: two nine three four zero.
    said["dhd.2934z"] = ("two", "nine", "three", "four", "zero")
    raws = ("goforward.raw", "numbers.raw", "tidigits/dhd.2934z.raw")
    paths += _with_header((raw for name in raws for raw in folder.glob(name)), scratch)
    return [Clip(path, "testdata", _length(path), said.get(path.stem)) for path in paths]


def _with_header(raws: Iterator[Path], scratch: Path) -> list[Path]:
    """Copies of headerless 16 kHz 16-bit mono files as WAV."""
    made = []
    for raw in raws:
        path = scratch / f"{raw.stem}.wav"
        with wave.open(str(path), "wb") as out:
            out.setnchannels(1)
            out.setsampwidth(2)
            out.setframerate(16_000)
            out.writeframes(raw.read_bytes())
        made.append(path)
    return made


def _length(path: Path) -> float:
    return float(soundfile.info(path).duration)


def sample(clips: list[Clip], most: int) -> list[Clip]:
    """At most ``most`` clips of each group, evenly spread and always the same ones."""
    kept: list[Clip] = []
    for group in GROUPS:
        members = [clip for clip in clips if clip.group == group]
        kept += members[:: max(1, math.ceil(len(members) / most))]
    return kept
