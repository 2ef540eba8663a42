"""Small files that stand for a lot: sound, packed pages, numbers. Memory must not follow them."""

import itertools
import json
import shutil
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.abuse.targets import _case, resealed

from countersign.exchange import read_exported
from countersign.exchange.stored import StoredCase
from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.problems import BadInput
from countersign.review import analyse
from countersign.review import analysis as analysis_module
from countersign.sound import open_source, read_blocks

MEASURED = """
import resource, sys
from countersign.sound import read_blocks
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
total = 0
for number, block in enumerate(read_blocks(sys.argv[1])):
    total += len(block.samples)
    if number >= int(sys.argv[2]):
        break
print(total, (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) // 1024)
"""


def memory_of_reading(path: Path, blocks: int = 10**9) -> tuple[int, int]:
    """Samples read, and megabytes more than before, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-c", MEASURED, str(path), str(blocks)],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    samples, megabytes = done.stdout.split()
    return int(samples), int(megabytes)


def silence(path: Path, hours: float, **coding: str) -> Path:
    rate = 48_000 if coding.get("subtype") == "OPUS" else 8_000
    minute = np.zeros(60 * rate, dtype=np.int16)
    with soundfile.SoundFile(path, "w", rate, 1, **coding) as file:
        for _ in range(round(hours * 60)):
            file.write(minute)
    return path


@pytest.mark.parametrize(
    ("coding", "hours"),
    [({"format": "FLAC"}, 2.0), ({"format": "OGG", "subtype": "OPUS"}, 0.1)],
)
def test_hours_of_silence_in_a_small_file(
    tmp_path: Path, coding: dict[str, str], hours: float
) -> None:
    path = silence(tmp_path / "bomb", hours, **coding)
    assert path.stat().st_size < 900_000
    samples, megabytes = memory_of_reading(path)
    assert samples == pytest.approx(hours * 3600 * 16_000, rel=0.001)
    assert megabytes < 40


def wav(rate: int, channels: int, frames: int, promised: int | None = None) -> bytes:
    data = bytes(2 * channels * frames)
    length = len(data) if promised is None else promised
    form = struct.pack("<HHIIHH", 1, channels, rate, rate * channels * 2, channels * 2, 16)
    head = b"RIFF" + struct.pack("<I", 0xFFFFFFFF) + b"WAVEfmt " + struct.pack("<I", 16) + form
    return head + b"data" + struct.pack("<I", length) + data


def test_the_widest_header_asks_for_little_memory(tmp_path: Path) -> None:
    path = tmp_path / "wide.wav"
    path.write_bytes(wav(768_000, 64, 80_000))
    _, megabytes = memory_of_reading(path)
    assert megabytes < 150


def test_a_promise_of_hours_is_not_believed(tmp_path: Path) -> None:
    path = tmp_path / "promise.wav"
    path.write_bytes(wav(16_000, 1, 16_000, promised=0xFFFFFFF0))
    samples, megabytes = memory_of_reading(path)
    assert samples == 16_000
    assert megabytes < 40


@pytest.mark.parametrize("rate", [0, 1, 3999, 768_001, 2**31, 2**32 - 1])
def test_impossible_rates(tmp_path: Path, rate: int) -> None:
    path = tmp_path / "rate.wav"
    path.write_bytes(
        wav(16_000, 1, 16_000).replace(struct.pack("<I", 16_000), struct.pack("<I", rate))
    )
    with pytest.raises(BadInput):
        open_source(path)


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="the program ffmpeg is not installed")
def test_a_file_of_boxes_in_boxes(tmp_path: Path) -> None:
    """ISO media nests without end, and each box may claim four gigabytes."""
    path = tmp_path / "boxes.m4a"
    boxes = b"".join(struct.pack(">I4s", 0xFFFFFFFF, b"moov") for _ in range(20_000))
    path.write_bytes(struct.pack(">I4s4s4s", 16, b"ftyp", b"M4A ", bytes(4)) + boxes)
    with pytest.raises(BadInput):
        open_source(path)


def test_an_attempt_of_weeks_is_refused(
    tmp_path: Path, kit: Kit, ears: Ears, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(analysis_module, "LONGEST_S", 600.0)
    path = silence(tmp_path / "weeks.flac", 0.2, format="FLAC")
    with pytest.raises(BadInput, match="longer than"):
        analyse(path, kit, ears)
    # a header that says nothing, or too little, helps nobody
    monkeypatch.setattr(analysis_module, "LONGEST_S", 0.5)
    spoken = Path(__file__).parents[2] / "audio_fixtures" / "laps-five.flac"
    real = analysis_module.open_source
    monkeypatch.setattr(
        analysis_module,
        "open_source",
        lambda *a, **o: real(*a, **o).model_copy(update={"duration_s": None}),
    )
    with pytest.raises(BadInput, match="longer than"):
        analyse(spoken, kit, ears)


# Numbers


@pytest.mark.parametrize("value", ["1E+9999999", "1E-9999999", "9" * 100_000, "NaN", "Infinity"])
def test_a_forged_number_cannot_grow(value: str) -> None:
    """A dozen letters that a careless program writes out as megabytes of digits."""
    from countersign.chain import asked
    from countersign.exchange.stored import history_of
    from countersign.ledger import record_of
    from countersign.plain_json import json_text

    def change(stored: StoredCase) -> StoredCase:
        entries = list(stored.entries)
        body = json.loads(entries[0].body)
        body["quantity"] = value
        entries[0] = entries[0].model_copy(update={"body": json.dumps(body)})
        return stored.model_copy(update={"entries": tuple(entries)})

    forged = resealed(json.loads(_case()[1]), change)
    try:
        stored = read_exported(forged)
        record = record_of(history_of(stored))
    except BadInput:
        return
    list(asked(record))
    assert len(json_text(record)) < 1_000_000


def test_a_page_of_zeros_in_a_paper(tmp_path: Path) -> None:
    """A stream that unpacks to half a gigabyte."""
    from countersign.ledger import open_ledger
    from countersign.papers import verify

    packed = zlib.compressobj(9)
    stream = b"".join(packed.compress(bytes(1_000_000)) for _ in range(500)) + packed.flush()
    parts = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]/Contents 4 0 R>>",
        b"<</Filter/FlateDecode/Length %d>>stream\n%s\nendstream" % (len(stream), stream),
    ]
    out, places = b"%PDF-1.4\n", []
    for number, part in enumerate(parts, start=1):
        places.append(len(out))
        out += b"%d 0 obj%s\nendobj\n" % (number, part)
    table = len(out)
    out += b"xref\n0 5\n0000000000 65535 f \n"
    out += b"".join(b"%010d 00000 n \n" % place for place in places)
    out += b"trailer<</Root 1 0 R/Size 5>>\nstartxref\n%d\n%%%%EOF" % table
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    with pytest.raises(BadInput):
        verify(out, ledger)
    ledger.close()


def test_blocks_come_at_once_however_long_the_file(tmp_path: Path) -> None:
    """Nothing is read ahead: the first seconds of hours take no longer than those of a minute."""
    path = silence(tmp_path / "long.flac", 2.0, format="FLAC")
    first = list(itertools.islice(read_blocks(path), 5))
    assert sum(len(block.samples) for block in first) == 16_000
