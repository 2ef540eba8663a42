"""Reads a folder of advisories in the OSV format and says which versions they touch.

The format (https://ossf.github.io/osv-schema/, 1.6) as the copies of the Python advisory database
(YAML, ``vulns/<package>/PYSEC-….yaml``) and of the GitHub advisory database (JSON) have it. Of the
ranges, ``ECOSYSTEM`` and ``SEMVER`` are read; ``GIT`` ranges name commits, not versions.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from packaging.utils import canonicalize_name
from packaging.version import Version

SUFFIXES = (".yaml", ".yml", ".json")


@dataclass(frozen=True)
class Advisory:
    """One advisory about one package; ``ranges`` are lists of (event, version) as written."""

    id: str
    modified: str
    package: str
    ranges: tuple[tuple[tuple[str, str], ...], ...]
    versions: tuple[str, ...]

    def touches(self, version: Version) -> bool:
        """Whether the version is named or in a range; InvalidVersion where that cannot be told."""
        named = any(version == Version(each) for each in self.versions)
        return named or any(_within(version, events) for events in self.ranges)

    @property
    def mended_in(self) -> str:
        """The versions that are not touched any more, as the ranges name them."""
        fixed = [each for events in self.ranges for name, each in events if name == "fixed"]
        return ", ".join(dict.fromkeys(fixed)) or "no version yet"


def _within(version: Version, events: tuple[tuple[str, str], ...]) -> bool:
    """The evaluation of the specification: events in order, the last that applies decides."""
    order = {"introduced": 0, "last_affected": 1, "fixed": 1}

    def place(event: tuple[str, str]) -> tuple[bool, Version, int]:
        # "0" stands before every version, also before a pre-release of 0
        return (event[1] != "0", Version(event[1]), order[event[0]])

    touched = False
    for name, each in sorted(events, key=place):
        if name == "introduced" and (each == "0" or version >= Version(each)):
            touched = True
        elif (name == "fixed" and version >= Version(each)) or (
            name == "last_affected" and version > Version(each)
        ):
            touched = False
    return touched


def read_folder(folder: Path) -> tuple[list[Advisory], list[Path]]:
    """All advisories below a folder about Python packages, and the files that are none it reads."""
    found: list[Advisory] = []
    unread: list[Path] = []
    for path in sorted(folder.rglob("*")):
        if path.suffix not in SUFFIXES or not path.is_file():
            continue
        try:
            found += _advisories(_load(path))
        except (ValueError, KeyError, TypeError, AttributeError, yaml.YAMLError, RecursionError):
            unread.append(path)
    return found, unread


def _load(path: Path) -> dict[str, Any]:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".json":
        loaded: dict[str, Any] = json.loads(text)
    else:
        # every value as it is written: 1.10 is a version and no number
        loaded = yaml.load(text, Loader=yaml.BaseLoader)
    return loaded


def _advisories(told: dict[str, Any]) -> Iterator[Advisory]:
    if told.get("withdrawn"):
        return
    for affected in told["affected"]:
        if affected["package"]["ecosystem"] != "PyPI":
            continue
        ranges = tuple(
            tuple((name, str(each)) for event in one["events"] for name, each in event.items()
                  if name in ("introduced", "fixed", "last_affected"))
            for one in affected.get("ranges", ())
            if one["type"] in ("ECOSYSTEM", "SEMVER")
        )  # fmt: skip
        versions = tuple(str(each) for each in affected.get("versions", ()))
        if not ranges and not versions:
            raise ValueError(f"{told['id']} names no versions")
        yield Advisory(
            id=str(told["id"]),
            modified=str(told["modified"]),
            package=canonicalize_name(affected["package"]["name"]),
            ranges=ranges,
            versions=versions,
        )
