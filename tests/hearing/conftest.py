"""A cache and a configuration of the tests' own, and the bundled model opened once."""

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from countersign.hearing import Ears, open_ears
from countersign.hearing.models import ModelInfo, bundled_model, describe_model
from countersign.kit import Kit, demo_kit_path, read_kit

ROOT = Path(__file__).resolve().parents[2]
RECORDINGS = ROOT / "audio_fixtures"


def manifest() -> list[dict[str, Any]]:
    listed = json.loads((RECORDINGS / "manifest.json").read_text(encoding="utf-8"))
    recordings: list[dict[str, Any]] = listed["recordings"]
    return recordings


def speech_folder(name: str) -> Path:
    """A folder of human recordings, which are not part of the source tree."""
    given = os.environ.get("COUNTERSIGN_SPEECH")
    folder = (Path(given) if given else ROOT.parent / "shared" / "speech") / name
    if not folder.is_dir():
        pytest.skip(f"set COUNTERSIGN_SPEECH to a folder that holds '{name}' to run this")
    return folder


def use_folders_in(folder: Path, patch: pytest.MonkeyPatch) -> None:
    patch.setenv("HOME", str(folder))
    patch.setenv("XDG_CACHE_HOME", str(folder / "cache"))
    patch.setenv("XDG_CONFIG_HOME", str(folder / "config"))


@pytest.fixture(scope="package", autouse=True)
def own_folders(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Nothing here reads or changes the user's own cache or model choice."""
    with pytest.MonkeyPatch.context() as patch:
        use_folders_in(tmp_path_factory.mktemp("home"), patch)
        yield


@pytest.fixture(scope="package")
def kit() -> Kit:
    return read_kit(demo_kit_path())


@pytest.fixture(scope="package")
def model() -> ModelInfo:
    return describe_model(bundled_model())


@pytest.fixture(scope="package")
def ears(own_folders: None, kit: Kit) -> Ears:
    return open_ears(kit)


@pytest.fixture
def fresh_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty home; the path is its cache."""
    use_folders_in(tmp_path, monkeypatch)
    return tmp_path / "cache"
