"""Model folders: found, chosen, damaged."""

import hashlib
import json
import shutil
from pathlib import Path

import platformdirs
import pytest

from countersign.hearing.models import (
    ModelInfo,
    bundled_model,
    current_model,
    describe_model,
    use_model,
)
from countersign.problems import BadInput


@pytest.fixture
def copied(tmp_path: Path) -> Path:
    return Path(shutil.copytree(bundled_model(), tmp_path / "copied"))


def test_the_bundled_model_is_found_and_described(model: ModelInfo) -> None:
    assert model.path == bundled_model()
    assert model.compiled
    assert not model.word_list
    files = [file for file in model.path.rglob("*") if file.is_file()]
    assert model.size_bytes == sum(len(file.read_bytes()) for file in files)
    acoustic = (model.path / "am" / "final.mdl").read_bytes()
    assert model.sha256 == hashlib.sha256(acoustic).hexdigest()


@pytest.mark.parametrize("name", ["am/final.mdl", "conf/mfcc.conf", "conf/model.conf"])
def test_one_changed_byte_is_noticed(copied: Path, name: str) -> None:
    describe_model(copied)
    content = bytearray((copied / name).read_bytes())
    content[-1] ^= 1
    (copied / name).write_bytes(content)
    with pytest.raises(BadInput, match=rf"damaged: {name}"):
        describe_model(copied)


def test_missing_files_are_named(copied: Path, tmp_path: Path) -> None:
    (copied / "conf" / "model.conf").unlink()
    with pytest.raises(BadInput, match=r"conf/model\.conf"):
        describe_model(copied)
    (copied / "SHA256SUMS").unlink()
    with pytest.raises(BadInput, match="no decoding graph"):
        describe_model(copied)
    (copied / "am" / "final.mdl").unlink()
    with pytest.raises(BadInput, match=r"am/final\.mdl is missing"):
        describe_model(copied)
    with pytest.raises(BadInput, match="no model folder"):
        describe_model(tmp_path / "nowhere")


@pytest.mark.parametrize("content", [b"\xff\xfe", b"onlyadigest\n", b"0 am/final.mdl\n"])
def test_a_damaged_list_of_checksums_is_bad_input(copied: Path, content: bytes) -> None:
    (copied / "SHA256SUMS").write_bytes(content)
    with pytest.raises(BadInput, match="damaged"):
        describe_model(copied)


def test_a_chosen_model_is_the_current_one(fresh_folders: Path, copied: Path) -> None:
    assert current_model() == bundled_model()
    info = use_model(copied)
    assert info.path == copied
    assert current_model() == copied
    shutil.rmtree(copied)
    with pytest.raises(BadInput, match="no model folder"):
        current_model()


def test_a_folder_that_is_no_model_is_not_chosen(fresh_folders: Path, tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        use_model(tmp_path)
    assert current_model() == bundled_model()


@pytest.mark.parametrize("content", ["", "{", "[]", "{}", json.dumps({"path": 5}), "\x00"])
def test_a_broken_choice_is_bad_input(fresh_folders: Path, content: str) -> None:
    folder = platformdirs.user_config_path("countersign")
    folder.mkdir(parents=True)
    (folder / "model.json").write_text(content, encoding="utf-8")
    with pytest.raises(BadInput, match="saved model choice"):
        current_model()
    use_model(bundled_model())
    assert current_model() == bundled_model()


def test_a_choice_that_cannot_be_saved_is_bad_input(fresh_folders: Path) -> None:
    folder = platformdirs.user_config_path("countersign")
    folder.parent.mkdir(parents=True, exist_ok=True)
    folder.write_text("in the way", encoding="utf-8")
    with pytest.raises(BadInput, match="cannot be saved"):
        use_model(bundled_model())


@pytest.mark.parametrize("sums", ["", "0" * 64 + "  conf/mfcc.conf\n"])
def test_a_list_of_checksums_without_the_network_is_damage(tmp_path: Path, sums: str) -> None:
    folder = tmp_path / "model"
    shutil.copytree(bundled_model(), folder)
    (folder / "SHA256SUMS").write_text(sums, encoding="utf-8")
    with pytest.raises(BadInput, match="damaged"):
        describe_model(folder)


@pytest.mark.parametrize("lines", [1, 2, 3])
def test_a_list_of_checksums_that_was_cut_is_damage(copied: Path, lines: int) -> None:
    sums = copied / "SHA256SUMS"
    kept = sums.read_text(encoding="utf-8").splitlines(keepends=True)[:lines]
    sums.write_text("".join(kept), encoding="utf-8")
    with pytest.raises(BadInput, match="does not match its checksum"):
        describe_model(copied)
