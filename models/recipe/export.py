"""Writes a trained network as a Vosk model folder.

    python models/recipe/export.py acoustic.pt models/counting-en

Writes ``am/final.mdl`` (transition model and nnet3 network, Kaldi's binary format), ``conf/`` and
``SHA256SUMS``. Weight matrices are stored in Kaldi's two-byte compressed form, which its reader
expands when it loads them. The decoding graph is not part of the folder: the program compiles it
from the kit. Needs torch, and countersign itself for the numbering of phones and states.
"""

from __future__ import annotations

import argparse
import hashlib
import math
import struct
from pathlib import Path

import numpy as np
import torch
from numpy.typing import NDArray

from countersign.hearing.topology import PHONES, states

BYPASS = 0.66
OUTPUTS = len(PHONES) + 1
CONTEXT = 34
LAYERS = 14
"""Factored layers of the starting network; ``train.py --extra`` adds to them."""

MFCC_CONF = """--use-energy=false
--num-mel-bins=40
--num-ceps=40
--low-freq=20
--high-freq=7600
--allow-upsample=true
--allow-downsample=true
--dither=0
"""
MODEL_CONF = """--min-active=200
--max-active=3000
--beam=14.0
--lattice-beam=4.0
--phone-determinize=false
--acoustic-scale=1.0
--frame-subsampling-factor=3
--endpoint.silence-phones=1
--endpoint.rule2.min-trailing-silence=0.5
--endpoint.rule3.min-trailing-silence=0.8
--endpoint.rule4.min-trailing-silence=1.0
"""

Array = NDArray[np.float32]


def token(text: str) -> bytes:
    """A token and the space that ends it."""
    return text.encode("ascii") + b" "


def integer(value: int) -> bytes:
    """A marked int32."""
    return b"\x04" + struct.pack("<i", value)


def real(value: float) -> bytes:
    """A marked float32."""
    return b"\x04" + struct.pack("<f", value)


def integers(values: list[int]) -> bytes:
    """A vector of int32."""
    return b"\x04" + struct.pack(f"<i{len(values)}i", len(values), *values)


def vector(values: Array) -> bytes:
    """A float32 vector."""
    return token("FV") + integer(len(values)) + values.astype("<f4").tobytes()


def matrix(values: Array) -> bytes:
    """A matrix in Kaldi's ``CM2`` form: 16 bits a value between its minimum and maximum."""
    low, span = float(values.min()), float(values.max() - values.min()) or 1e-6
    steps = np.rint((values - low) / span * 65535).clip(0, 65535).astype("<u2")
    rows, columns = values.shape
    return token("CM2") + struct.pack("<ffii", low, span, rows, columns) + steps.tobytes()


def transition_model() -> bytes:
    """Kaldi's ``TransitionModel`` for the phones and states of ``countersign.hearing.topology``."""
    every = states()
    phones = sorted({state.phone for state in every})
    shapes = {
        phone: tuple((s.output > 0, s.targets) for s in every if s.phone == phone)
        for phone in phones
    }
    kinds = sorted(set(shapes.values()), key=lambda shape: (len(shape), shape))
    silence = shapes[1]
    kinds = [silence, *(kind for kind in kinds if kind != silence)]
    entry_of = [-1] + [kinds.index(shapes[phone]) for phone in phones]
    body = token("<TransitionModel>") + token("<Topology>")
    body += integers(phones) + integers(entry_of) + integer(len(kinds))
    for kind in kinds:
        body += integer(len(kind) + 1)
        for pdf_class, (_, targets) in enumerate(kind):
            body += integer(pdf_class) + integer(len(targets))
            for target in targets:
                body += integer(target) + real(1 / len(targets))
        body += integer(-1) + integer(0)
    body += token("</Topology>") + token("<Triples>") + integer(len(every))
    for state in every:
        body += integer(state.phone) + integer(state.number) + integer(state.output)
    logs = [0.0] + [-math.log(len(s.targets)) for s in every for _ in s.targets]
    body += token("</Triples>") + token("<LogProbs>") + vector(np.array(logs, np.float32))
    return body + token("</LogProbs>") + token("</TransitionModel>")


def affine(weights: Array, bias: Array | None = None) -> bytes:
    """A ``FixedAffineComponent``; no bias means zeros."""
    offsets = np.zeros(len(weights), np.float32) if bias is None else bias
    return (
        token("<FixedAffineComponent>")
        + token("<LinearParams>")
        + matrix(weights)
        + token("<BiasParams>")
        + vector(offsets)
        + token("</FixedAffineComponent>")
    )


def nonlinearity(kind: str, size: int) -> bytes:
    """A nonlinear component without statistics."""
    nothing = vector(np.zeros(0, np.float32))
    zero = b"\x08" + struct.pack("<d", 0.0)
    body = token(f"<{kind}>") + token("<Dim>") + integer(size)
    for name in ("<ValueAvg>", "<DerivAvg>"):
        body += token(name) + nothing
    body += token("<Count>") + zero + token("<OderivRms>") + nothing
    for name in ("<OderivCount>", "<NumDimsSelfRepaired>", "<NumDimsProcessed>"):
        body += token(name) + zero
    return body + token(f"</{kind}>")


def scale(values: Array) -> bytes:
    """A ``FixedScaleComponent``."""
    name = "FixedScaleComponent"
    return token(f"<{name}>") + token("<Scales>") + vector(values) + token(f"</{name}>")


def shift(values: Array) -> bytes:
    """A ``FixedBiasComponent``."""
    name = "FixedBiasComponent"
    return token(f"<{name}>") + token("<Bias>") + vector(values) + token(f"</{name}>")


def no_op(size: int) -> bytes:
    """A component that passes its input on, needed to sum two nodes."""
    name = "NoOpComponent"
    return (
        token(f"<{name}>")
        + token("<Dim>")
        + integer(size)
        + token("<BackpropScale>")
        + real(1.0)
        + token(f"</{name}>")
    )


def spliced(node: str, offsets: tuple[int, ...]) -> str:
    """The nnet3 descriptor that puts a node's output at several frames side by side."""
    if offsets == (0,):
        return node
    return "Append(" + ", ".join(node if o == 0 else f"Offset({node}, {o})" for o in offsets) + ")"


def network(weights: dict[str, Array]) -> bytes:
    """The nnet3 network. The folded batch norms become a scale and a bias."""
    components: list[tuple[str, bytes]] = []
    config = ["input-node name=input dim=40"]

    def add(name: str, component: bytes, descriptor: str) -> str:
        components.append((name, component))
        config.append(f"component-node name={name} component={name} input={descriptor}")
        return name

    def relu_and_norm(name: str, source: str, norm: str) -> str:
        size = len(weights[f"{norm}.sc"])
        relu = add(f"{name}.relu", nonlinearity("RectifiedLinearComponent", size), source)
        scaled = add(f"{name}.scale", scale(weights[f"{norm}.sc"]), relu)
        return add(f"{name}.norm", shift(weights[f"{norm}.of"]), scaled)

    lda = add("lda", affine(weights["ldaW"], weights["ldab"]), spliced("input", (-1, 0, 1)))
    first = add("tdnn1.affine", affine(weights["a1"], weights["b1"]), lda)
    previous = relu_and_norm("tdnn1", first, "bn1")
    factored = sum(key.startswith("L.") for key in weights)
    for layer in range(2, 2 + factored):
        index = layer - 2
        # Layers 2 to 4 look one frame back and on, layer 5 at its own, the rest three frames.
        step = {2: 1, 3: 1, 4: 1, 5: 0}.get(layer, 3)
        back, ahead = ((0,), (0,)) if step == 0 else ((-step, 0), (0, step))
        name = f"tdnnf{layer}"
        linear = add(f"{name}.linear", affine(weights[f"L.{index}.W"]), spliced(previous, back))
        wide = add(
            f"{name}.affine",
            affine(weights[f"A.{index}.W"], weights[f"A.{index}.b"]),
            spliced(linear, ahead),
        )
        normed = relu_and_norm(name, wide, f"B.{index}")
        size = len(weights[f"A.{index}.b"])
        kept = f"Scale({BYPASS}, {previous})" if index < LAYERS else previous
        previous = add(f"{name}.sum", no_op(size), f"Sum({kept}, {normed})")
    narrow = add("prefinal.narrow", affine(weights["pl"]), previous)
    wide = add("prefinal.affine", affine(weights["pa"], weights["pb"]), narrow)
    normed = relu_and_norm("prefinal", wide, "pbn1")
    small = add("prefinal.linear", affine(weights["plin"]), normed)
    scaled = add("prefinal.scale2", scale(weights["pbn2.sc"]), small)
    normed = add("prefinal.norm2", shift(weights["pbn2.of"]), scaled)
    out = add("output.affine", affine(weights["out.weight"], weights["out.bias"]), normed)
    add("output.log-softmax", nonlinearity("LogSoftmaxComponent", OUTPUTS), out)
    config.append("output-node name=output input=output.log-softmax objective=linear")
    body = token("<Nnet3>") + b"\n" + "\n".join(config).encode() + b"\n\n"
    body += token("<NumComponents>") + integer(len(components))
    for name, component in components:
        body += token("<ComponentName>") + token(name) + component
    context = CONTEXT + 3 * (factored - LAYERS)  # of layers added on top
    body += token("</Nnet3>") + token("<LeftContext>") + integer(context)
    body += token("<RightContext>") + integer(context)
    return body + token("<Priors>") + vector(np.zeros(0, np.float32))


def write_model(weights: dict[str, Array], folder: Path) -> None:
    """Write the model folder with its checksums."""
    files = {
        "am/final.mdl": b"\0B" + transition_model() + network(weights),
        "conf/mfcc.conf": MFCC_CONF.encode(),
        "conf/model.conf": MODEL_CONF.encode(),
    }
    sums = []
    for name, content in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        sums.append(f"{hashlib.sha256(content).hexdigest()}  {name}\n")
    (folder / "SHA256SUMS").write_text("".join(sums), encoding="ascii")
    (folder / "confidence.json").unlink(missing_ok=True)  # it belongs to other weights


def main() -> None:
    """Read the command line and write the folder."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("checkpoint", type=Path, help="state dict written by train.py")
    parser.add_argument("folder", type=Path, help="model folder to write")
    options = parser.parse_args()
    state = torch.load(options.checkpoint, map_location="cpu", weights_only=True)
    write_model({name: value.float().numpy() for name, value in state.items()}, options.folder)


if __name__ == "__main__":
    main()
