"""Write the lock files of ``deploy`` anew: ``python -m tests.shipping.lock`` (needs ``uv``).

What was locked before stays, as long as it fits ``pyproject.toml``; ``--upgrade`` takes the newest.
No address of a registry is written: a lock says what is installed, not from where.
"""

import argparse
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).parents[2]
DEPLOY = ROOT / "deploy"
OLDEST_PYTHON = "3.11"
NOT_SERVED = frozenset({"test", "docs", "bench", "fixtures"})
"""Extras that no ward server needs. ``bench`` and ``fixtures`` are in no lock: they carry weights
and voices that a machine fetches only to remake recordings or to compare."""

ALIKE = re.compile(r"^([A-Za-z0-9._-]+)==([^ ;\\]+)(?: *; *([^\\]+?))?(?: *\\)?$")


@dataclass(frozen=True)
class Locked:
    """One line of a lock: the version, and how many hashes stand under it."""

    version: Version
    hashes: int


def project() -> Mapping[str, object]:
    """The ``project`` table of ``pyproject.toml``."""
    found: Mapping[str, object] = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    return found


def served_extras() -> list[str]:
    """The extras that a ward server may want."""
    extras = project()["optional-dependencies"]
    assert isinstance(extras, dict)
    return sorted(set(extras) - NOT_SERVED)


def locks() -> dict[str, list[str]]:
    """The extras that each lock has besides what is always needed."""
    return {
        "requirements.lock": served_extras(),
        "development.lock": sorted([*served_extras(), "test", "docs"]),
    }


def wanted(extras: list[str]) -> Iterator[Requirement]:
    """What ``pyproject.toml`` asks for with these extras, directly."""
    table = project()
    always, optional = table["dependencies"], table["optional-dependencies"]
    assert isinstance(always, list) and isinstance(optional, dict)
    for text in [*always, *(each for extra in extras for each in optional[extra])]:
        requirement = Requirement(text)
        if canonicalize_name(requirement.name) != "countersign":
            yield requirement


def read_lock(path: Path) -> dict[str, list[Locked]]:
    """Every package of a lock; one may stand with several versions for several systems."""
    found: dict[str, list[Locked]] = {}
    entries = re.split(r"^(?=[A-Za-z0-9])", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
    for entry in entries:
        head = ALIKE.match(entry.partition("\n")[0])
        if head is not None:
            locked = Locked(Version(head[2]), entry.count("--hash=sha256:"))
            found.setdefault(canonicalize_name(head[1]), []).append(locked)
    return found


def main() -> int:
    """Write every lock."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    asked.add_argument("--upgrade", action="store_true")
    upgrade = ["--upgrade"] if asked.parse_args().upgrade else []
    common = [
        *("uv", "pip", "compile", "--quiet", "--universal", "--python-version", OLDEST_PYTHON),
        *("--generate-hashes", "--no-emit-index-url", "--no-emit-find-links", "--no-header"),
        *("--no-annotate", *upgrade),
    ]
    for name, extras in locks().items():
        chosen = [word for extra in extras for word in ("--extra", extra)]
        _run([*common, *chosen, "pyproject.toml", "-o", f"deploy/{name}"])
    tables = tomllib.loads((ROOT / "pyproject.toml").read_text())
    asked_for = "\n".join(tables["build-system"]["requires"])
    _run([*common, "-", "-o", "deploy/build.lock"], asked_for)
    return 0


def _run(command: list[str], given: str | None = None) -> None:
    subprocess.run(command, cwd=ROOT, input=given, text=True, check=True)


if __name__ == "__main__":
    sys.exit(main())
