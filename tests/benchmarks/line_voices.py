"""The voices that never take part in training, many texts at a time, and the sound around them.

The engines are those of ``tests.fixtures_maker``; flite, festival and espeak-ng are Debian
packages, Piper and Kokoro come with the extra ``fixtures``. A voice whose engine is missing is left
out.
"""

import hashlib
import subprocess
import tempfile
import zlib
from collections.abc import Iterable, Sequence
from functools import cache
from pathlib import Path

import numpy as np
import soundfile
import soxr
from tests.benchmarks.line_texts import Line
from tests.fixtures_maker import noises
from tests.fixtures_maker.make import pieces
from tests.fixtures_maker.voices import ENGINES, RATE, RESPELLED, Samples, respell

VOICES: dict[str, tuple[str, str, float]] = {
    "flite-slt": ("flite", "slt", 21),
    "flite-rms": ("flite", "rms", 21),
    "festival-slt-hts": ("festival", "cmu_us_slt_arctic_hts", 13),
    "festival-ked": ("festival", "ked_diphone", 13),
    "piper-joe": ("piper", "en_US-joe-medium", 8),
    "kokoro-tebukuro": ("kokoro", "jf_tebukuro", 1.5),
    "espeak-scotland": ("espeak", "en-gb-scotland", 8),
    "espeak-us-f5": ("espeak", "en-us+f5", 8),
    "espeak-us-m8": ("espeak", "en-us+m8", 8),
}
"""Name -> engine, the engine's own name of the voice, and its share of the lines."""

SPEEDS = (0.9, 1.0, 1.0, 1.1, 1.2)
BETWEEN_PARTS_S = 1.0
"""Silence between two utterances of one line: longer than the pause that ends an utterance."""

MORE_RESPELLED = {
    "allises": "alice is",
    "asepto": "uh sep toe",
    "aseptos": "uh sep toes",
    "atraumatic": "ay traumatic",
    "debakeys": "duh bakeys",
    "epi": "eppy",
    "hypo": "high poe",
    "metzenbaums": "mets in bombs",
    "mosquitoes": "mosquitos",
    "navys": "navies",
    "penroses": "pen roses",
    "weitlaners": "white lanners",
}
"""Beside the words that the fixtures respell."""

Piece = tuple[str, float]
"""A text to speak in one go and its speaking rate."""


def spelled(text: str) -> str:
    """``text`` with trade words written as they sound."""
    assert not RESPELLED.keys() & MORE_RESPELLED.keys()
    return respell(" ".join(MORE_RESPELLED.get(word, word) for word in text.split(" ")))


def speak_all(voice: str, said: Sequence[Piece], folder: Path | None = None) -> list[Samples]:
    """Each piece in ``voice``, 16 kHz mono, peak 0.6, silence cut; kept in ``folder`` if given."""
    kept = [folder / voice / f"{_key(piece)}.flac" if folder else None for piece in said]
    missing = {
        piece: path
        for piece, path in zip(said, kept, strict=True)
        if path is None or not path.is_file()
    }
    engine, setting, _ = VOICES[voice]
    todo = list(missing)
    if engine == "festival":
        made = _festival(setting, todo) if todo else []
    else:
        made = [ENGINES[engine](setting, spelled(text), rate) for text, rate in todo]
    fresh: dict[Piece, Samples] = {}
    for piece, (samples, own_rate) in zip(todo, made, strict=True):
        fresh[piece] = _trimmed(_at_rate(np.asarray(samples, np.float32), own_rate))
        path = missing[piece]
        if path is not None:
            path.parent.mkdir(parents=True, exist_ok=True)
            part = path.with_suffix(f".{np.random.default_rng().integers(2**40)}.part")
            soundfile.write(part, fresh[piece], RATE, subtype="PCM_16", format="FLAC")
            part.replace(path)
    return [
        fresh[piece] if piece in fresh else soundfile.read(path, dtype="float32")[0]
        for piece, path in zip(said, kept, strict=True)
    ]


def _key(piece: Piece) -> str:
    return hashlib.sha1(f"{piece[1]:.2f} {spelled(piece[0])}".encode()).hexdigest()[:20]


def _at_rate(samples: Samples, own_rate: int) -> Samples:
    return samples if own_rate == RATE else soxr.resample(samples, own_rate, RATE)


def _trimmed(samples: Samples) -> Samples:
    """Silence at both ends cut to 20 ms, peak 0.6; ``RuntimeError`` if nothing is left."""
    frame = RATE // 100
    whole = samples[: len(samples) // frame * frame].reshape(-1, frame)
    level = np.sqrt(np.mean(whole**2, axis=1))
    loud = np.flatnonzero(level > max(1e-4, float(level.max(initial=0.0)) * 10 ** (-42 / 20)))
    if not len(loud):
        raise RuntimeError("A synthesiser gave silence.")
    cut = samples[max(0, loud[0] - 2) * frame : (loud[-1] + 3) * frame]
    return np.asarray(cut * (0.6 / np.abs(cut).max()), dtype=np.float32)


def _festival(setting: str, said: Sequence[Piece]) -> list[tuple[Samples, int]]:
    """All pieces from one festival process, which takes longer to start than to speak."""
    with tempfile.TemporaryDirectory() as folder:
        script = [f"(voice_{setting})"]
        for number, (text, rate) in enumerate(said):
            script += [
                f"(Parameter.set 'Duration_Stretch {1 / rate:.3f})",
                f'(utt.save.wave (utt.synth (Utterance Text "{spelled(text)}"))'
                f' "{folder}/{number}.wav" \'riff)',
            ]
        written = Path(folder) / "script.scm"
        written.write_text("\n".join(script), encoding="utf-8")
        subprocess.run(["festival", "-b", str(written)], check=True, capture_output=True)
        return [
            soundfile.read(Path(folder) / f"{number}.wav", dtype="float32")
            for number in range(len(said))
        ]


def pieces_of(line: Line, speed: float) -> list[list[tuple[Piece, float]]]:
    """For each utterance of a line its pieces, each with the pause after it in seconds."""
    return [[((text, speed), pause) for text, pause in pieces(part) if text] for part in line.parts]


def join(spoken: Sequence[Sequence[tuple[Samples, float]]], rng: np.random.Generator) -> Samples:
    """Utterances of one line as one stretch of sound over a faint noise floor."""
    sound: list[Samples] = [_silence(rng.uniform(0.25, 0.4))]
    for number, utterance in enumerate(spoken):
        if number:
            sound.append(_silence(BETWEEN_PARTS_S * rng.uniform(0.95, 1.2)))
        for samples, pause in utterance:
            sound += [samples, _silence(pause)]
    sound.append(_silence(0.45))
    speech = np.concatenate(sound)
    return noises.mix(speech, noises.ventilation(len(speech), rng), 45.0)


def _silence(seconds: float) -> Samples:
    return np.zeros(int(seconds * RATE), np.float32)


NOISES = ("ventilation", "suction", "monitor", "clatter", "babble")


def with_noise(speech: Samples, snr_db: float, rng: np.random.Generator) -> Samples:
    """One of :data:`NOISES`, drawn from ``rng``, at ``snr_db`` under the speech."""
    name = str(rng.choice(NOISES))
    if name == "babble":
        noise = noises.babble(len(speech), rng, _talkers())
    else:
        noise = getattr(noises, name)(len(speech), rng)
    return noises.mix(speech, noise, snr_db)


@cache
def _talkers() -> tuple[Samples, ...]:
    """People in the background: voices that say no line, and neither item nor number."""
    said = (
        ("kal16", "they moved the meeting to the other building and nobody told us"),
        ("awb", "it rained all the way home and the road was closed again"),
        ("kal", "she would rather take the train because parking is so difficult there"),
        ("awb", "i still have to finish the paperwork from this morning before lunch"),
    )
    return tuple(_trimmed(_at_rate(*ENGINES["flite"](voice, text, 1.0))) for voice, text in said)


def seeded(*parts: str | int) -> np.random.Generator:
    """A generator that depends on ``parts`` alone."""
    return np.random.default_rng(zlib.crc32(" ".join(map(str, parts)).encode()))


def as_int16(samples: Samples) -> np.ndarray:
    """Sound as the microphone gives it, scaled down where it would clip."""
    scaled = samples * min(1.0, 0.9 / float(np.abs(samples).max()))
    return np.asarray(np.round(scaled * 32767), np.int16)


def usable(names: Iterable[str]) -> tuple[list[str], list[str]]:
    """The voices that speak on this machine, and a sentence for each that does not."""
    able, notes = [], []
    for name in names:
        try:
            speak_all(name, [("one two", 1.0)])
        except Exception as trouble:
            reason = str(trouble).splitlines()[0] if str(trouble) else type(trouble).__name__
            notes.append(f"The voice {name} is left out: {reason}")
        else:
            able.append(name)
    return able, notes
