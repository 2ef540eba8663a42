"""Many Kokoro voices on a graphics card, with the time of every phone.

    python crowd.py --out DIR --seconds 240 --seed 11 --device cuda --kokoro MODEL STYLES VOCABULARY

Speaks many texts at once (``kokoro.py``) and writes shards like ``speak.py``. The synthesiser
tells how long each symbol lasts, so every word and phone of these shards has its times. A quarter
of the utterances have a foreign or regional accent (``pronounce.ACCENTS``).
"""

from __future__ import annotations

import argparse
import json
import random
import time
from pathlib import Path

import numpy as np
import torch
from corpus import RATE, ShardWriter, Utterance
from kokoro import FRAME, Kokoro, Request
from kokoro import RATE as KOKORO_RATE
from pronounce import dictionary_words, draw_accent, kokoro_units, phones_of
from speak import resample, spoken, trim_edges
from texts import TextGenerator
from voices import KOKORO_ENGLISH, KOKORO_TRAIN, Voice, training_voices

ACCENT_SHARE = 0.25
SHARD_SECONDS = 20.0
LONGEST = 150  # symbols

Unit = tuple[str, int]


def style_of(voice: Voice, styles: dict[str, np.ndarray], symbols: int) -> np.ndarray:
    """The 256 numbers that ``voice`` has for a text of so many symbols."""
    row = min(max(symbols, 1), len(next(iter(styles.values()))) - 1)
    chosen = [(w, styles[n][row]) for w, n in zip(voice.mixture, KOKORO_TRAIN, strict=True) if w]
    mixed = sum(w * vector.astype(np.float32) for w, vector in chosen)
    return (mixed + np.array(voice.style, np.float32)).astype(np.float32)


def edges(units: list[Unit], durations: list[int], scale: float) -> list[list[int]]:
    """First and last sample (at ``RATE``) of each unit; ``durations`` are frames, one a symbol
    with one more at both ends, and ``scale`` is samples at ``RATE`` a frame.
    """
    ends = np.cumsum(durations) * scale
    out, at = [], 0
    for symbols, _ in units:
        out.append([int(ends[at]), int(ends[at + len(symbols)])])
        at += len(symbols)
    return out


def line_of(
    audio: np.ndarray, units: list[Unit], spans: list[list[int]], text: str, voice: str
) -> tuple[np.ndarray, Utterance]:
    """Trimmed audio (int16) and its line, with the times of words and phones."""
    first, last = trim_edges(audio)
    length = last - first
    moved = [[min(max(edge - first, 0), length) for edge in span] for span in spans]
    times, words, word = [], [], []
    for (_, phone), span in zip([*units, (" ", 0)], [*moved, [length, length]], strict=True):
        if phone:
            times.append(span)
            word.append((phone, span))
        elif word:
            words.append([word[0][1][0], word[-1][1][1], [p for p, _ in word]])
            word = []
    phones = [phone for _, phone in units if phone]
    line = Utterance("train", "kokoro", voice, 0, 0, text, phones, words, times)
    return (audio[first:last] * 32767).astype(np.int16), line


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--kokoro", nargs=3, required=True)
    parser.add_argument("--device", default="cuda")
    parser.add_argument("--seconds", type=float, default=1e9)
    parser.add_argument("--lots", type=int, default=10**9)
    parser.add_argument("--lot", type=int, default=384, help="utterances at once")
    parser.add_argument("--seed", type=int, default=1)
    a = parser.parse_args()
    begin = last = time.monotonic()
    r = random.Random(a.seed)
    generator = TextGenerator(a.seed, dictionary_words())
    torch.set_num_threads(1)
    torch.set_float32_matmul_precision("high")
    synthesiser = Kokoro(Path(a.kokoro[0]), a.device)
    styles = dict(np.load(a.kokoro[1]))
    vocabulary = json.loads(Path(a.kokoro[2]).read_text(encoding="utf-8"))["vocab"]
    voices = training_voices("kokoro")
    # The English voices as they are come three times as often as any other.
    odds = [3.0 if k < len(KOKORO_ENGLISH) else 1.0 for k in range(len(voices))]
    print(f"loaded in {time.monotonic() - begin:.0f} s", flush=True)
    writer, shard, made, seconds, lots = ShardWriter(), 0, 0, 0.0, 0
    while time.monotonic() - begin < a.seconds and lots < a.lots:
        lots += 1
        chosen: list[tuple[str, Voice, list[Unit]]] = []
        requests = []
        while len(requests) < a.lot:
            text = generator.text()
            accent = draw_accent(r) if r.random() < ACCENT_SHARE else None
            units = kokoro_units(text, accent, r.random() < 0.5)
            symbols = "".join(s for s, _ in units)
            if not phones_of(text) or not spoken(text) or not 0 < len(symbols) < LONGEST:
                continue
            voice = r.choices(voices, odds)[0]
            tokens = [0, *(vocabulary[c] for c in symbols), 0]
            rate = r.uniform(0.75, 1.35)
            requests.append(Request(tokens, style_of(voice, styles, len(symbols)), rate))
            chosen.append((text, voice, units))
        for (text, voice, units), (audio, durations) in zip(
            chosen, synthesiser(requests), strict=True
        ):
            audio = resample(audio.astype(np.float64), KOKORO_RATE * voice.shift)
            loudest = np.abs(audio).max() if len(audio) > RATE // 10 else 0.0
            if not 1e-3 < loudest < 1e3:
                continue
            scale = FRAME * RATE / (KOKORO_RATE * voice.shift)
            spans = edges(units, durations, scale)
            sound, line = line_of(audio / loudest * 0.7, units, spans, text, voice.name)
            writer.add(sound, line)
            made, seconds = made + 1, seconds + len(sound) / RATE
        if time.monotonic() - last > SHARD_SECONDS:
            writer.write(a.out / f"kokoro-{a.seed}-{shard:03d}")
            writer, shard, last = ShardWriter(), shard + 1, time.monotonic()
    writer.write(a.out / f"kokoro-{a.seed}-{shard:03d}")
    print(f"kokoro {a.seed}: {made} utterances, {seconds / 3600:.2f} h", flush=True)


if __name__ == "__main__":
    main()
