"""Reading a kit: the demonstration kit, and every way a file can be unusable."""

import os
from pathlib import Path

import pytest

from countersign.kit import Group, demo_kit_path, read_kit
from countersign.kit.source import LARGEST_BYTES
from countersign.problems import BadInput


def refusal(path: Path) -> str:
    with pytest.raises(BadInput) as caught:
        read_kit(path)
    sentence = str(caught.value)
    assert sentence.endswith(".") and "\n" not in sentence
    return sentence


def test_demonstration_kit_covers_the_four_groups_in_order() -> None:
    # AORN and AST guidance, from memory: sponges, sharps, miscellaneous items, instruments.
    kit = read_kit(demo_kit_path())
    assert list(dict.fromkeys(item.group for item in kit.items)) == [
        *(Group.SPONGES, Group.SHARPS, Group.SMALL_ITEMS, Group.INSTRUMENTS)
    ]
    assert list(Group) == list(dict.fromkeys(item.group for item in kit.items))
    assert len(kit.items) >= 30


def test_demonstration_pack_sizes() -> None:
    # Common practice, no source: 4x4 x-ray detectable sponges in tens, laparotomy and dissecting
    # sponges in fives.
    kit = read_kit(demo_kit_path())
    assert {i.id: i.pack for i in kit.items if i.group is Group.SPONGES} == {
        "raytec": 10,
        "lap_sponge": 5,
        "peanut": 5,
    }


def test_an_item_of_parts_expects_its_parts() -> None:
    # Common practice, no source: an item of several parts is counted part by part.
    kit = read_kit(demo_kit_path())
    parted = [item for item in kit.items if item.parts]
    assert parted
    assert all(item.expected and item.expected % len(item.parts) == 0 for item in parted)


def test_demonstration_medications_have_strengths_where_labels_need_them() -> None:
    kit = read_kit(demo_kit_path())
    assert kit.medication("bupivacaine").strengths == ("0.25 %", "0.5 %")
    assert kit.medication("epinephrine").strengths == ("1:100,000", "1:200,000")
    with pytest.raises(KeyError):
        kit.medication("raytec")


def test_missing_file_folder_and_odd_names(tmp_path: Path) -> None:
    assert "no kit file" in refusal(tmp_path / "none.toml")
    assert "is a folder" in refusal(tmp_path)
    assert "cannot be read" in refusal(Path("a\0b"))


def test_not_utf8_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_bytes(b'title = "a"\nprocedure = "b\xff"\n')
    assert "line 2" in refusal(path) and "UTF-8" in refusal(path)


def test_too_large(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_bytes(b"#" * (LARGEST_BYTES + 1))
    assert "larger than" in refusal(path)


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="needs file permissions")
def test_no_permission(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_text("")
    path.chmod(0)
    assert "permission denied" in refusal(path)


def test_permission_refusal_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "kit.toml"
    path.write_text("")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert "permission denied" in refusal(path)


def test_broken_toml_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_text('title = "a"\n\nprocedure =\n')
    assert f"{path}, line 3" in refusal(path)


def test_windows_line_ends_are_read(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    path.write_bytes(demo_kit_path().read_bytes().replace(b"\n", b"\r\n"))
    assert read_kit(path) == read_kit(demo_kit_path())
