"""Run an int8 ONNX graph with PyTorch, on the CPU or a GPU.

Made for the graph of the Kokoro speech synthesiser, which onnxruntime runs on the CPU only about
twice as fast as real time. The graph is loaded, its dynamically quantised products and convolutions
become floating-point ones on dequantised weights, a few patterns that cost many small operations
are fused, and what is left runs node by node in the order of the file.

    run = OnnxTorch(read_graph(Path("kokoro.onnx")), "cuda")
    audio = run({"tokens": tokens, "style": style, "speed": speed})["audio"]

Integer arithmetic on shapes stays on the CPU, so that the device is waited for only where the graph
needs a number from it (the frames of an utterance).
"""

from __future__ import annotations

import logging
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import onnx
import torch
import torch.nn.functional as functional
from onnx import numpy_helper
from torch import Tensor

log = logging.getLogger(__name__)

Handler = Callable[..., Any]

_DTYPES = {1: torch.float32, 6: torch.int32, 7: torch.int64, 9: torch.bool, 11: torch.float64}


@dataclass
class Node:
    """One operation: names of inputs ("" when left out) and outputs, and its attributes."""

    op: str
    inputs: list[str]
    outputs: list[str]
    attributes: dict[str, Any] = field(default_factory=dict)


@dataclass
class Graph:
    """Nodes in topological order, constants (numpy) by name, and names of the graph's outputs."""

    nodes: list[Node]
    constants: dict[str, np.ndarray]
    outputs: list[str]

    def users(self) -> dict[str, list[Node]]:
        """The nodes that read each value."""
        out: dict[str, list[Node]] = defaultdict(list)
        for node in self.nodes:
            for name in node.inputs:
                out[name].append(node)
        return out

    def makers(self) -> dict[str, Node]:
        """The node that makes each value."""
        return {name: node for node in self.nodes for name in node.outputs}


def read_graph(path: Path) -> Graph:
    """The graph in the ONNX file ``path``."""
    proto = onnx.load(str(path)).graph
    nodes = []
    for n in proto.node:
        attributes = {a.name: onnx.helper.get_attribute_value(a) for a in n.attribute}
        for name, value in attributes.items():
            if isinstance(value, onnx.TensorProto):
                attributes[name] = numpy_helper.to_array(value)
            elif isinstance(value, bytes):
                attributes[name] = value.decode()
        nodes.append(Node(n.op_type, list(n.input), list(n.output), attributes))
    constants = {i.name: numpy_helper.to_array(i) for i in proto.initializer}
    return Graph(nodes, constants, [o.name for o in proto.output])


# --- Rewriting -----------------------------------------------------------------------------------


def _only(users: dict[str, list[Node]], name: str) -> Node | None:
    """The one node that reads ``name``, or None."""
    found = users.get(name, [])
    return found[0] if len(found) == 1 else None


def _other(node: Node, name: str) -> str:
    """The input of a two-input node that is not ``name``."""
    return node.inputs[1] if node.inputs[0] == name else node.inputs[0]


def _dequantise(graph: Graph, weight: str, zero: str, scale: np.ndarray) -> np.ndarray:
    point = graph.constants[zero].astype(np.float32) if zero else np.float32(0)
    return ((graph.constants[weight].astype(np.float32) - point) * scale).astype(np.float32)


def float_products(graph: Graph, round_inputs: bool = False) -> None:
    """Turn dynamically quantised MatMul, Conv, Gather and LSTM into floating-point ones.

    With ``round_inputs`` the activations are rounded to the 8-bit grid they had (LSTM excepted);
    slow, for comparing with onnxruntime.
    """
    users, makers = graph.users(), graph.makers()
    replaced: dict[int, Node] = {}
    for node in graph.nodes:
        if node.op not in ("MatMulInteger", "ConvInteger"):
            continue
        source = makers[node.inputs[0]]
        x, x_scale = source.inputs[0], source.outputs[1]
        value, bias = node.outputs[0], ""
        step = _only(users, value)
        if step is not None and step.op == "Add":  # the bias, rounded to the product's grid
            name = _other(step, value)
            for op in ("Reshape", "Cast", "Floor", "Div"):
                assert makers[name].op == op
                name = makers[name].inputs[0]
            bias, value = name, step.outputs[0]
            step = _only(users, value)
        assert step is not None and step.op == "Cast"
        value = step.outputs[0]
        step = _only(users, value)
        assert step is not None and step.op == "Mul"
        scales = makers[_other(step, value)]
        assert scales.op == "Mul"
        scale = graph.constants[_other(scales, x_scale)]
        weight = f"{node.outputs[0]}/float"
        graph.constants[weight] = _dequantise(graph, node.inputs[1], node.inputs[3], scale)
        op = node.op.removesuffix("Integer")
        made = Node(op, [x, weight, *([bias] if bias else [])], step.outputs, node.attributes)
        if round_inputs:
            made.attributes = {**made.attributes, "round_inputs": 1}
        replaced[id(step)] = made
    graph.nodes = [replaced.get(id(n), n) for n in graph.nodes]
    for node in graph.nodes:
        if node.op == "DynamicQuantizeLSTM":
            _float_lstm(graph, node)
        elif node.op == "DequantizeLinear":
            table = makers[node.inputs[0]]
            assert table.op == "Gather" and table.inputs[0] in graph.constants
            name = f"{node.outputs[0]}/table"
            scale = graph.constants[node.inputs[1]]
            graph.constants[name] = _dequantise(graph, table.inputs[0], node.inputs[2], scale)
            node.op, node.inputs = "Gather", [name, table.inputs[1]]
            node.attributes = table.attributes
    remove_unused(graph)


def _float_lstm(graph: Graph, node: Node) -> None:
    """Give ``node`` an LSTM module with dequantised weights (zero initial state)."""
    x, w, r, b = node.inputs[:4]
    hidden = node.attributes["hidden_size"]
    w_scale, w_zero, r_scale, r_zero = node.inputs[8:12]
    constants = graph.constants
    size = constants[w].shape[1]
    module = torch.nn.LSTM(size, hidden, bidirectional=True)
    order = np.concatenate([np.arange(hidden) + g * hidden for g in (0, 2, 3, 1)])  # i o f c
    for d, suffix in enumerate(("", "_reverse")):
        for name, weight, scale, zero in (
            ("weight_ih_l0", w, w_scale, w_zero),
            ("weight_hh_l0", r, r_scale, r_zero),
        ):
            point = constants[zero][d].astype(np.float32)
            table = (constants[weight][d].astype(np.float32) - point) * constants[scale][d]
            getattr(module, name + suffix).data = torch.from_numpy(table.T[order].copy())
        for k, name in enumerate(("bias_ih_l0", "bias_hh_l0")):
            part = constants[b][d].reshape(2, -1)[k][order]
            getattr(module, name + suffix).data = torch.from_numpy(part.copy())
    node.op, node.inputs = "LSTM", [x]
    node.attributes = {"module": module.eval().requires_grad_(False)}


def remove_unused(graph: Graph) -> None:
    """Drop nodes and constants that no output needs."""
    needed = set(graph.outputs)
    kept = []
    for node in reversed(graph.nodes):
        if needed.intersection(node.outputs):
            kept.append(node)
            needed.update(node.inputs)
    graph.nodes = kept[::-1]
    graph.constants = {k: v for k, v in graph.constants.items() if k in needed}


def cut(graph: Graph, inputs: Sequence[str], outputs: Sequence[str]) -> None:
    """Keep only what makes the values ``outputs`` from the values ``inputs``."""
    graph.nodes = [n for n in graph.nodes if not set(inputs).intersection(n.outputs)]
    graph.outputs = list(outputs)
    remove_unused(graph)


def fuse(graph: Graph) -> None:
    """Fuse normalisation over the last axis, scale and shift, snake, and product with bias."""
    users, makers = graph.users(), graph.makers()
    constants = graph.constants
    replaced: dict[int, Node] = {}

    def constant(name: str) -> float | None:
        value = constants.get(name)
        return float(value.reshape(())) if value is not None and value.size == 1 else None

    for node in graph.nodes:
        if node.op == "Div" and (made := _norm(node, makers, constants)):
            replaced[id(node)] = made
        elif node.op == "Add":
            for k in (0, 1):
                product = makers.get(node.inputs[k])
                other = node.inputs[1 - k]
                if product is None or len(users[node.inputs[k]]) != 1:
                    continue
                if product.op == "MatMul" and other in constants and product.inputs[1] in constants:
                    made = Node("MatMul", [*product.inputs, other], node.outputs)
                    made.attributes = product.attributes
                elif product.op == "Mul" and (found := _snake(product, other, makers, constant)):
                    made = Node("Snake", [other, *found], node.outputs)
                elif product.op == "Mul" and "" not in product.inputs:
                    made = Node("ScaleShift", [other, *product.inputs], node.outputs)
                else:
                    continue
                replaced[id(node)] = made
                break
    graph.nodes = [replaced.get(id(n), n) for n in graph.nodes]
    remove_unused(graph)


def _norm(div: Node, makers: dict[str, Node], constants: dict[str, np.ndarray]) -> Node | None:
    """The node for (x - mean) / sqrt(mean((x - mean)^2) + eps) over the last axis of three."""
    names = [div.inputs[1]]
    for op in ("Sqrt", "Add", "ReduceMean", "Mul", "Sub"):
        node = makers.get(names[-1])
        if node is None or node.op != op:
            return None
        if op == "Add":
            epsilon = constants.get(node.inputs[1])
        if op == "ReduceMean" and constants[node.inputs[1]].tolist() != [2]:
            return None
        names.append(node.inputs[0])
    if epsilon is None or names[-2] != div.inputs[0]:
        return None
    return Node("Norm", [names[-1]], div.outputs, {"epsilon": float(epsilon)})


def _snake(
    product: Node,
    x: str,
    makers: dict[str, Node],
    constant: Callable[[str], float | None],
) -> list[str] | None:
    """Names of a and b when ``product`` is b * sin(a * x) ** 2."""
    for k in (0, 1):
        power = makers.get(product.inputs[k])
        if power is None or power.op != "Pow" or constant(power.inputs[1]) != 2.0:
            continue
        sine = makers[power.inputs[0]]
        if sine.op != "Sin":
            continue
        inner = makers[sine.inputs[0]]
        if inner.op == "Mul" and x in inner.inputs:
            return [_other(inner, x), product.inputs[1 - k]]
    return None


# --- Operations ----------------------------------------------------------------------------------


def _together(a: Tensor, b: Tensor) -> tuple[Tensor, Tensor]:
    """Both on one device; a single number on the CPU may stay there."""
    if a.device == b.device:
        return a, b
    if a.device.type == "cpu":
        return (a.reshape(()) if a.numel() == 1 else a.to(b.device)), b
    return a, (b.reshape(()) if b.numel() == 1 else b.to(a.device))


def _binary(function: Callable[[Tensor, Tensor], Tensor]) -> Handler:
    return lambda a, b, **_: function(*_together(a, b))


def _unary(function: Callable[[Tensor], Tensor]) -> Handler:
    return lambda x, **_: function(x)


def _ints(x: Tensor) -> list[int]:
    return x.tolist()


def _atan(x: Tensor, **_: Any) -> Tensor:
    """The phase of an empty spectrum bin (0 / 0) is 0, as atan2 has it."""
    return torch.atan(x).nan_to_num_(0.0)


def _divide(a: Tensor, b: Tensor) -> Tensor:
    if a.is_floating_point():
        return a / b
    return torch.div(a, b, rounding_mode="trunc")


def _on_grid(x: Tensor) -> Tensor:
    """``x`` rounded as DynamicQuantizeLinear does (uint8 with a zero point)."""
    low, high = x.min().clamp(max=0), x.max().clamp(min=0)
    scale = (high - low) / 255
    zero = torch.round(-low / scale).clamp(0, 255)
    return (torch.clamp(torch.round(x / scale) + zero, 0, 255) - zero) * scale


def _matmul(a: Tensor, b: Tensor, bias: Tensor | None = None, **k: Any) -> Tensor:
    if k.get("round_inputs"):
        a = _on_grid(a)
    a, b = _together(a, b)
    if bias is not None and b.ndim == 2:
        return torch.addmm(bias, a.reshape(-1, a.shape[-1]), b).view(*a.shape[:-1], b.shape[1])
    out = torch.matmul(a, b)
    return out if bias is None else out + bias


def _fused_matmul(a: Tensor, b: Tensor, **k: Any) -> Tensor:
    if k.get("transA"):
        a = a.transpose(-1, -2)
    if k.get("transB"):
        b = b.transpose(-1, -2)
    return torch.matmul(a, b) * k.get("alpha", 1.0)


def _conv(x: Tensor, w: Tensor, bias: Tensor | None = None, **k: Any) -> Tensor:
    if k.get("round_inputs"):
        x = _on_grid(x)
    before, after = k["pads"]
    if before != after:
        x, before = functional.pad(x, (before, after)), 0
    return functional.conv1d(x, w, bias, k["strides"], before, k["dilations"], k["group"])


def _conv_transpose(x: Tensor, w: Tensor, bias: Tensor | None = None, **k: Any) -> Tensor:
    extra = k.get("output_padding", [0])
    padding = k["pads"][0]
    assert k["pads"][1] == padding
    return functional.conv_transpose1d(
        x, w, bias, k["strides"], padding, extra, k["group"], k["dilations"]
    )


def _lstm(x: Tensor, module: torch.nn.LSTM, **_: Any) -> Tensor:
    out, _state = module(x)
    steps, batch, _width = out.shape
    return out.reshape(steps, batch, 2, module.hidden_size).permute(0, 2, 1, 3)


def _layer_norm(x: Tensor, gamma: Tensor, beta: Tensor | None = None, **k: Any) -> Tensor:
    assert k.get("axis", -1) in (-1, x.ndim - 1)
    return functional.layer_norm(x, gamma.shape, gamma, beta, k["epsilon"])


def _skip_layer_norm(x: Tensor, skip: Tensor, gamma: Tensor, beta: Tensor, **k: Any) -> Tensor:
    return functional.layer_norm(x + skip, gamma.shape, gamma, beta, k["epsilon"])


def _fast_gelu(x: Tensor, bias: Tensor | None = None, **_: Any) -> Tensor:
    return functional.gelu(x if bias is None else x + bias, approximate="tanh")


def _shape(x: Tensor, **_: Any) -> Tensor:
    return torch.tensor(x.shape, dtype=torch.int64)


def _gather(x: Tensor, index: Tensor, axis: int = 0, **_: Any) -> Tensor:
    if index.ndim == 0 and index.device.type == "cpu":
        return x.select(axis, int(index))
    index = index.to(x.device)
    index = torch.where(index < 0, index + x.shape[axis], index)
    shape = x.shape[:axis] + index.shape + x.shape[axis:][1:]
    return x.index_select(axis, index.reshape(-1)).reshape(shape)


def _slice(
    x: Tensor,
    starts: Tensor,
    ends: Tensor,
    axes: Tensor | None = None,
    steps: Tensor | None = None,
    **_: Any,
) -> Tensor:
    names = list(range(len(starts))) if axes is None else _ints(axes)
    strides = [1] * len(starts) if steps is None else _ints(steps)
    index = [slice(None)] * x.ndim
    for axis, start, end, stride in zip(names, _ints(starts), _ints(ends), strides, strict=True):
        index[axis] = slice(start, end, stride)
    return x[tuple(index)]


def _reshape(x: Tensor, shape: Tensor, **_: Any) -> Tensor:
    sizes = _ints(shape)
    return x.reshape([x.shape[i] if n == 0 else n for i, n in enumerate(sizes)])


def _expand(x: Tensor, shape: Tensor, **_: Any) -> Tensor:
    return x.expand(torch.broadcast_shapes(x.shape, tuple(_ints(shape))))


def _unsqueeze(x: Tensor, axes: Tensor, **_: Any) -> Tensor:
    rank = x.ndim + len(axes)
    for axis in sorted(a % rank for a in _ints(axes)):
        x = x.unsqueeze(axis)
    return x


def _squeeze(x: Tensor, axes: Tensor | None = None, **_: Any) -> Tensor:
    return x.squeeze() if axes is None else x.squeeze(tuple(_ints(axes)))


def _concat(*parts: Tensor, axis: int, **_: Any) -> Tensor:
    devices = {p.device for p in parts}
    if len(devices) > 1:
        device = next(d for d in devices if d.type != "cpu")
        parts = tuple(p.to(device) for p in parts)
    return torch.cat(parts, axis)


def _where(condition: Tensor, a: Tensor, b: Tensor, **_: Any) -> Tensor:
    return torch.where(condition, *_together(a, b))


def _resize(x: Tensor, _region: None, scales: Tensor, **k: Any) -> Tensor:
    batch, channels, factor = scales.tolist()
    assert batch == channels == 1.0
    if k["mode"] == "nearest":
        assert k["coordinate_transformation_mode"] == "asymmetric" and k["nearest_mode"] == "floor"
        return functional.interpolate(x, scale_factor=factor, mode="nearest")
    assert k["mode"] == "linear" and k["coordinate_transformation_mode"] == "half_pixel"
    size = round(x.shape[-1] * factor)
    assert abs(x.shape[-1] * factor - size) < 1e-2  # then size and factor mean the same positions
    return functional.interpolate(x, size=size, mode="linear", align_corners=False)


def _pad(x: Tensor, pads: Tensor, **k: Any) -> Tensor:
    amounts = _ints(pads)
    rank = x.ndim
    assert k["mode"] == "reflect" and not any(amounts[: rank - 1] + amounts[rank:-1])
    flat = x if rank > 1 else x[None]
    out = functional.pad(flat, (amounts[rank - 1], amounts[-1]), mode="reflect")
    return out if rank > 1 else out[0]


def _stft(signal: Tensor, step: Tensor, window: Tensor, length: Tensor, **_: Any) -> Tensor:
    """The imaginary part of the first and last bin is 0; made positive so that their phase is pi,
    not -pi, where the real part is negative (as it is in the transforms of other runtimes)."""
    frames = signal.reshape(signal.shape[:2]).unfold(1, int(length), int(step)) * window
    out = torch.view_as_real(torch.fft.rfft(frames))
    out[:, :, 0, 1] = out[:, :, -1, 1] = 1e-9
    return out


def _range(start: Tensor, end: Tensor, step: Tensor, **_: Any) -> Tensor:
    device = next((t.device for t in (start, end, step) if t.device.type != "cpu"), start.device)
    return torch.arange(start.item(), end.item(), step.item(), dtype=start.dtype, device=device)


def _clip(x: Tensor, low: Tensor | None = None, high: Tensor | None = None, **_: Any) -> Tensor:
    return x.clamp(
        None if low is None else float(low),
        None if high is None else float(high),
    )


def _scatter(x: Tensor, index: Tensor, values: Tensor, **_: Any) -> Tensor:
    out = x.clone()
    out[tuple(index.to(x.device).movedim(-1, 0))] = values
    return out


def _constant_of_shape(shape: Tensor, value: np.ndarray, **_: Any) -> Tensor:
    return torch.full(_ints(shape), value.reshape(()).item(), dtype=torch.float32)


def _norm_last(x: Tensor, epsilon: float, **_: Any) -> Tensor:
    return functional.layer_norm(x, x.shape[-1:], None, None, epsilon)


def _scale_shift(shift: Tensor, a: Tensor, b: Tensor, **_: Any) -> Tensor:
    """shift + a * b"""
    if a.device == b.device == shift.device and a.is_floating_point():
        return torch.addcmul(shift, a, b)
    a, b = _together(a, b)
    product, shift = _together(a * b, shift)
    return product + shift


def _snake_plain(x: Tensor, a: Tensor, b: Tensor) -> Tensor:
    """x + b * sin(a * x) ** 2"""
    sine = torch.sin(a * x)
    return torch.addcmul(x, b, sine.mul_(sine))


_SNAKE_CODE = """template <typename T> T snake(T x, T a, T b) {
    T s = sin(a * x);
    return x + b * s * s;
}"""
_snake_fused: list[Callable[[Tensor, Tensor, Tensor], Tensor]] = []


def _snake_op(x: Tensor, a: Tensor, b: Tensor, **_: Any) -> Tensor:
    """The snake activation, as one kernel on a GPU."""
    if x.device.type != "cuda":
        return _snake_plain(x, a, b)
    if not _snake_fused:
        try:
            fused = torch.cuda.jiterator._create_jit_fn(_SNAKE_CODE)
            torch.testing.assert_close(fused(x, a, b), _snake_plain(x, a, b), atol=1e-3, rtol=1e-3)
        except Exception as error:  # the run-time compiler is missing: slower, not wrong
            log.warning("the snake activation runs as four kernels: %s", error)
            fused = _snake_plain
        _snake_fused.append(fused)
    return _snake_fused[0](x, a, b)


HANDLERS: dict[str, Handler] = {
    "Add": _binary(torch.add),
    "And": _binary(torch.logical_and),
    "Atan": _atan,
    "Cast": lambda x, to, **_: x.to(_DTYPES[to]),
    "Clip": _clip,
    "Concat": _concat,
    "ConstantOfShape": _constant_of_shape,
    "Conv": _conv,
    "ConvTranspose": _conv_transpose,
    "Cos": _unary(torch.cos),
    "CumSum": lambda x, axis, **_: torch.cumsum(x, int(axis)),
    "Div": _binary(_divide),
    "Equal": _binary(torch.eq),
    "Exp": _unary(torch.exp),
    "Expand": _expand,
    "FastGelu": _fast_gelu,
    "Floor": _unary(torch.floor),
    "FusedMatMul": _fused_matmul,
    "Gather": _gather,
    "Greater": _binary(torch.gt),
    "GreaterOrEqual": _binary(torch.ge),
    "LSTM": _lstm,
    "LayerNormalization": _layer_norm,
    "LeakyRelu": lambda x, alpha, **_: functional.leaky_relu(x, alpha),
    "Less": _binary(torch.lt),
    "MatMul": _matmul,
    "Mul": _binary(torch.mul),
    "NonZero": lambda x, **_: torch.nonzero(x).T,
    "Norm": _norm_last,
    "Pad": _pad,
    "Pow": _binary(torch.pow),
    "Range": _range,
    "ReduceMean": lambda x, axes, keepdims=1, **_: x.mean(_ints(axes), keepdim=bool(keepdims)),
    "ReduceSum": lambda x, axes, keepdims=1, **_: x.sum(_ints(axes), keepdim=bool(keepdims)),
    "Reshape": _reshape,
    "Resize": _resize,
    "Round": _unary(torch.round),
    "STFT": _stft,
    "ScaleShift": _scale_shift,
    "ScatterND": _scatter,
    "Shape": _shape,
    "Sigmoid": _unary(torch.sigmoid),
    "Sin": _unary(torch.sin),
    "SkipLayerNormalization": _skip_layer_norm,
    "Slice": _slice,
    "Snake": _snake_op,
    "Softmax": lambda x, axis=-1, **_: torch.softmax(x, axis),
    "Split": lambda x, sizes, axis=0, **_: torch.split(x, _ints(sizes), axis),
    "Sqrt": _unary(torch.sqrt),
    "Squeeze": _squeeze,
    "Sub": _binary(torch.sub),
    "Tanh": _unary(torch.tanh),
    "Transpose": lambda x, perm, **_: x.permute(perm),
    "Unsqueeze": _unsqueeze,
    "Where": _where,
}


# --- Running -------------------------------------------------------------------------------------


@dataclass
class _Step:
    call: Handler
    inputs: list[str]
    outputs: list[str]
    attributes: dict[str, Any]
    drop: list[str]  # values that no later step reads


class OnnxTorch:
    """A graph on ``device``.

    Raises KeyError at once when the graph has an operation without a handler.
    """

    def __init__(self, graph: Graph, device: str = "cpu", round_inputs: bool = False) -> None:
        """Rewrite ``graph`` (in place) and put its weights on ``device``."""
        float_products(graph, round_inputs)
        fuse(graph)
        self.device = torch.device(device)
        self.outputs = graph.outputs
        self.constants = self._place(graph)
        self.steps = self._plan(graph)

    def _place(self, graph: Graph) -> dict[str, Tensor]:
        """Weights on the device; integers, single numbers and what is only sliced on the CPU."""
        users = graph.users()
        weighed = {"MatMul", "Conv", "ConvTranspose"}  # their operands must be on the device
        out = {}
        for name, value in graph.constants.items():
            tensor = torch.from_numpy(np.array(value))
            ops = {n.op for n in users[name]}
            number = tensor.numel() == 1 and not ops & weighed
            if tensor.is_floating_point() and not number and not ops <= {"Slice", "Resize"}:
                tensor = tensor.to(self.device)
            out[name] = tensor
        return out

    def _plan(self, graph: Graph) -> list[_Step]:
        last = {name: k for k, node in enumerate(graph.nodes) for name in node.inputs}
        steps = []
        for k, node in enumerate(graph.nodes):
            if "module" in node.attributes:
                module = node.attributes["module"].to(self.device)
                module.flatten_parameters()
            outputs = [o if o in last or o in self.outputs else "" for o in node.outputs]
            drop = {n for n in node.inputs if n and last[n] == k}
            drop -= {*self.constants, *self.outputs}
            call = HANDLERS[node.op]
            steps.append(_Step(call, node.inputs, outputs, node.attributes, sorted(drop)))
        return steps

    def counts(self) -> Counter[str]:
        """How many steps of each kind a run has."""
        names = {id(call): name for name, call in HANDLERS.items()}
        return Counter(names[id(step.call)] for step in self.steps)

    @torch.inference_mode()
    def __call__(
        self, feed: Mapping[str, np.ndarray | Tensor], keep: tuple[str, ...] = ()
    ) -> dict[str, Tensor]:
        """The outputs (and the values named in ``keep``) for the inputs ``feed``."""
        values: dict[str, Tensor | None] = {"": None, **self.constants}
        for name, array in feed.items():
            values[name] = torch.as_tensor(array).to(self.device)
        kept = {}
        for step in self.steps:
            made = step.call(*[values[n] for n in step.inputs], **step.attributes)
            if isinstance(made, Tensor):
                made = (made,)
            for name, value in zip(step.outputs, made, strict=False):
                if not name:
                    continue
                values[name] = value
                if name in keep:
                    kept[name] = value
            for name in step.drop:
                del values[name]
        return {name: values[name] for name in self.outputs} | kept  # type: ignore[dict-item]
