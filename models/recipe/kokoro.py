"""The Kokoro synthesiser on PyTorch, many utterances at a time.

The graph is cut in two. The first part makes durations and features of the tokens, for utterances
with the same number of tokens together; the second makes audio from features stretched to frames
(25 ms), for utterances with the same number of frames together. Frames are rounded up to a multiple
of ``FRAME_STEP`` by holding the last (silent) token, which keeps the number of shapes small.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import torch
from onnx_torch import Graph, Node, OnnxTorch, cut, read_graph
from torch import Tensor

RATE = 24_000
FRAME = 600  # samples
FRAME_STEP = 8
MOST_TOKENS = 2_000  # of a batch
MOST_FRAMES = 2_000  # of a batch, 50 s (about 3 GB on a GPU)

_DURATIONS = "/encoder/Cast_output_0"  # [batch, tokens]
_PROSODY = "/encoder/predictor/text_encoder/Concat_4_output_0"  # [batch, tokens, 640]
_TEXT = "/encoder/text_encoder/Transpose_2_output_0"  # [batch, 512, tokens]
_MASK = "/encoder/bert/Where_2_output_0"  # added to attention scores; always 0
_PROSODY_FRAMES = "/encoder/MatMul_output_0"  # [batch, 640, frames]
_TEXT_FRAMES = "/encoder/MatMul_1_output_0"  # [batch, 512, frames]
_GENERATOR = "/decoder/decoder/generator"
_WAVE = f"{_GENERATOR}/istft/stft/ConvTranspose_output_0"  # [batch, 1, samples + 20]
_WAVE_SCALE, _WAVE_EDGE = 4.0, 10  # what the graph does to it next


@dataclass
class Request:
    """One utterance: tokens with the 0 at both ends, style (256 numbers), rate (1 is normal)."""

    tokens: list[int]
    style: np.ndarray
    rate: float


@dataclass
class _Voiced:
    """A request with its features: prosody [tokens, 640] and text [tokens, 512]."""

    style: np.ndarray
    durations: list[int]
    prosody: Tensor
    text: Tensor

    @property
    def frames(self) -> int:
        """Frames, rounded up."""
        return -(-sum(self.durations) // FRAME_STEP) * FRAME_STEP


def _insert(graph: Graph, user: str, position: int, node: Node) -> None:
    """Let input ``position`` of the node that makes ``user`` come through ``node``."""
    for k, other in enumerate(graph.nodes):
        if user in other.outputs:
            other.inputs[position] = node.outputs[0]
            graph.nodes.insert(k, node)
            return
    raise KeyError(user)


def _token_graph(graph: Graph) -> Graph:
    """Tokens to durations and features, for any batch size."""
    graph.constants[_MASK] = np.float32(0)
    cut(graph, ["tokens", "style", "speed", _MASK], [_DURATIONS, _PROSODY, _TEXT])
    graph.constants["axis 1"] = np.array([1])
    user = "/encoder/predictor/text_encoder/Expand_output_0"  # [batch, 128] to [batch, tokens, 128]
    style = next(n.inputs[0] for n in graph.nodes if user in n.outputs)
    _insert(graph, user, 0, Node("Unsqueeze", [style, "axis 1"], ["style row"]))
    return graph


def _frame_graph(graph: Graph) -> Graph:
    """Features of frames to the waveform, for any batch size."""
    cut(graph, [_PROSODY_FRAMES, _TEXT_FRAMES, "style"], [_WAVE])
    # Shapes that were written down for one utterance: [1, ...] becomes [-1, ...].
    graph.constants["any batch"] = np.array([-1])
    graph.constants["any batch, rest"] = np.array([0, -1])
    for node in graph.nodes:
        if node.outputs[0] in ("/encoder/Reshape_output_0", "/encoder/Reshape_1_output_0"):
            node.inputs[1] = "any batch, rest"
        elif node.outputs[0] in (
            f"{_GENERATOR}/Concat_output_0",
            f"{_GENERATOR}/Concat_2_output_0",
        ):
            node.inputs[0] = "any batch"
    return graph


def _batches(sizes: Sequence[int], most: int) -> list[tuple[int, list[int]]]:
    """Positions of equal ``sizes``, in groups whose sizes sum to at most ``most``."""
    groups: dict[int, list[int]] = defaultdict(list)
    for k, units in enumerate(sizes):
        groups[units].append(k)
    out = []
    for units, found in sorted(groups.items()):
        step = 1 << max(1, most // units).bit_length() - 1  # a power of two
        out += [(units, found[i : i + step]) for i in range(0, len(found), step)]
    return out


class Kokoro:
    """Kokoro on a PyTorch device."""

    def __init__(self, path: Path, device: str) -> None:
        """Load the ONNX file ``path``; raises FileNotFoundError when it is not there."""
        self.token_part = OnnxTorch(_token_graph(read_graph(path)), device)
        self.frame_part = OnnxTorch(_frame_graph(read_graph(path)), device)

    @torch.inference_mode()
    def __call__(self, requests: Sequence[Request]) -> list[tuple[np.ndarray, list[int]]]:
        """Audio of each request (float32 at 24 kHz), and the frames that each token lasts."""
        voiced: dict[int, _Voiced] = {}
        for _, members in _batches([len(r.tokens) for r in requests], MOST_TOKENS):
            for k, v in zip(members, self._features([requests[k] for k in members]), strict=True):
                voiced[k] = v
        items = [voiced[k] for k in range(len(requests))]
        audio: dict[int, np.ndarray] = {}
        for frames, members in _batches([v.frames for v in items], MOST_FRAMES):
            batch = [items[k] for k in members]
            # A power of two, because each new shape costs the convolutions a search for a kernel.
            extra = (1 << (len(batch) - 1).bit_length()) - len(batch)
            waves = self._waves(batch + batch[:1] * extra, frames)
            for k, wave in zip(members, waves[: len(batch)], strict=True):
                audio[k] = wave[: sum(items[k].durations) * FRAME]
        return [(audio[k], items[k].durations) for k in range(len(requests))]

    def _features(self, requests: Sequence[Request]) -> list[_Voiced]:
        feed = {
            "tokens": np.array([r.tokens for r in requests], np.int64),
            "style": np.stack([r.style for r in requests]).astype(np.float32),
            "speed": np.array([[r.rate] for r in requests], np.float32),
        }
        out = self.token_part(feed)
        durations = out[_DURATIONS].tolist()
        text = out[_TEXT].transpose(1, 2)
        return [
            _Voiced(r.style, durations[k], out[_PROSODY][k], text[k])
            for k, r in enumerate(requests)
        ]

    def _waves(self, items: Sequence[_Voiced], frames: int) -> np.ndarray:
        prosody, text = [], []
        for v in items:
            held = [*v.durations[:-1], v.durations[-1] + frames - sum(v.durations)]
            token = torch.from_numpy(np.repeat(np.arange(len(held)), held)).to(v.text.device)
            prosody.append(v.prosody.index_select(0, token))
            text.append(v.text.index_select(0, token))
        feed = {
            _PROSODY_FRAMES: torch.stack(prosody).transpose(1, 2),
            _TEXT_FRAMES: torch.stack(text).transpose(1, 2),
            "style": np.stack([v.style for v in items]).astype(np.float32),
        }
        wave = self.frame_part(feed)[_WAVE][:, 0, _WAVE_EDGE:-_WAVE_EDGE] * _WAVE_SCALE
        return wave.cpu().numpy()
