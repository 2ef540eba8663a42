"""Read the weights of a model folder written by ``export.py``, to go on training from them.

    python shipped.py --base final.mdl --model ../counting-en/am/final.mdl --out start.pt

The folder holds 16 bits a weight; what is lost of the checkpoint is below a ten-thousandth of each
matrix's span. The state dict is that of ``network.Network``.
"""

from __future__ import annotations

import argparse
import re
import struct
from pathlib import Path

import numpy as np
import torch
from network import LAYERS, Network, read_components

_NAMES = {
    "lda": ("ldaW", "ldab"),
    "tdnn1.affine": ("a1", "b1"),
    "prefinal.narrow": ("pl", ""),
    "prefinal.affine": ("pa", "pb"),
    "prefinal.linear": ("plin", ""),
    "output.affine": ("out.weight", "out.bias"),
}
_NORMS = {"tdnn1": "bn1", "prefinal": "pbn1"}


def _matrix(data: bytes, at: int) -> tuple[np.ndarray, int]:
    low, span, rows, columns = struct.unpack_from("<ffii", data, at)
    steps = np.frombuffer(data, "<u2", rows * columns, at + 16).reshape(rows, columns)
    return low + steps.astype(np.float32) * (span / 65535), at + 16 + 2 * rows * columns


def _vector(data: bytes, at: int) -> np.ndarray:
    at = data.index(b"FV ", at) + 3
    return np.frombuffer(data, "<f4", struct.unpack_from("<i", data, at + 1)[0], at + 5)


def _targets(name: str) -> tuple[str, str]:
    """Names in the state dict of a component's matrix and of its vector; empty for none."""
    if name in _NAMES:
        return _NAMES[name]
    if layer := re.fullmatch(r"tdnnf(\d+)\.(linear|affine)", name):
        index = int(layer[1]) - 2
        return (f"L.{index}.W", "") if layer[2] == "linear" else (f"A.{index}.W", f"A.{index}.b")
    part, _, last = name.partition(".")
    norm = _NORMS.get(part) or f"B.{int(part.removeprefix('tdnnf')) - 2}"
    ends = {"scale": f"{norm}.sc", "norm": f"{norm}.of", "scale2": "pbn2.sc", "norm2": "pbn2.of"}
    return "", ends[last]


def read_weights(path: Path) -> dict[str, torch.Tensor]:
    """State dict of the network in ``path`` (``final.mdl`` as ``export.py`` writes it)."""
    data = path.read_bytes()
    out: dict[str, torch.Tensor] = {}
    for found in re.finditer(rb"<ComponentName> ([\w.\-]+) <(Fixed\w+)> ", data):
        first, second = _targets(found[1].decode())
        at = found.end()
        if found[2] == b"FixedAffineComponent":
            weights, at = _matrix(data, data.index(b"CM2 ", at) + 4)
            out[first] = torch.from_numpy(weights)
        if second:
            out[second] = torch.from_numpy(_vector(data, at).copy())
    return out


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--base", required=True)
    parser.add_argument("--model", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    a = parser.parse_args()
    state = read_weights(a.model)
    components = read_components(a.base)
    extra = sum(name.startswith("L.") for name in state) - LAYERS
    widen = len(state["L.0.W"]) - len(components["tdnnf2.linear"]["W"])
    network = Network(components, extra, widen)
    network.load_state_dict(state)
    torch.save(network.state_dict(), a.out)
    print(len(state), "tensors,", sum(v.numel() for v in state.values()), "weights")


if __name__ == "__main__":
    main()
