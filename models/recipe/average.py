"""Average checkpoints weight by weight (they must come from one line of training).

python average.py --out acoustic.pt FIRST.pt SECOND.pt ...
"""

from __future__ import annotations

import argparse

import torch


def average(states: list[dict[str, torch.Tensor]]) -> dict[str, torch.Tensor]:
    """The mean of state dicts that have the same names."""
    if any(set(s) != set(states[0]) for s in states):
        raise ValueError("the checkpoints have different weights")
    with torch.no_grad():
        return {n: torch.stack([s[n].float() for s in states]).mean(0) for n in states[0]}


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", required=True)
    parser.add_argument("models", nargs="+")
    a = parser.parse_args()
    torch.save(average([torch.load(m, map_location="cpu") for m in a.models]), a.out)


if __name__ == "__main__":
    main()
