"""Score a checkpoint: phone error rates and single words of held-out voices and people.

    python score.py --base final.mdl --model acoustic.pt --valid DIR --digits DIR

Single words (``isolated.py``) are told apart by their total CTC likelihood among the words of
their group. Digits are told apart in the same way among ten; recordings are files named
``DIGIT_PERSON_NUMBER.flac``. They are only looked at here, never trained on.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
import torch
import torch.nn.functional as F
from corpus import Utterance, read_audio, read_shard
from features import Mfcc, frame_count
from network import STEP, Network, load_network, read_components
from pronounce import PHONE_INDEX, phones_of

DIGIT_PHONES = [
    ["Z IH R OW", "Z IY R OW"], ["W AH N"], ["T UW"], ["TH R IY"], ["F AO R"], ["F AY V"],
    ["S IH K S"], ["S EH V AH N"], ["EY T"], ["N AY N"],
]  # fmt: skip


def edit_distance(found: list[int], wanted: list[int]) -> int:
    """Insertions, deletions and substitutions between two sequences."""
    row = list(range(len(wanted) + 1))
    for i, a in enumerate(found):
        previous, row = row, [i + 1]
        for j, b in enumerate(wanted):
            row.append(min(previous[j] + (a != b), previous[j + 1] + 1, row[j] + 1))
    return row[-1]


@torch.no_grad()
def log_probabilities(
    network: Network, mfcc: Mfcc, clips: list[torch.Tensor], dither: float = 1.0
) -> list[torch.Tensor]:
    """Log probabilities [frames, outputs] of each clip (float, int16 range), in batches."""
    device = next(network.parameters()).device
    order = sorted(range(len(clips)), key=lambda i: len(clips[i]))
    out: list[torch.Tensor] = [torch.empty(0)] * len(clips)
    for k in range(0, len(order), 32):
        part = order[k : k + 32]
        samples = torch.tensor([max(len(clips[i]), 400) for i in part], device=device)
        audio = torch.zeros(len(part), int(samples.max()), device=device)
        for row, i in enumerate(part):
            audio[row, : len(clips[i])] = clips[i].to(device)
        x = mfcc(audio, dither)
        frames = frame_count(samples)
        last = torch.minimum(torch.arange(x.shape[1], device=device), frames[:, None] - 1)
        x = torch.gather(x, 1, last[..., None].expand(-1, -1, x.shape[2]))
        log = network(x).log_softmax(-1).cpu()
        for row, i in enumerate(part):
            out[i] = log[row, : (int(frames[row]) + STEP - 1) // STEP]
    return out


def _narrow(audio: torch.Tensor) -> torch.Tensor:
    """Nothing above 4 kHz, as after 8 kHz sampling."""
    spectrum = torch.fft.rfft(audio)
    spectrum[len(spectrum) // 2 :] = 0
    return torch.fft.irfft(spectrum, len(audio))


def _noisy(audio: torch.Tensor, decibels: float, seed: int, slope: float = 0.5) -> torch.Tensor:
    """Broadband noise (0.5: -3 dB an octave, 0: white) at this signal-to-noise ratio."""
    g = torch.Generator().manual_seed(seed)
    spectrum = torch.fft.rfft(torch.randn(len(audio), generator=g))
    noise = torch.fft.irfft(spectrum / torch.arange(1, len(spectrum) + 1) ** slope, len(audio))
    return audio + noise / noise.std() * audio.std() * 10 ** (-decibels / 20)


def phone_errors(
    network: Network, mfcc: Mfcc, audio: np.ndarray, lines: list[Utterance], limit: int
) -> dict[str, float]:
    """Phone error rate (percent) by voice: clean, 10 dB noise (``+n``), 8 kHz (``+8k``)."""
    chosen: dict[str, list[Utterance]] = {}
    for u in lines:
        if u.set == "valid" and len(chosen.setdefault(u.voice, [])) < limit:
            chosen[u.voice].append(u)
    out: dict[str, float] = {}
    for voice, part in chosen.items():
        clips = [
            torch.from_numpy(audio[u.start : u.start + u.length].astype(np.float32)) for u in part
        ]
        clips = [F.pad(c, (1600, 1600)) for c in clips]
        variants = {
            "": clips,
            "+n": [_noisy(c, 10, k) for k, c in enumerate(clips)],
            "+8k": [_narrow(c) for c in clips],
        }
        for mark, sounds in variants.items():
            wrong = total = 0
            for u, log in zip(part, log_probabilities(network, mfcc, sounds), strict=True):
                best = torch.unique_consecutive(log.argmax(-1)).tolist()
                wrong += edit_distance([p for p in best if p], u.phones)
                total += len(u.phones)
            out[voice + mark] = round(100 * wrong / max(1, total), 1)
    return out


def likelihoods(logs: list[torch.Tensor], words: list[list[int]]) -> np.ndarray:
    """Total CTC log likelihood of each word (phones) for each clip: [clips, words]."""
    longest = max(len(log) for log in logs)
    flat = torch.tensor([p for word in words for p in word])
    sizes = torch.tensor([len(word) for word in words])
    out = np.empty((len(logs), len(words)), np.float32)
    for k, log in enumerate(logs):
        padded = F.pad(log, (0, 0, 0, longest - len(log)))
        spread = padded[:, None].expand(-1, len(words), -1)
        lengths = torch.full((len(words),), len(log))
        out[k] = -F.ctc_loss(spread, flat, lengths, sizes, reduction="none").numpy()
    return out


def word_hits(
    network: Network, mfcc: Mfcc, audio: np.ndarray, lines: list[Utterance]
) -> dict[str, float]:
    """Percent of single words told apart in their group: 8 kHz (``+8k``), with hiss (``+8kn``)."""
    groups: dict[str, list[Utterance]] = {}
    for u in lines:
        if u.set == "word":
            groups.setdefault(u.voice, []).append(u)
    out: dict[str, float] = {}
    for group, part in groups.items():
        texts = sorted({u.text for u in part})
        words = [(text, phones_of(text) or []) for text in texts]
        if "zero" in texts:
            words.append(("zero", [PHONE_INDEX[p] for p in "Z IH R OW".split()]))
        clips = [
            torch.from_numpy(audio[u.start : u.start + u.length].astype(np.float32)) for u in part
        ]
        narrow = [_narrow(c) for c in clips]
        hissing = [_noisy(c, 20, k, slope=0) for k, c in enumerate(narrow)]
        for mark, sounds in (("+8k", narrow), ("+8kn", hissing)):
            logs = log_probabilities(network, mfcc, sounds)
            best = likelihoods(logs, [w for _, w in words]).argmax(1)
            hits = [words[b][0] == u.text for b, u in zip(best, part, strict=True)]
            out[group + mark] = round(100 * float(np.mean(hits)), 1)
    return out


def digits(network: Network, mfcc: Mfcc, folder: Path) -> dict[str, float]:
    """Percent of single digits that are right, for each person and the mean of the persons."""
    files = sorted(folder.glob("*.flac"))
    clips = [torch.from_numpy(read_audio(f).astype(np.float32)) for f in files]
    hits: dict[str, list[int]] = {}
    pairs: dict[str, int] = {}
    entries = [(k, text) for k, texts in enumerate(DIGIT_PHONES) for text in texts]
    words = [[PHONE_INDEX[p] for p in text.split()] for _, text in entries]
    best = likelihoods(log_probabilities(network, mfcc, clips), words).argmax(1)
    for path, entry in zip(files, best, strict=True):
        digit, person, _ = path.stem.split("_")
        found = entries[entry][0]
        hits.setdefault(person, []).append(int(found == int(digit)))
        if found != int(digit):
            pairs[f"{digit}>{found}"] = pairs.get(f"{digit}>{found}", 0) + 1
    out = {person: round(100 * float(np.mean(h)), 1) for person, h in hits.items()}
    out["mean"] = round(float(np.mean(list(out.values()))), 2)
    print("digit confusions", sorted(pairs.items(), key=lambda kv: -kv[1])[:12])
    return out


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--base", required=True)
    parser.add_argument("--model", required=True, nargs="+")
    parser.add_argument("--valid", type=Path)
    parser.add_argument("--digits", type=Path)
    parser.add_argument("--device", default="cpu")
    a = parser.parse_args()
    mfcc = Mfcc(a.device)
    for model in a.model:
        network = load_network(read_components(a.base), model, a.device)
        result: dict[str, float] = {}
        for index in sorted(a.valid.glob("*.jsonl")) if a.valid else []:
            audio, lines = read_shard(index)
            result |= phone_errors(network, mfcc, audio, lines, 10**6)
            result |= word_hits(network, mfcc, audio, lines)
        print(model, json.dumps(result), flush=True)
        if a.digits:
            print(model, "digits", json.dumps(digits(network, mfcc, a.digits)), flush=True)


if __name__ == "__main__":
    main()
