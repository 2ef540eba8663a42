"""The lock files fit ``pyproject.toml`` and name no registry.

Where one of these fails: ``pip install uv && python -m tests.shipping.lock``.
"""

import json
import re
import tomllib

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from tests.shipping.audit import judge
from tests.shipping.lock import DEPLOY, ROOT, locks, read_lock, wanted

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
