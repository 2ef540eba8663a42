"""How many of the made voices can be told apart, by a speaker recogniser.

    python distinct.py voices.ogg voices.json

Needs the Python package resemblyzer 0.1.4, which holds its weights. ``voices.json`` lists clips of
the sound file: ``voice``, ``start`` and ``length`` in samples. Clips are embedded as 256 numbers.
The threshold is where as many pairs of clips of one voice fall below it as pairs of different
voices above it (equal error rate). Voices are then counted greedily: one more whenever its mean
embedding is less like every counted one than the threshold.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import soundfile
from resemblyzer import VoiceEncoder, normalize_volume


def equal_error(same: np.ndarray, different: np.ndarray) -> tuple[float, float]:
    """Threshold and share of errors where both kinds of error are equally frequent."""
    candidates = np.sort(np.concatenate([same, different[:: max(1, len(different) // 4000)]]))
    gaps = [abs((same < t).mean() - (different >= t).mean()) for t in candidates]
    threshold = float(candidates[int(np.argmin(gaps))])
    return threshold, float((same < threshold).mean())


def clusters(vectors: np.ndarray, threshold: float) -> int:
    """Greedy count of vectors that are all less alike than ``threshold``."""
    kept: list[np.ndarray] = []
    for vector in vectors:
        if all(float(vector @ other) < threshold for other in kept):
            kept.append(vector)
    return len(kept)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sound", type=Path)
    parser.add_argument("lines", type=Path)
    a = parser.parse_args()
    audio, _ = soundfile.read(a.sound, dtype="float32")
    encoder = VoiceEncoder("cpu", verbose=False)
    clips: dict[str, list[np.ndarray]] = {}
    for line in json.loads(a.lines.read_text(encoding="utf-8")):
        part = audio[line["start"] : line["start"] + line["length"]]
        part = normalize_volume(part, -30, increase_only=True)
        clips.setdefault(line["voice"], []).append(encoder.embed_utterance(part))
    pairs = {voice: vectors for voice, vectors in clips.items() if len(vectors) == 2}
    names = sorted(pairs)
    first, second = (np.stack([pairs[n][k] for n in names]) for k in (0, 1))
    same = (first * second).sum(1)
    across = first @ second.T
    different = across[~np.eye(len(names), dtype=bool)]
    threshold, error = equal_error(same, different)
    print(f"{len(names)} voices; same voice {same.mean():.3f}, different {different.mean():.3f}")
    print(f"threshold {threshold:.3f}, equal error {100 * error:.1f} %")
    for kind in ("kokoro", "espeak", "flite", "festival", ""):
        chosen = [n for n in names if n.startswith(kind)]
        means = [(pairs[n][0] + pairs[n][1]) / 2 for n in chosen]
        if means:
            unit = np.stack([m / np.linalg.norm(m) for m in means])
            counts = [clusters(unit, threshold + d) for d in (0.0, -0.05)]
            apart = f"{counts[0]} apart ({counts[1]} at 0.05 less)"
            print(f"{kind or 'all'}: {len(chosen)} voices, {apart}")


if __name__ == "__main__":
    main()
