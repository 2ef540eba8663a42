"""Writes a weighted transducer as an OpenFst ``vector`` file, the format that Vosk reads.

OpenFst's own tools are not used here: a second copy of its library in one process with ``vosk``
hangs or crashes, and the format is a short header followed by states and arcs.
"""

import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

ARC = np.dtype([("ilabel", "<i4"), ("olabel", "<i4"), ("weight", "<f4"), ("target", "<i4")])
_MAGIC = 2125659606
_VERSION = 2
_EXPANDED_AND_MUTABLE = 3


def write_fst(
    path: Path, sources: NDArray[np.int32], arcs: NDArray[np.void], finals: dict[int, float]
) -> None:
    """Write the transducer whose start is state 0.

    ``sources`` (shape (n,)) is the state each of the ``arcs`` (shape (n,), dtype ``ARC``) leaves;
    ``finals`` maps a final state to its cost (negative natural logarithm).
    """
    count = int(max(sources.max(), arcs["target"].max())) + 1
    order = np.argsort(sources, kind="stable")
    sorted_arcs = arcs[order]
    bounds = np.searchsorted(sources[order], np.arange(count + 1))
    body = bytearray()
    for name in (b"vector", b"standard"):
        body += struct.pack("<i", len(name)) + name
    body += struct.pack("<iiQqqq", _VERSION, 0, _EXPANDED_AND_MUTABLE, 0, count, len(sorted_arcs))
    for state in range(count):
        first, last = int(bounds[state]), int(bounds[state + 1])
        body += struct.pack("<fq", finals.get(state, float("inf")), last - first)
        body += sorted_arcs[first:last].tobytes()
    path.write_bytes(struct.pack("<i", _MAGIC) + bytes(body))
