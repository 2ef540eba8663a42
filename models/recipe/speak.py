"""Make speech with the synthesisers and write it as shards.

    python speak.py --out DIR --engine kokoro --seconds 500 --kokoro MODEL VOICES VOCABULARY
    python speak.py --out DIR --engine espeak --processes 4 --count 4000
    python speak.py --out DIR --engine festival --held-out --seed 900 --count 90

With ``--held-out`` the held-out voices speak, the texts come from another seed, and the shards are
marked for validation. espeak-ng, flite and festival are called as commands; Kokoro and Piper run
through onnxruntime.
"""

from __future__ import annotations

import argparse
import functools
import json
import multiprocessing
import random
import subprocess
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from corpus import RATE, ShardWriter, Utterance
from pronounce import dictionary_words, kokoro_symbols, phones_of
from texts import TextGenerator
from voices import KOKORO_TRAIN, Voice, held_out_voices, training_voices

SHARD_SECONDS = 45.0


def resample(audio: np.ndarray, rate: float, target: int = RATE) -> np.ndarray:
    """Band-limited resampling by the Fourier transform (whole utterance at once)."""
    n = len(audio)
    size = 1 << (n + 2000).bit_length()
    m = round(size * target / rate)
    spectrum = np.fft.rfft(np.concatenate([audio, np.zeros(size - n)]))
    bins = m // 2 + 1
    if bins <= len(spectrum):
        spectrum = spectrum[:bins]
    else:
        spectrum = np.concatenate([spectrum, np.zeros(bins - len(spectrum))])
    return np.fft.irfft(spectrum, m)[: int(n * target / rate)] * (m / size)


def trim(audio: np.ndarray, decibels: float = -42.0, margin: float = 0.015) -> np.ndarray:
    """Cut leading and trailing parts that stay ``decibels`` below the loudest 10 ms frame."""
    hop = RATE // 100
    frames = len(audio) // hop
    if frames < 5:
        return audio
    level = np.sqrt((audio[: frames * hop].reshape(frames, hop) ** 2).mean(1)) + 1e-9
    loud = np.nonzero(level > level.max() * 10 ** (decibels / 20))[0]
    start = max(0, int(loud[0] * hop - margin * RATE))
    return audio[start : int((loud[-1] + 1) * hop + margin * RATE)]


def _read_wav(path: Path) -> tuple[np.ndarray, int]:
    """A mono 16-bit WAV file (also with the wrong sizes in its header that pipes leave)."""
    data = path.read_bytes()
    rate = int.from_bytes(data[24:28], "little")
    body = data[data.index(b"data") + 8 :]
    return np.frombuffer(body[: len(body) // 2 * 2], "<i2") / 32768.0, rate


class CommandSpeaker:
    """espeak-ng, flite or festival, each a command that writes a WAV file."""

    def __init__(self, folder: Path) -> None:
        """Write the WAV file into ``folder``."""
        self.wav = folder / "speech.wav"

    def __call__(self, text: str, voice: Voice, rate: float) -> tuple[np.ndarray, float]:
        """Speech and its sampling rate in Hz."""
        self.wav.unlink(missing_ok=True)
        given = None
        if voice.engine == "espeak":
            command = ["espeak-ng", "-v", voice.setting, "-s", str(int(165 * rate))]
            command += ["-p", str(voice.pitch), "-w", str(self.wav), text]
        elif voice.engine == "flite":
            command = ["flite", "-voice", voice.setting, "--setf", f"duration_stretch={1 / rate}"]
            command += ["-t", text, "-o", str(self.wav)]
        else:
            command = ["text2wave", "-eval", f"(voice_{voice.setting})"]
            command += ["-eval", f"(Parameter.set 'Duration_Stretch {1 / rate})"]
            command += ["-o", str(self.wav)]
            given = text.encode()
        subprocess.run(command, input=given, check=True, capture_output=True)
        return _read_wav(self.wav)


class KokoroSpeaker:
    """Kokoro (82 million weights, int8, ONNX) fed with English phone symbols."""

    def __init__(self, model: Path, voices: Path, vocabulary: Path) -> None:
        """Load the model, the voice vectors and the symbol table."""
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        providers = ["CPUExecutionProvider"]
        self.session = onnxruntime.InferenceSession(str(model), options, providers=providers)
        self.styles = np.load(voices)
        self.vocabulary = json.loads(vocabulary.read_text(encoding="utf-8"))["vocab"]

    def __call__(self, text: str, voice: Voice, rate: float) -> tuple[np.ndarray, float]:
        """Speech and its sampling rate in Hz (24 kHz)."""
        symbols = kokoro_symbols(text) or ""
        tokens = [self.vocabulary[c] for c in symbols]
        row = min(max(len(tokens), 1), 509)
        if voice.setting:
            style = self.styles[voice.setting][row].reshape(1, 256)
        else:
            parts = [
                w * self.styles[n][row] for w, n in zip(voice.mixture, KOKORO_TRAIN, strict=True)
            ]
            style = sum(parts).reshape(1, 256) + np.array(voice.style).reshape(1, 256)
        feed = {
            "tokens": np.array([[0, *tokens, 0]], np.int64),
            "style": style.astype(np.float32),
            "speed": np.array([rate], np.float32),
        }
        return self.session.run(None, feed)[0].ravel().astype(np.float64), 24_000


class PiperSpeaker:
    """A Piper voice (VITS, ONNX), with espeak-ng's phones."""

    def __init__(self, model: Path) -> None:
        """Load the model and the configuration beside it."""
        import onnxruntime

        self.session = onnxruntime.InferenceSession(str(model), providers=["CPUExecutionProvider"])
        self.config = json.loads(model.with_name(model.name + ".json").read_text(encoding="utf-8"))

    def __call__(self, text: str, voice: Voice, rate: float) -> tuple[np.ndarray, float]:
        """Speech and its sampling rate in Hz."""
        command = ["espeak-ng", "-q", "--ipa", "-v", self.config["espeak"]["voice"], text]
        output = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        symbols = ", ".join(line.strip() for line in output.strip().splitlines())
        table = self.config["phoneme_id_map"]
        ids = [*table["^"], *table["_"]]
        for symbol in symbols:
            if symbol in table:
                ids += [*table[symbol], *table["_"]]
        ids += table["$"]
        scales = np.array([0.667, 1.0 / rate, 0.8], np.float32)
        feed = {
            "input": np.array([ids], np.int64),
            "input_lengths": np.array([len(ids)], np.int64),
            "scales": scales,
        }
        audio = self.session.run(None, feed)[0].ravel().astype(np.float64)
        return audio, self.config["audio"]["sample_rate"]


def make_speaker(arguments: argparse.Namespace, folder: Path) -> Callable:
    """The speaker for the engine that was asked for."""
    if arguments.engine == "kokoro":
        return KokoroSpeaker(*(Path(p) for p in arguments.kokoro))
    if arguments.engine == "piper":
        return PiperSpeaker(Path(arguments.piper))
    return CommandSpeaker(folder)


def work(number: int, arguments: argparse.Namespace) -> tuple[int, float]:
    """Speak in one process; returns the number of utterances and their seconds."""
    begin = time.monotonic()
    seed = arguments.seed * 1000 + number
    r = random.Random(seed)
    generator = TextGenerator(seed, dictionary_words())
    pick = held_out_voices if arguments.held_out else training_voices
    voices = pick(arguments.engine)
    writer, shard, made, seconds = ShardWriter(), 0, 0, 0.0
    last = begin
    with tempfile.TemporaryDirectory() as folder:
        speak = make_speaker(arguments, Path(folder))
        while time.monotonic() - begin < arguments.seconds and made < arguments.count:
            text = generator.text()
            phones = phones_of(text)
            if not phones:
                continue
            voice = voices[made % len(voices)] if arguments.held_out else r.choice(voices)
            rate = r.choice([0.85, 1.0, 1.0, 1.15, 1.3])
            try:
                audio, hertz = speak(text, voice, rate)
            except subprocess.CalledProcessError:
                continue
            audio = resample(audio, hertz * voice.shift)
            if len(audio) < RATE // 10 or not np.abs(audio).max() > 1e-3:
                continue
            audio = trim(audio / np.abs(audio).max() * 0.7)
            if len(audio) > 12 * RATE:
                continue
            kind = "valid" if arguments.held_out else "train"
            line = Utterance(kind, arguments.engine, voice.name, 0, 0, text, phones)
            writer.add((audio * 32767).astype(np.int16), line)
            made, seconds = made + 1, seconds + len(audio) / RATE
            if time.monotonic() - last > SHARD_SECONDS:
                writer.write(Path(arguments.out) / f"{arguments.engine}-{seed}-{shard:03d}")
                writer, shard, last = ShardWriter(), shard + 1, time.monotonic()
    writer.write(Path(arguments.out) / f"{arguments.engine}-{seed}-{shard:03d}")
    return made, seconds


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", required=True)
    parser.add_argument("--engine", required=True)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after this wall time")
    parser.add_argument("--count", type=int, default=10**9, help="utterances of each process")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--held-out", action="store_true")
    parser.add_argument("--kokoro", nargs=3, metavar=("MODEL", "VOICES", "VOCABULARY"))
    parser.add_argument("--piper", help="the ONNX file of the Piper voice")
    arguments = parser.parse_args()
    with multiprocessing.Pool(arguments.processes) as pool:
        task = functools.partial(work, arguments=arguments)
        results = pool.map(task, range(arguments.processes), chunksize=1)
    made, seconds = (sum(column) for column in zip(*results, strict=True))
    print(f"{arguments.engine}: {made} utterances, {seconds / 3600:.2f} h", flush=True)


if __name__ == "__main__":
    main()
