"""Make speech with the synthesisers and write it as shards.

    python speak.py --out DIR --engine kokoro --seconds 500 --kokoro MODEL VOICES VOCABULARY
    python speak.py --out DIR --engine kokoro --seconds 240 --kokoro ... --device cuda --processes 8
    python speak.py --out DIR --engine espeak --processes 4 --count 4000
    python speak.py --out DIR --engine festival --held-out --seed 900 --count 90

With ``--held-out`` the held-out voices speak held-out texts (``texts.scored_text``), and the shards
are marked for validation; otherwise held-out texts are skipped. espeak-ng, flite and festival are
called as commands; Kokoro and Piper run through onnxruntime.
With ``--device`` Kokoro runs on that PyTorch device instead (``kokoro.py``), many utterances at a
time and far faster on a GPU.
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
from texts import TextGenerator, held_out_text, scored_text
from voices import KOKORO_TRAIN, Voice, held_out_voices, training_voices

SHARD_SECONDS = 45.0
POOL = 256  # utterances that a GPU is given together


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


def trim_edges(
    audio: np.ndarray, decibels: float = -42.0, margin: float = 0.015
) -> tuple[int, int]:
    """First and last sample without the leading and trailing parts that stay ``decibels`` below
    the loudest 10 ms frame; ``margin`` seconds of them are kept.
    """
    hop = RATE // 100
    frames = len(audio) // hop
    if frames < 5:
        return 0, len(audio)
    level = np.sqrt((audio[: frames * hop].reshape(frames, hop) ** 2).mean(1)) + 1e-9
    loud = np.nonzero(level > level.max() * 10 ** (decibels / 20))[0]
    start = max(0, int(loud[0] * hop - margin * RATE))
    return start, min(len(audio), int((loud[-1] + 1) * hop + margin * RATE))


def trim(audio: np.ndarray, decibels: float = -42.0, margin: float = 0.015) -> np.ndarray:
    """``audio`` between its :func:`trim_edges`."""
    first, last = trim_edges(audio, decibels, margin)
    return audio[first:last]


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

    def __init__(self, model: Path, voices: Path, vocabulary: Path, device: str | None) -> None:
        """Load the model (for onnxruntime when ``device`` is None), the voice vectors and the
        symbol table.
        """
        self.styles = dict(np.load(voices))
        self.vocabulary = json.loads(vocabulary.read_text(encoding="utf-8"))["vocab"]
        self.torch_model = None
        if device is None:
            import onnxruntime

            options = onnxruntime.SessionOptions()
            options.intra_op_num_threads = options.inter_op_num_threads = 1
            providers = ["CPUExecutionProvider"]
            self.session = onnxruntime.InferenceSession(str(model), options, providers=providers)
        else:
            import torch
            from kokoro import Kokoro

            torch.set_num_threads(1)
            torch.set_float32_matmul_precision("high")  # more exact than the 8-bit original
            self.torch_model = Kokoro(model, device)

    def _prepare(self, text: str, voice: Voice) -> tuple[list[int], np.ndarray]:
        """Tokens (a 0 at both ends) and style (float32, 256)."""
        tokens = [self.vocabulary[c] for c in kokoro_symbols(text) or ""]
        row = min(max(len(tokens), 1), len(self.styles[KOKORO_TRAIN[0]]) - 1)
        if voice.setting:
            style = self.styles[voice.setting][row].ravel()
        else:
            weights = zip(voice.mixture, KOKORO_TRAIN, strict=True)
            style = sum(w * self.styles[name][row].ravel() for w, name in weights if w)
            style = style + np.array(voice.style)
        return [0, *tokens, 0], style.astype(np.float32)

    def __call__(self, text: str, voice: Voice, rate: float) -> tuple[np.ndarray, float]:
        """Speech and its sampling rate in Hz (24 kHz)."""
        if self.torch_model is not None:
            return self.many([(text, voice, rate)])[0]
        tokens, style = self._prepare(text, voice)
        feed = {
            "tokens": np.array([tokens], np.int64),
            "style": style[None],
            "speed": np.array([rate], np.float32),
        }
        return self.session.run(None, feed)[0].ravel().astype(np.float64), 24_000

    def many(self, wanted: list[tuple[str, Voice, float]]) -> list[tuple[np.ndarray, float]]:
        """Speech and sampling rate for each text, voice and rate, with ``--device`` together."""
        if self.torch_model is None:
            return [self(*w) for w in wanted]
        from kokoro import RATE as HERTZ
        from kokoro import Request

        requests = [Request(*self._prepare(text, voice), rate) for text, voice, rate in wanted]
        return [(audio.astype(np.float64), HERTZ) for audio, _ in self.torch_model(requests)]


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
        return KokoroSpeaker(*(Path(p) for p in arguments.kokoro), arguments.device)
    if arguments.engine == "piper":
        return PiperSpeaker(Path(arguments.piper))
    return CommandSpeaker(folder)


def speak_all(
    speak: Callable, wanted: list[tuple[str, Voice, float]]
) -> list[tuple[np.ndarray, float]]:
    """Speech and sampling rate in Hz for each text, voice and rate."""
    if isinstance(speak, KokoroSpeaker):
        return speak.many(wanted)
    return [speak(*w) for w in wanted]


def spoken(text: str) -> bool:
    """Whether training may speak ``text``."""
    return not held_out_text(text)


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
        pool = POOL if arguments.device else 1
        while time.monotonic() - begin < arguments.seconds and made < arguments.count:
            wanted: list[tuple[str, Voice, float]] = []
            while len(wanted) < min(pool, arguments.count - made):
                text = generator.text()
                allowed = scored_text(text) if arguments.held_out else spoken(text)
                if not phones_of(text) or not allowed:
                    continue
                turn = (made + len(wanted)) % len(voices)
                voice = voices[turn] if arguments.held_out else r.choice(voices)
                wanted.append((text, voice, r.uniform(0.75, 1.35)))
            try:
                sounds = speak_all(speak, wanted)
            except subprocess.CalledProcessError:
                continue
            for (text, voice, _), (audio, hertz) in zip(wanted, sounds, strict=True):
                audio = resample(audio, hertz * voice.shift)
                if len(audio) < RATE // 10 or not np.abs(audio).max() > 1e-3:
                    continue
                audio = trim(audio / np.abs(audio).max() * 0.7)
                if len(audio) > 12 * RATE:
                    continue
                kind = "valid" if arguments.held_out else "train"
                line = Utterance(kind, arguments.engine, voice.name, 0, 0, text, phones_of(text))
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
    parser.add_argument("--device", help="run Kokoro on this PyTorch device, such as cuda")
    parser.add_argument("--piper", help="the ONNX file of the Piper voice")
    arguments = parser.parse_args()
    with multiprocessing.Pool(arguments.processes) as pool:
        task = functools.partial(work, arguments=arguments)
        results = pool.map(task, range(arguments.processes), chunksize=1)
    made, seconds = (sum(column) for column in zip(*results, strict=True))
    print(f"{arguments.engine}: {made} utterances, {seconds / 3600:.2f} h", flush=True)


if __name__ == "__main__":
    main()
