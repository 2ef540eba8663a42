"""What is in the wheel, and that the same source gives the same bytes."""

import hashlib
import os
import subprocess
import sys
from email.parser import BytesParser
from pathlib import Path
from zipfile import ZipFile

import pytest

ROOT = Path(__file__).parents[2]
MODEL = "countersign/models/counting-en"


def build(out: Path, **surroundings: str) -> Path:
    """The wheel as any front end builds it, without fetching anything."""
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)],
        cwd=ROOT,
        env={**os.environ, **surroundings},
        check=True,
        capture_output=True,
    )
    (wheel,) = out.glob("*.whl")
    return wheel


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("wheel"), SOURCE_DATE_EPOCH="1772438400")


def test_the_model_is_in_it_whole(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        sums = archive.read(f"{MODEL}/SHA256SUMS").decode().splitlines()
        assert {line.partition("  ")[2] for line in sums} >= {"am/final.mdl", "conf/model.conf"}
        for line in sums:
            digest, _, name = line.partition("  ")
            assert hashlib.sha256(archive.read(f"{MODEL}/{name}")).hexdigest() == digest, name


def test_everything_of_the_program_is_in_it_and_nothing_else(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        names = set(archive.namelist())
    source = ROOT / "src"
    expected = {
        str(path.relative_to(source))
        for path in source.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts and path.suffix != ".pyc"
    }
    expected = {name for name in expected if ".egg-info/" not in name}
    assert {"countersign/kit/hernia.toml", "countersign/exchange/case.schema.json"} <= expected
    rest = names - expected
    assert expected <= names
    assert {name.split("/")[0] for name in rest} == {
        "countersign",
        "countersign-0.1.0.data",
        "countersign-0.1.0.dist-info",
    }
    assert all(name.startswith(MODEL) for name in rest if name.startswith("countersign/"))


def test_what_it_says_of_itself(wheel: Path) -> None:
    with ZipFile(wheel) as archive:
        about = BytesParser().parsebytes(archive.read("countersign-0.1.0.dist-info/METADATA"))
        entry = archive.read("countersign-0.1.0.dist-info/entry_points.txt").decode()
        page = archive.read("countersign-0.1.0.data/data/share/man/man1/countersign.1").decode()
        licences = {name for name in archive.namelist() if "/licenses/" in name}
    assert about["License-Expression"] == "Apache-2.0"
    assert {Path(name).name for name in licences} == {"LICENSE", "NOTICE"}
    assert "countersign = countersign.cli:run" in entry
    assert page == (ROOT / "docs" / "countersign.1").read_text()


def test_the_same_source_gives_the_same_bytes(wheel: Path, tmp_path: Path) -> None:
    again = build(tmp_path, SOURCE_DATE_EPOCH="1772438400", TZ="Asia/Tokyo", LC_ALL="C.UTF-8")
    assert again.name == wheel.name
    assert again.read_bytes() == wheel.read_bytes()
    # The times of the files in it are the epoch's (reproducible-builds.org, SOURCE_DATE_EPOCH).
    with ZipFile(again) as archive:
        assert {entry.date_time[:3] for entry in archive.infolist()} == {(2026, 3, 2)}
