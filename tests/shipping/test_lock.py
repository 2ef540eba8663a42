"""The lock files fit ``pyproject.toml`` and name no registry.

Where one of these fails: ``pip install uv && python -m tests.shipping.lock``.
"""

import json
import re
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version
from tests.shipping import audit
from tests.shipping.audit import compare, judge
from tests.shipping.lock import DEPLOY, ROOT, Locked, locks, read_lock, wanted
from tests.shipping.osv import read_folder

NAMES = [*locks(), "build.lock"]


def asked(name: str) -> list[Requirement]:
    if name in locks():
        return list(wanted(locks()[name]))
    tables = tomllib.loads((ROOT / "pyproject.toml").read_text())
    return [Requirement(text) for text in tables["build-system"]["requires"]]


@pytest.mark.parametrize("name", NAMES)
def test_everything_asked_for_is_locked_in_a_version_that_fits(name: str) -> None:
    locked = read_lock(DEPLOY / name)
    assert asked(name)
    for requirement in asked(name):
        found = locked.get(canonicalize_name(requirement.name))
        assert found, f"{requirement} is not in {name}"
        for each in found:
            assert requirement.specifier.contains(each.version, prereleases=True), requirement


@pytest.mark.parametrize("name", NAMES)
def test_every_package_has_hashes(name: str) -> None:
    locked = read_lock(DEPLOY / name)
    lines = (DEPLOY / name).read_text().splitlines()
    assert len([line for line in lines if "==" in line]) == sum(map(len, locked.values()))
    assert all(each.hashes for versions in locked.values() for each in versions)


@pytest.mark.parametrize("name", NAMES)
def test_no_registry_is_named(name: str) -> None:
    text = (DEPLOY / name).read_text()
    assert not re.search(r"://|--index|--extra-index|--find-links|--trusted-host| @ ", text)


def test_the_server_gets_nothing_that_only_tests_need() -> None:
    served = set(read_lock(DEPLOY / "requirements.lock"))
    assert not served & {"pytest", "mypy", "ruff", "sphinx", "hypothesis", "playwright"}
    assert served < set(read_lock(DEPLOY / "development.lock"))


def test_what_was_not_audited_is_no_success() -> None:
    good = {"name": "a", "version": "1", "vulns": []}
    weak = {"name": "b", "version": "2", "vulns": [{"id": "PYSEC-1", "fix_versions": ["3"]}]}
    left = {"name": "c", "skip_reason": "not found"}

    def code(*listed: object) -> int:
        return judge("x.lock", json.dumps({"dependencies": listed}))[0]

    assert code(good) == 0
    assert code(good, left) == code() == 2
    assert code(good, weak, left) == code(weak) == 1
    assert "b 2: PYSEC-1, mended in 3." in judge("", json.dumps({"dependencies": [weak]}))[1]
    assert judge("x.lock", "", "no route")[1] == ["x.lock was not audited: no route"]


def advisory(folder: Path, number: int, package: str, **affected: object) -> None:
    """An invented advisory, written as YAML or JSON in turn, as the two databases do."""
    place = folder / "vulns" / package / f"PYSEC-2031-{number}"
    place.parent.mkdir(parents=True, exist_ok=True)
    what = {"package": {"name": package, "ecosystem": "PyPI"}, **affected}
    told = {"id": place.name, "modified": f"2031-01-{number:02}T00:00:00Z", "affected": [what]}
    # JSON is YAML too
    place.with_suffix(".yaml" if number % 2 else ".json").write_text(json.dumps(told))


def within(*events: tuple[str, str]) -> list[object]:
    return [{"type": "ECOSYSTEM", "events": [dict([event]) for event in events]}]


@pytest.mark.parametrize(
    ("version", "events", "touched"),
    [
        ("1.9", [("introduced", "0"), ("fixed", "1.10")], True),
        ("1.10", [("introduced", "0"), ("fixed", "1.10")], False),
        ("1.10rc1", [("introduced", "0"), ("fixed", "1.10")], True),
        ("2.0", [("introduced", "0"), ("last_affected", "2.0")], True),
        ("2.0.post1", [("introduced", "0"), ("last_affected", "2.0")], False),
        ("0.1", [("introduced", "1.0")], False),
        ("9.0", [("introduced", "1.0")], True),  # no version mends it yet
        ("1.5", [("fixed", "1.2"), ("introduced", "0"), ("introduced", "1.4")], True),
        ("1.3", [("fixed", "1.2"), ("introduced", "0"), ("introduced", "1.4")], False),
        ("0.0.dev1", [("introduced", "0"), ("fixed", "0.1")], True),
    ],
)
def test_ranges_of_advisories_are_read_as_their_specification_says(
    tmp_path: Path, version: str, events: list[tuple[str, str]], touched: bool
) -> None:
    """OSV schema 1.6, "evaluation": the last event at or before a version decides."""
    advisory(tmp_path, 1, "invented", ranges=within(*events))
    ((found,), unread) = read_folder(tmp_path)
    assert not unread and found.touches(Version(version)) is touched


def test_a_lock_is_compared_with_a_copy_of_advisories(tmp_path: Path) -> None:
    advisory(tmp_path, 1, "Invented_Sieve", ranges=within(("introduced", "0"), ("fixed", "1.10")))
    advisory(
        tmp_path, 2, "invented-sieve", versions=["1.8.0"], ranges=[{"type": "GIT", "events": []}]
    )
    advisory(tmp_path, 3, "other", ranges=within(("introduced", "0")))
    found, unread = read_folder(tmp_path)
    assert len(found) == 3 and not unread

    def sieve(version: str) -> tuple[int, list[str]]:
        return compare("x.lock", {"invented-sieve": [Locked(Version(version), 1)]}, found)

    assert sieve("1.10") == (0, ["x.lock: 1 packages compared, 1 have advisories, 0 weak."])
    code, sentences = sieve("1.9")
    assert code == 1 and "invented-sieve 1.9: PYSEC-2031-1, mended in 1.10." in sentences
    assert any("PYSEC-2031-2, mended in no version yet" in each for each in sieve("1.8")[1])
    advisory(tmp_path, 4, "invented-sieve", ranges=within(("introduced", "0"), ("fixed", "soon")))
    code, sentences = compare(
        "x.lock", {"invented-sieve": [Locked(Version("2"), 1)]}, read_folder(tmp_path)[0]
    )
    assert code == 2 and "could not be compared" in sentences[0]


def test_a_copy_that_cannot_be_read_whole_is_no_success(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["audit", "--advisories", str(tmp_path)])
    assert audit.main() == 2  # nothing there
    advisory(tmp_path, 7, "invented", ranges=within(("introduced", "0")))
    assert audit.main() == 0
    assert "the newest (PYSEC-2031-7) of 2031-01-07" in capsys.readouterr().out
    (tmp_path / "broken.yaml").write_text("affects: {ranges: [")
    assert audit.main() == 2
    (tmp_path / "broken.yaml").write_text("id: PYSEC-2031-9\nwithdrawn: '2031-01-09T00:00:00Z'")
    assert audit.main() == 0
    served = next(iter(read_lock(DEPLOY / "requirements.lock")))
    advisory(tmp_path, 8, served, ranges=within(("introduced", "0")))
    assert audit.main() == 1
