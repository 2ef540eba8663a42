"""The acoustic network: a 15-layer factored TDNN whose lower weights come from a Kaldi model.

``read_components`` reads the components of a binary nnet3 ``final.mdl``. ``Network`` is the same
network in PyTorch without the i-vector input and with a new output layer (CTC blank and 39 phones).
The batch norms are kept as a scale and an offset a channel (``bnX.sc``, ``bnX.of``), which start
at the stored statistics and are trained like other weights.
"""

from __future__ import annotations

import re
import struct
from pathlib import Path
from typing import Any

import numpy as np
import torch
import torch.nn.functional as F
from torch import nn

LEFT = RIGHT = 34  # frames of context of the whole network
PAD = 36  # context rounded up to whole output steps
STEP = 3  # input frames for each output frame
BYPASS = 0.66  # scale of the residual connection
OUTPUTS = 40
LAYERS = 14  # factored layers of the starting network


class _Reader:
    """Reads Kaldi's binary tokens, numbers, vectors and matrices."""

    def __init__(self, data: bytes, position: int) -> None:
        """Read ``data`` from ``position``."""
        self.data, self.position = data, position

    def seek(self, token: str) -> None:
        """Go behind the next ``token``."""
        mark = token.encode() + b" "
        self.position = self.data.index(mark, self.position) + len(mark)

    def _scalar(self, code: str) -> Any:
        if self.data[self.position] != 4:
            raise ValueError("a four-byte number was expected")
        (value,) = struct.unpack_from("<" + code, self.data, self.position + 1)
        self.position += 5
        return value

    def real(self) -> float:
        """A float32."""
        return self._scalar("f")

    def offsets(self) -> list[int]:
        """A vector of int32."""
        count = self._scalar("i")
        values = list(struct.unpack_from(f"<{count}i", self.data, self.position))
        self.position += 4 * count
        return values

    def array(self) -> np.ndarray:
        """A float matrix (FM) or vector (FV)."""
        end = self.data.index(b" ", self.position)
        kind, self.position = self.data[self.position : end], end + 1
        if kind not in (b"FM", b"FV"):
            raise ValueError(f"unknown array type {kind!r}")
        shape = [self._scalar("i") for _ in range(2 if kind == b"FM" else 1)]
        count = int(np.prod(shape))
        values = np.frombuffer(self.data, "<f4", count, self.position).reshape(shape)
        self.position += 4 * count
        return values.copy()


def read_components(path: Path | str) -> dict[str, dict[str, Any]]:
    """Weights of each nnet3 component of a binary Kaldi model, by component name.

    Affine and TDNN components have ``W`` and ``b`` (TDNN also ``off``, time offsets in frames),
    linear ones ``W``; batch norms ``mean``, ``var``, ``eps`` and ``rms``.
    """
    data = Path(path).read_bytes()
    components: dict[str, dict[str, Any]] = {}
    for match in re.finditer(rb"<ComponentName> ([\w.\-]+) <(\w+)> ", data):
        name, kind = match.group(1).decode(), match.group(2).decode()
        reader, entry = _Reader(data, match.end()), {"type": kind}
        if kind in ("FixedAffineComponent", "NaturalGradientAffineComponent"):
            reader.seek("<LinearParams>")
            entry["W"] = reader.array()
            reader.seek("<BiasParams>")
            entry["b"] = reader.array()
        elif kind == "TdnnComponent":
            reader.seek("<TimeOffsets>")
            entry["off"] = reader.offsets()
            reader.seek("<LinearParams>")
            entry["W"] = reader.array()
            reader.seek("<BiasParams>")
            entry["b"] = reader.array()
        elif kind == "LinearComponent":
            reader.seek("<Params>")
            entry["W"] = reader.array()
        elif kind == "BatchNormComponent":
            for key, token in (("eps", "<Epsilon>"), ("rms", "<TargetRms>")):
                reader.seek(token)
                entry[key] = reader.real()
            for key, token in (("mean", "<StatsMean>"), ("var", "<StatsVar>")):
                reader.seek(token)
                entry[key] = reader.array()
        components[name] = entry
    return components


def _replicate(x: torch.Tensor, left: int, right: int) -> torch.Tensor:
    """Repeat the first and last frame of ``x`` [batch, frames, channels]."""
    parts = [x[:, :1].expand(-1, left, -1), x, x[:, -1:].expand(-1, right, -1)]
    return torch.cat(parts, 1)


class Norm(nn.Module):
    """A batch norm folded to scale ``sc`` and offset ``of``."""

    def __init__(self, entry: dict[str, Any]) -> None:
        """Fold the stored statistics."""
        super().__init__()
        scale = entry["rms"] / np.sqrt(entry["var"] + entry["eps"])
        self.sc = nn.Parameter(torch.tensor(scale.astype(np.float32)))
        self.of = nn.Parameter(torch.tensor((-entry["mean"] * scale).astype(np.float32)))

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """Scale and shift."""
        return x * self.sc + self.of


class Tdnn(nn.Module):
    """An affine map of a few frames spliced together."""

    def __init__(self, entry: dict[str, Any], step: int) -> None:
        """Take weights and offsets from ``entry``; ``step`` frames are one step here."""
        super().__init__()
        self.offsets = [o // step for o in entry["off"]]
        self.W = nn.Parameter(torch.tensor(entry["W"]))
        self.b = nn.Parameter(torch.tensor(entry["b"])) if entry["b"].size else None

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """Same number of frames out as in."""
        frames = x.shape[1]
        low, high = min(0, *self.offsets), max(0, *self.offsets)
        y = _replicate(x, -low, high) if low or high else x
        parts = [y[:, o - low : o - low + frames] for o in self.offsets]
        return F.linear(torch.cat(parts, -1) if len(parts) > 1 else parts[0], self.W, self.b)


def _widened(
    narrow: dict[str, Any], wide: dict[str, Any], more: int, seed: int
) -> tuple[dict[str, Any], dict[str, Any]]:
    """A factored layer with ``more`` random bottleneck channels that nothing reads yet."""
    g = np.random.default_rng(seed)
    size, inputs = narrow["W"].shape
    rows = g.standard_normal((more, inputs), np.float32) * narrow["W"].std()
    parts = np.split(wide["W"], wide["W"].shape[1] // size, axis=1)
    unread = np.zeros((wide["W"].shape[0], more), np.float32)
    columns = np.concatenate([half for part in parts for half in (part, unread)], 1)
    return narrow | {"W": np.concatenate([narrow["W"], rows])}, wide | {"W": columns}


class Network(nn.Module):
    """MFCC [batch, frames, 40] to phone scores [batch, ceil(frames / 3), 40]."""

    def __init__(
        self, components: dict[str, dict[str, Any]], extra: int = 0, widen: int = 0
    ) -> None:
        """Build the network from :func:`read_components`.

        ``extra`` layers on top look three frames back and on like the last ones; ``widen`` more
        channels go through the bottleneck of every factored layer. Both start without effect.
        """
        super().__init__()
        c = components
        self.extra, self.pad = extra, PAD + STEP * extra

        def weight(name: str, key: str = "W") -> nn.Parameter:
            return nn.Parameter(torch.tensor(c[name][key]))

        # The LDA-like first map took three frames and an i-vector; the i-vector part is dropped.
        lda = torch.tensor(c["lda"]["W"][:, :120].copy())
        self.ldaW = nn.Parameter(lda, requires_grad=False)
        self.ldab = nn.Parameter(torch.tensor(c["lda"]["b"]), requires_grad=False)
        self.a1, self.b1 = weight("tdnn1.affine"), weight("tdnn1.affine", "b")
        self.bn1 = Norm(c["tdnn1.batchnorm"])
        self.L, self.A, self.B = nn.ModuleList(), nn.ModuleList(), nn.ModuleList()
        for layer in range(2, 16):
            step = 1 if layer <= 5 else STEP
            narrow, wide = c[f"tdnnf{layer}.linear"], c[f"tdnnf{layer}.affine"]
            if widen:
                narrow, wide = _widened(narrow, wide, widen, layer)
            self.L.append(Tdnn(narrow, step))
            self.A.append(Tdnn(wide, step))
            self.B.append(Norm(c[f"tdnnf{layer}.batchnorm"]))
        generator = np.random.default_rng(15)
        for _ in range(extra):
            for modules, like in ((self.L, narrow), (self.A, wide)):
                deviation = np.float32(1 / np.sqrt(like["W"].shape[1]))
                weights = generator.standard_normal(like["W"].shape, np.float32) * deviation
                bias = np.zeros(len(like["b"]), np.float32)
                modules.append(Tdnn({"off": like["off"], "W": weights, "b": bias}, STEP))
            size = wide["W"].shape[0]
            one = {"rms": 0.0, "var": np.ones(size), "eps": 0.0, "mean": np.zeros(size)}
            self.B.append(Norm(one))
        self.pl = weight("prefinal-l")
        self.pa, self.pb = weight("prefinal-chain.affine"), weight("prefinal-chain.affine", "b")
        self.pbn1 = Norm(c["prefinal-chain.batchnorm1"])
        self.plin = weight("prefinal-chain.linear")
        self.pbn2 = Norm(c["prefinal-chain.batchnorm2"])
        self.out = nn.Linear(self.plin.shape[0], OUTPUTS)
        self.dropout = 0.0

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        """Scores before the softmax.

        The input is extended by repeating its first and last frame, as Kaldi does, so that frames
        at the edges of a short utterance see exactly what they will see in use.
        """
        frames = x.shape[1]
        y = _replicate(x, self.pad, self.pad)
        y = F.pad(y, (0, 0, 1, 1))
        total = y.shape[1] - 2
        y = torch.cat([y[:, k : k + total] for k in range(3)], -1)
        y = F.linear(y, self.ldaW, self.ldab)
        y = self.bn1(F.relu(F.linear(y, self.a1, self.b1)))
        for k, (linear, affine, norm) in enumerate(zip(self.L, self.A, self.B, strict=True)):
            if k == 4:
                y = y[:, ::STEP]
            h = norm(F.relu(affine(linear(y))))
            kept = BYPASS if k < LAYERS else 1.0
            y = kept * y + F.dropout(h, self.dropout, self.training)
        y = y[:, self.pad // STEP : self.pad // STEP + (frames + STEP - 1) // STEP]
        y = F.linear(y, self.pl)
        y = self.pbn1(F.relu(F.linear(y, self.pa, self.pb)))
        return self.out(self.pbn2(F.linear(y, self.plin)))


def load_network(
    components: dict[str, dict[str, Any]], checkpoint: Path | str, device: str = "cpu"
) -> Network:
    """The network of a state dict written by ``train.py``, ready to score."""
    state = torch.load(checkpoint, map_location=device, weights_only=True)
    extra = sum(name.startswith("L.") and name.endswith(".W") for name in state) - LAYERS
    widen = len(state["L.0.W"]) - len(components["tdnnf2.linear"]["W"])
    network = Network(components, extra, widen).to(device).eval()
    network.load_state_dict(state)
    return network
