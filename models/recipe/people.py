"""Turn recordings of people with draft transcripts into aligned shards.

    python people.py --base final.mdl --model acoustic.pt --orders DIR --out DIR

``DIR/transcripts.jsonl`` has ``file``, ``draft_text`` and ``slots_agree``. Names beginning with 0
to 3 are not touched, 4 and 5 become validation, the others training. A file is kept when the CTC
forced alignment of its draft is good; each word gets its first and last sample.
"""

from __future__ import annotations

import argparse
import itertools
import json
from pathlib import Path

import numpy as np
import torch
from corpus import ShardWriter, Utterance, read_audio
from features import HOP, Mfcc
from network import STEP, load_network, read_components
from pronounce import phones_of, words_of
from score import log_probabilities
from speak import trim

FRAME = HOP * STEP  # samples of an output frame


def align(log: np.ndarray, phones: list[int]) -> tuple[list[int], float] | None:
    """Viterbi alignment: first output frame of each phone, and the mean log probability."""
    states = [0]
    for p in phones:
        states += [p, 0]
    size = len(states)
    if len(log) < len(phones):
        return None
    best = np.full(size, -1e30)
    best[0], best[1] = log[0, 0], log[0, states[1]]
    back = np.zeros((len(log), size), np.int64)
    labels = np.array(states)
    no_jump = labels == 0
    no_jump[2:] |= labels[2:] == labels[:-2]
    for t in range(1, len(log)):
        step = np.concatenate([[-1e30], best[:-1]])
        jump = np.concatenate([[-1e30, -1e30], best[:-2]])
        jump[no_jump] = -1e30
        choice = np.stack([best, step, jump])
        back[t] = choice.argmax(0)
        best = choice.max(0) + log[t, labels]
    s = size - 1 if best[-1] > best[-2] else size - 2
    score = best[s] / len(log)
    path = [s]
    for t in range(len(log) - 1, 0, -1):
        s -= back[t, s]
        path.append(s)
    path.reverse()
    return [path.index(2 * k + 1) for k in range(len(phones))], float(score)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--base", required=True)
    parser.add_argument("--model", required=True)
    parser.add_argument("--orders", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--least", type=float, default=-0.45, help="mean log probability a frame")
    a = parser.parse_args()
    network = load_network(read_components(a.base), a.model)
    mfcc, writer, kept = Mfcc(), ShardWriter(), {"train": 0, "valid": 0, "dropped": 0}
    for line in (a.orders / "transcripts.jsonl").read_text().splitlines():
        entry = json.loads(line)
        first, text = entry["file"][0], entry["draft_text"]
        words, phones = words_of(text), phones_of(text)
        if first in "0123" or not phones:
            continue
        audio = trim(read_audio(a.orders / entry["file"]) / 32768.0)
        clip = torch.from_numpy(audio.astype(np.float32) * 32767)
        log = log_probabilities(network, mfcc, [clip])[0].numpy()
        found = align(log, phones)
        least = a.least if entry["slots_agree"] else a.least * 0.6
        if found is None or found[1] < least:
            kept["dropped"] += 1
            continue
        spans, at = [], 0
        for word in words:
            own = phones_of(word) or []
            spans.append([max(0, (found[0][at] - 1) * FRAME), 0, own])
            at += len(own)
        for this, following in itertools.pairwise(spans):
            this[1] = min(len(audio), following[0] + FRAME)
        spans[-1][1] = len(audio)
        kind = "valid" if first in "45" else "train"
        kept[kind] += 1
        u = Utterance(kind, "people", "people", 0, 0, text, phones, spans)
        level = max(1e-3, float(np.abs(audio).max()))
        writer.add((audio / level * 0.7 * 32767).astype(np.int16), u)
    writer.write(a.out / "people-0-000")
    print(kept)


if __name__ == "__main__":
    main()
