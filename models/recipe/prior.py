"""Weaken the outputs that training made likely: scale the priors of a checkpoint.

    python prior.py --base final.mdl --model acoustic.pt --data DIR --out scaled.pt --scale 0.3
    python prior.py --base final.mdl --model acoustic.pt --data DIR --out scaled.pt --blank 1.0

The prior of an output is its mean probability over speech; ``--scale`` times its logarithm is taken
from the output's bias. ``--blank`` takes a constant from the bias of the blank only.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import torch
from corpus import read_shard
from features import Mfcc
from network import load_network, read_components
from score import log_probabilities

CLIPS = 400


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--base", required=True)
    parser.add_argument("--model", required=True)
    parser.add_argument("--data", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--scale", type=float, default=0.0)
    parser.add_argument("--blank", type=float, default=0.0)
    parser.add_argument("--device", default="cpu")
    a = parser.parse_args()
    network = load_network(read_components(a.base), a.model, a.device)
    clips: list[torch.Tensor] = []
    for index in sorted(a.data.glob("*.jsonl")):
        audio, lines = read_shard(index)
        for u in lines[: max(1, CLIPS // 8)]:
            sound = audio[u.start : u.start + u.length].astype(np.float32)
            clips.append(torch.from_numpy(sound))
        if len(clips) >= CLIPS:
            break
    logs = torch.cat(log_probabilities(network, Mfcc(a.device), clips))
    prior = logs.exp().mean(0).clamp(min=1e-5)
    with torch.no_grad():
        change = a.scale * prior.log()
        change[0] += a.blank
        network.out.bias -= change.to(network.out.bias.device)
    torch.save(network.state_dict(), a.out)
    print("blank prior", round(float(prior[0]), 3))


if __name__ == "__main__":
    main()
