"""The transducer's bytes, read back by two readers that share nothing with the writer."""

import importlib.util
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from tests.hearing.reading import Read, read_fst

from countersign.hearing.fst import ARC, write_fst
from countersign.hearing.graph import WordGraph, write_graph
from countersign.kit import pronunciations_of

# kaldifst and vosk each bring OpenFst; both in one process hang, so it gets a process of its own.
_KALDIFST = """
import json, sys
import kaldifst
fst = kaldifst.StdVectorFst.read(sys.argv[1])
finals, arcs = {}, []
for state in range(fst.num_states):
    weight = fst.final(state).value
    if weight != float("inf"):
        finals[state] = weight
    arcs.append([
        [arc.ilabel, arc.olabel, arc.weight.value, arc.nextstate]
        for arc in kaldifst.ArcIterator(fst, state)
    ])
print(json.dumps({"start": fst.start, "finals": finals, "arcs": arcs}))
"""


@pytest.fixture
def small(tmp_path: Path) -> Path:
    sources = np.array([2, 0, 1, 0], dtype=np.int32)
    arcs = np.array([(5, 0, 0.5, 2), (1, 7, 1.25, 1), (0, 0, 0.0, 2), (3, 8, 2.0, 2)], dtype=ARC)
    write_fst(tmp_path / "small.fst", sources, arcs, {2: 0.75, 1: 0.0})
    return tmp_path / "small.fst"


@pytest.fixture(scope="module")
def words(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("graph")
    graph = WordGraph(talk_phone=2.0)
    middle = graph.new_state()
    graph.arc(0, middle, "laps", 1.0)
    graph.arc(middle, 0, "five", 0.5)
    graph.arc(middle, 0, "<talk>", 0.5)
    graph.arc(0, middle, "a", 1.5)
    write_graph(folder, graph, pronunciations_of)
    return folder / "HCLG.fst"


def test_header_states_arcs_and_finals_are_read_back(small: Path) -> None:
    read = read_fst(small)
    assert (read.kind, read.arc_kind, read.start) == ("vector", "standard", 0)
    assert read.declared_arcs == 4
    assert read.finals == {1: 0.0, 2: 0.75}
    assert read.arcs == [[(1, 7, 1.25, 1), (3, 8, 2.0, 2)], [(0, 0, 0.0, 2)], [(5, 0, 0.5, 2)]]


@pytest.mark.parametrize("name", ["small", "words"])
def test_kaldifst_reads_the_same(name: str, request: pytest.FixtureRequest) -> None:
    if importlib.util.find_spec("kaldifst") is None:
        pytest.skip("the outside reader 'kaldifst' is not installed (pip install kaldifst)")
    path: Path = request.getfixturevalue(name)
    done = subprocess.run(
        [sys.executable, "-c", _KALDIFST, str(path)],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    outside = json.loads(done.stdout)
    own: Read = read_fst(path)
    assert outside["start"] == own.start
    assert {int(state): weight for state, weight in outside["finals"].items()} == own.finals
    assert [[tuple(arc) for arc in arcs] for arcs in outside["arcs"]] == own.arcs
    assert sum(map(len, own.arcs)) == own.declared_arcs
