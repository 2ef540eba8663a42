"""``python -m tests.abuse.licences``: every run-time dependency, its version and its licence.

It reads what is installed, so it needs no network. Known weaknesses need one: run ``pip-audit``.
"""

import re
import tomllib
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
NOT_AT_RUN_TIME = frozenset({"test", "bench", "fixtures", "docs"})
"""Extras that nobody who uses the program installs."""

_COPYLEFT = re.compile(r"\bA?GPL|AFFERO|GENERAL PUBLIC LICENSE|\bSSPL|\bEUPL", re.IGNORECASE)
_LESSER = re.compile(r"\bLGPL|LESSER GENERAL PUBLIC|LIBRARY GENERAL PUBLIC", re.IGNORECASE)

EXCEPTIONS: dict[str, str] = {
    "sqlcipher3": "its metadata name no licence; the LICENSE file in it is the text of zlib's",
}
"""Packages whose licence cannot be judged from its name, and why they may be used."""


@dataclass(frozen=True)
class Dependency:
    """One installed package that the program may import."""

    name: str
    version: str
    licence: str

    @property
    def verdict(self) -> str:
        """``ok``, ``exception``, ``lesser`` (used as a library, unchanged), or what is wrong."""
        if self.name in EXCEPTIONS:
            return "exception"
        if not self.licence:
            return "no licence is named"
        if _LESSER.search(self.licence):
            return "lesser"
        # "A or B": one that may be chosen is enough
        if all(_COPYLEFT.search(each) for each in re.split(r"\bOR\b", self.licence)):
            return "copyleft"
        return "ok"


def run_time() -> tuple[list[Dependency], list[str]]:
    """What is installed of the run-time dependencies, extras included, and what is not."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [Requirement(line) for line in project["dependencies"]]
    for name, lines in project["optional-dependencies"].items():
        if name not in NOT_AT_RUN_TIME:
            wanted += [Requirement(line) for line in lines]
    found: dict[str, Dependency] = {}
    absent: set[str] = set()
    seen: set[tuple[str, frozenset[str]]] = set()
    while wanted:
        asked = wanted.pop()
        key = (_plain(asked.name), frozenset(asked.extras))
        if key in seen or key[0] == "countersign":
            continue
        seen.add(key)
        try:
            installed = distribution(asked.name)
        except PackageNotFoundError:
            absent.add(key[0])
            continue
        found[key[0]] = Dependency(key[0], installed.version, _licence(installed))
        for line in installed.requires or ():
            needed = Requirement(line)
            if needed.marker is None or any(
                needed.marker.evaluate({"extra": extra}) for extra in ("", *asked.extras)
            ):
                wanted.append(needed)
    return sorted(found.values(), key=lambda each: each.name), sorted(absent)


def _plain(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


def _licence(installed: Distribution) -> str:
    """What the metadata say: an expression, else classifiers, else the first line of the text."""
    about = installed.metadata
    if expression := about.get("License-Expression"):
        return str(expression)
    named = [
        line.rsplit(" :: ", 1)[-1]
        for line in about.get_all("Classifier") or ()
        if line.startswith("License ::") and not line.endswith("OSI Approved")
    ]
    if named:
        return " AND ".join(named)
    text = str(about.get("License") or "").strip()
    return text.split("\n")[0][:60] if text.upper() != "UNKNOWN" else ""


if __name__ == "__main__":
    dependencies, missing = run_time()
    for each in dependencies:
        print(f"{each.name:<28} {each.version:<14} {each.verdict:<10} {each.licence}")
    print(f"{len(dependencies)} packages; not installed here: {', '.join(missing) or 'none'}")
