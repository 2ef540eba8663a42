"""Prove that the wheel installs and works without a network: ``python -m tests.shipping.offline``.

It builds a folder of wheels (the only step that fetches anything), installs the wheel with pipx
and no index, runs the main job on a shipped recording from another folder, prints the papers of
the case and verifies them; then does the same with ``pip install .``. Where the system allows it
(``unshare --net``), everything after the first step runs without any network interface.
"""

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.shipping.running import run

ROOT = Path(__file__).parents[2]
RECORDING = "sharps-three-items.flac"
EXTRAS = "pages,papers"


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("--wheels", type=Path, help="Keep, or find, the folder of wheels here.")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory(prefix="offline-") as name:
        work = Path(name)
        house = (given.wheels or work / "wheels").absolute()
        _fetch(house)
        cut = _no_network()
        print("network:", "none (a namespace of its own)" if cut else "there, but no index is used")
        (built,) = house.glob("countersign-*.whl")
        with_pipx = _with_pipx(work, house, built, cut)
        _main_job("pipx", with_pipx, work / "elsewhere-1", cut)
        with_pip = _with_pip(work, house, cut)
        _main_job("pip install .", with_pip, work / "elsewhere-2", cut)
    return 0


def _fetch(house: Path) -> None:
    house.mkdir(parents=True, exist_ok=True)
    for old in house.glob("countersign-*.whl"):
        old.unlink()
    links = ("--find-links", str(house))
    run(
        "wheels",
        [*_pip(sys.executable), "wheel", "-q", "-w", str(house), *links, f"{ROOT}[{EXTRAS}]"],
    )
    tools = ("pipx", "hatchling", "setuptools", "wheel", "pip")
    run("tools", [*_pip(sys.executable), "wheel", "-q", "-w", str(house), *links, *tools])
    size = sum(file.stat().st_size for file in house.iterdir())
    print(f"wheels: {len(list(house.iterdir()))} files, {size / 1e6:.0f} MB")


def _with_pipx(work: Path, house: Path, built: Path, cut: list[str]) -> Path:
    tool = work / "tool"
    run("a place for pipx", [sys.executable, "-m", "venv", str(tool)])
    offline = _offline(work, house)
    run("pipx itself", [*cut, *_pip(tool / "bin/python"), "install", "-q", "pipx"], offline)
    run(
        "pipx install",
        [*cut, str(tool / "bin/pipx"), "install", "--quiet", f"{built}[{EXTRAS}]"],
        offline,
    )
    if not (work / "man" / "man1" / "countersign.1").exists():
        raise SystemExit("pipx did not find the manual page in the wheel")
    return work / "bin" / "countersign"


def _with_pip(work: Path, house: Path, cut: list[str]) -> Path:
    place = work / "place"
    run("an empty environment", [sys.executable, "-m", "venv", str(place)])
    command = [*cut, *_pip(place / "bin/python"), "install", "-q", f"{ROOT}[{EXTRAS}]"]
    run("pip install .", command, _offline(work, house))
    return place / "bin" / "countersign"


def _main_job(how: str, countersign: Path, folder: Path, cut: list[str]) -> None:
    """Listen from a folder that is not the checkout, with a home of its own; then papers."""
    folder.mkdir()
    shutil.copy(ROOT / "audio_fixtures" / RECORDING, folder)
    surroundings = {"PATH": "/usr/bin:/bin", "HOME": str(folder), "LANG": "C.UTF-8"}

    def call(*arguments: str) -> str:
        command = [*cut, str(countersign), *arguments]
        return run(f"{how}: {arguments[0]}", command, surroundings, cwd=folder)

    heard = json.loads(call("listen", RECORDING, "--json"))
    found = [(event["item"], event["quantity"]) for event in heard["events"]]
    manifest = json.loads((ROOT / "audio_fixtures" / "manifest.json").read_text())
    (entry,) = (each for each in manifest["recordings"] if each["file"] == RECORDING)
    expected = [(event["item"], event["quantity"]) for event in entry["events"]]
    if found != expected:
        raise SystemExit(f"{how}: heard {found}, said was {expected}")
    (case,) = re.findall(r"\b[0-9]{4}-[a-z]{4}\b", call("cases"))
    call("papers", case, "--out", "papers")
    for paper in sorted((folder / "papers").iterdir()):
        print(f"  {call('verify', str(paper)).strip()}")
    print(f"{how}: {found}, model {heard['model']}")


def _offline(work: Path, house: Path) -> dict[str, str]:
    return {
        "PATH": os.environ["PATH"],
        "HOME": str(work),
        "PIP_NO_INDEX": "1",
        "PIP_FIND_LINKS": str(house),
        "PIP_CONFIG_FILE": os.devnull,
        "PIP_DISABLE_PIP_VERSION_CHECK": "1",
        "PIPX_HOME": str(work / "pipx"),
        "PIPX_BIN_DIR": str(work / "bin"),
        "PIPX_MAN_DIR": str(work / "man"),
        "PIPX_DEFAULT_BACKEND": "pip",
    }


def _no_network() -> list[str]:
    """How to run a command without a network, empty where this system does not let us."""
    for cut in (["unshare", "--net"], ["unshare", "--map-root-user", "--net"]):
        try:
            if subprocess.run([*cut, "true"], capture_output=True, check=False).returncode == 0:
                return cut
        except FileNotFoundError:
            break
    return []


def _pip(python: str | Path) -> list[str]:
    return [str(python), "-m", "pip"]


if __name__ == "__main__":
    sys.exit(main())
