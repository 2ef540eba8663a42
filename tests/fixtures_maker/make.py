"""From the script to sound files and the manifest."""

import hashlib
import json
import re
import subprocess
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import soundfile
import soxr
from tests.fixtures_maker import noises
from tests.fixtures_maker.script import RECORDINGS, Recording
from tests.fixtures_maker.voices import RATE, Samples, speak

SUFFIX = {"flac": ".flac", "opus": ".opus", "mp3": ".mp3", "wav": ".wav"}
BABBLE = (
    ("festival-slt-hts", "they moved the meeting to the other building and nobody told us"),
    ("espeak-scotland-m8", "it rained all the way home and the road was closed again"),
    ("piper-joe", "i still have to finish the paperwork from this morning before lunch"),
    ("flite-rms", "she would rather take the train because parking is so difficult there"),
)
"""Voices and sentences of the people in the background: no item and no number."""


def written(line: str) -> str:
    """The words of a script line, lower case, without pauses and punctuation."""
    return " ".join(re.sub(r"~[0-9.]+|[^a-z' -]", " ", line.lower()).split())


def pieces(line: str) -> list[tuple[str, float]]:
    """``(text, pause after it in seconds)`` for each part of a script line."""
    parts = re.split(r"~([0-9.]+)", line)
    pauses = [float(pause) for pause in parts[1::2]] + [0.0]
    return [(text.strip(" ,"), pause) for text, pause in zip(parts[::2], pauses, strict=True)]


def say(recording: Recording, rng: np.random.Generator) -> tuple[Samples, list[dict[str, Any]]]:
    """The clean speech of a recording and what was said when."""
    sound: list[Samples] = [np.zeros(int(0.4 * RATE), np.float32)]
    spoken: list[dict[str, Any]] = []
    for number, line in enumerate(recording.lines):
        voice, text = (recording.voice, line) if isinstance(line, str) else line
        for part, pause in pieces(text):
            said = speak(voice, part, recording.rate)
            start = sum(map(len, sound)) / RATE
            spoken.append(
                {
                    "text": written(part),
                    "start_s": round(start, 2),
                    "end_s": round(start + len(said) / RATE, 2),
                    "voice": voice,
                }
            )
            sound += [said, np.zeros(int(pause * RATE), np.float32)]
        last = number + 1 == len(recording.lines)
        gap = 0.6 if last else recording.gap_s * rng.uniform(0.9, 1.2)
        sound.append(np.zeros(int(gap * RATE), np.float32))
    return np.concatenate(sound), spoken


def with_background(speech: Samples, recording: Recording, rng: np.random.Generator) -> Samples:
    """The speech as the room makes it: reflections, the named noise, or a faint noise floor."""
    if recording.room:
        speech = noises.room(speech, rng)
    floor = noises.ventilation(len(speech), rng)
    if recording.noise is None:
        return noises.mix(speech, floor, 45.0)
    if recording.snr_db is None:
        raise ValueError(f"{recording.name} has noise and no ratio.")
    if recording.noise == "babble":
        talkers = [speak(voice, text) for voice, text in BABBLE]
        noise = noises.babble(len(speech), rng, talkers)
    else:
        makers: dict[str, Callable[..., Samples]] = {
            "suction": noises.suction,
            "monitor": noises.monitor,
            "ventilation": noises.ventilation,
            "clatter": noises.clatter,
        }
        noise = makers[recording.noise](len(speech), rng)
    return noises.mix(speech, noise, recording.snr_db)


def write_sound(samples: Samples, recording: Recording, path: Path) -> None:
    """Write in the container, rate and number of channels that the script asks for."""
    samples = samples * min(1.0, 0.9 / float(np.abs(samples).max()))
    if recording.sample_rate != RATE:
        samples = soxr.resample(samples, RATE, recording.sample_rate)
    if recording.channels == 2:
        # The second microphone is farther away: quieter and 3 ms later.
        late = int(0.003 * recording.sample_rate)
        samples = np.stack([samples, 0.4 * np.roll(samples, late)], axis=1)
    if recording.container in ("flac", "wav"):
        soundfile.write(path, samples, recording.sample_rate, subtype="PCM_16")
        return
    codec = {
        "opus": ["-c:a", "libopus", "-b:a", "32k"],
        "mp3": ["-c:a", "libmp3lame", "-b:a", "64k"],
    }[recording.container]
    raw = path.with_suffix(".part.wav")
    soundfile.write(raw, samples, recording.sample_rate, subtype="PCM_16")
    exact = ["-fflags", "+bitexact", "-flags:a", "+bitexact", "-map_metadata", "-1"]
    subprocess.run(
        ["ffmpeg", "-y", "-loglevel", "error", "-i", raw, *codec, *exact, path], check=True
    )
    raw.unlink()


def make(recording: Recording, folder: Path, seed: int) -> dict[str, Any]:
    """Write one recording into ``folder`` and return its manifest entry."""
    rng = np.random.default_rng([seed, zlib.crc32(recording.name.encode())])
    speech, spoken = say(recording, rng)
    samples = with_background(speech, recording, rng)
    path = folder / (recording.name + SUFFIX[recording.container])
    write_sound(samples, recording, path)
    codes = sorted({code for event in recording.events for code in event.get("questions", [])})
    return {
        "file": path.name,
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "duration_s": round(len(samples) / RATE, 2),
        "sample_rate": recording.sample_rate,
        "channels": recording.channels,
        "voices": sorted({part["voice"] for part in spoken}),
        "noise": recording.noise,
        "snr_db": recording.snr_db,
        "room": recording.room,
        "talk": recording.talk,
        "lines": [written(line if isinstance(line, str) else line[1]) for line in recording.lines],
        "spoken": spoken,
        "events": list(recording.events),
        "must_ask": codes,
    }


def make_all(folder: Path, seed: int, only: str | None = None) -> list[dict[str, Any]]:
    """Write every recording (or those whose name contains ``only``) and the manifest.

    Recordings that are not made again keep their entry in the manifest.
    """
    folder.mkdir(parents=True, exist_ok=True)
    manifest = folder / "manifest.json"
    before = {}
    if only and manifest.is_file():
        kept = json.loads(manifest.read_text(encoding="utf-8"))["recordings"]
        before = {Path(entry["file"]).stem: entry for entry in kept}
    entries = []
    for recording in RECORDINGS:
        if only and only not in recording.name and recording.name in before:
            entries.append(before[recording.name])
        else:
            entries.append(make(recording, folder, seed))
    text = json.dumps({"seed": seed, "recordings": entries}, indent=1, ensure_ascii=False)
    manifest.write_text(text + "\n", encoding="utf-8")
    return entries
