"""A reader of OpenFst's binary ``vector`` files, written from the format and not from the writer.

Source: OpenFst's ``fst.cc`` and ``vector-fst.h`` (from memory): the header is the magic number,
two length-prefixed strings, int32 version and flags, uint64 properties, int64 start, states and
arcs; each state is a float final weight, an int64 count and so many arcs.
"""

import struct
from pathlib import Path
from typing import NamedTuple

MAGIC = 2125659606

Arc = tuple[int, int, float, int]


class Read(NamedTuple):
    kind: str
    arc_kind: str
    start: int
    declared_arcs: int
    finals: dict[int, float]
    arcs: list[list[Arc]]


def read_fst(path: Path) -> Read:
    content, at = path.read_bytes(), 0

    def take(form: str) -> tuple[int, ...]:
        nonlocal at
        values = struct.unpack_from(form, content, at)
        at += struct.calcsize(form)
        return values

    def text() -> str:
        nonlocal at
        (length,) = take("<i")
        at += length
        return content[at - length : at].decode("ascii")

    assert take("<i") == (MAGIC,)
    kind, arc_kind = text(), text()
    version, flags = take("<ii")
    assert (version, flags) == (2, 0)  # no symbol tables, no alignment
    take("<Q")
    start, states, declared = take("<qqq")
    finals: dict[int, float] = {}
    arcs: list[list[Arc]] = []
    for state in range(states):
        final, count = struct.unpack_from("<fq", content, at)
        at += 12
        if final != float("inf"):
            finals[state] = final
        arcs.append(list(struct.iter_unpack("<iifi", content[at : at + 16 * count])))
        at += 16 * count
    assert at == len(content)
    return Read(kind, arc_kind, start, declared, finals, arcs)
