"""The cache of compiled folders."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from countersign.hearing.graph import WordGraph
from countersign.hearing.models import ModelInfo
from countersign.hearing.workspace import compiled_folder
from countersign.kit import Kit
from countersign.problems import BadInput

_COMPILE = """
from countersign.hearing.grammar import counting_graph
from countersign.hearing.models import bundled_model, describe_model
from countersign.hearing.workspace import compiled_folder
from countersign.kit import demo_kit_path, read_kit
kit, model = read_kit(demo_kit_path()), describe_model(bundled_model())
print("ready", flush=True)
input()
print(compiled_folder(model, kit, "counting", counting_graph))
"""


def _five(kit: Kit) -> WordGraph:
    graph = WordGraph(talk_phone=1.0)
    graph.arc(0, 0, "five", 1.0)
    return graph


def _never(kit: Kit) -> WordGraph:
    raise AssertionError("compiled again")


def test_a_compiled_folder_is_used_again(fresh_folders: Path, kit: Kit, model: ModelInfo) -> None:
    folder = compiled_folder(model, kit, "five", _five)
    assert folder.is_relative_to(fresh_folders)
    assert (folder / "am" / "final.mdl").is_file()
    assert (folder / "conf" / "mfcc.conf").is_file()
    assert compiled_folder(model, kit, "five", _never) == folder
    assert list(folder.parent.iterdir()) == [folder]


def test_another_kit_graph_or_model_gets_another_folder(
    fresh_folders: Path, kit: Kit, model: ModelInfo, tmp_path: Path
) -> None:
    other_kit = kit.model_copy(update={"title": f"{kit.title}, changed"})
    elsewhere = Path(shutil.copytree(model.path, tmp_path / "elsewhere"))
    moved = model.model_copy(update={"path": elsewhere})
    retrained = model.model_copy(update={"sha256": "0" * 64})
    folders = {
        compiled_folder(model, kit, "five", _five),
        compiled_folder(model, other_kit, "five", _five),
        compiled_folder(model, kit, "other", _five),
        compiled_folder(moved, kit, "five", _five),
        compiled_folder(retrained, kit, "five", _five),
        compiled_folder(model, kit, "five", _five, {"beam": "13.0"}),
    }
    (elsewhere / "conf" / "model.conf").write_text("--beam=12.0\n", encoding="utf-8")
    folders.add(compiled_folder(moved, kit, "five", _five))
    assert len(folders) == 7


def test_options_of_decoding_are_set_over_the_models_own(
    fresh_folders: Path, kit: Kit, model: ModelInfo
) -> None:
    def options(folder: Path) -> dict[str, str]:
        lines = (folder / "conf" / "model.conf").read_text(encoding="utf-8").split()
        assert len(lines) == len({line.partition("=")[0] for line in lines})  # none twice
        return {name: value for name, _, value in (line.partition("=") for line in lines)}

    changed = {"beam": "9.5", "frames-per-chunk": "30"}
    folder = compiled_folder(model, kit, "five", _five, changed)
    own = options(model.path)
    assert "--beam" in own
    assert options(folder) == {**own, "--beam": "9.5", "--frames-per-chunk": "30"}
    mfcc = "conf/mfcc.conf"
    assert (folder / mfcc).read_bytes() == (model.path / mfcc).read_bytes()


def test_a_model_without_its_options_is_bad_input(
    fresh_folders: Path, kit: Kit, model: ModelInfo, tmp_path: Path
) -> None:
    gone = model.model_copy(update={"path": tmp_path / "gone"})
    with pytest.raises(BadInput, match="cannot be read"):
        compiled_folder(gone, kit, "five", _five)


def test_two_programs_compile_one_kit_at_once(fresh_folders: Path) -> None:
    """Both are held until both are ready."""
    programs = [
        subprocess.Popen(
            [sys.executable, "-c", _COMPILE],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(2)
    ]
    for program in programs:
        assert program.stdout is not None
        assert program.stdout.readline() == "ready\n"
    for program in programs:
        assert program.stdin is not None
        program.stdin.write("\n")
        program.stdin.flush()
    told = [program.communicate(timeout=60) for program in programs]
    assert [program.returncode for program in programs] == [0, 0], told
    assert told[0][0] == told[1][0]
    folder = Path(told[0][0].strip())
    assert (folder / "graph" / "HCLG.fst").is_file()
    assert list(folder.parent.iterdir()) == [folder]


def test_one_that_comes_second_takes_the_first_ones_folder(
    fresh_folders: Path, kit: Kit, model: ModelInfo
) -> None:
    def meanwhile(kit: Kit) -> WordGraph:
        compiled_folder(model, kit, "five", _five)  # the other program, faster
        return _five(kit)

    folder = compiled_folder(model, kit, "five", meanwhile)
    assert list(folder.parent.iterdir()) == [folder]


def test_a_cache_that_cannot_be_made_is_bad_input(
    fresh_folders: Path, kit: Kit, model: ModelInfo
) -> None:
    fresh_folders.write_text("a file where the cache should be", encoding="utf-8")
    with pytest.raises(BadInput, match="cannot be written"):
        compiled_folder(model, kit, "five", _five)


def test_a_full_disk_is_bad_input_and_leaves_nothing(
    fresh_folders: Path, kit: Kit, model: ModelInfo, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*arguments: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("countersign.hearing.graph.write_fst", full)
    with pytest.raises(BadInput, match="No space left"):
        compiled_folder(model, kit, "five", _five)
    assert list((fresh_folders / "countersign" / "graphs").iterdir()) == []
