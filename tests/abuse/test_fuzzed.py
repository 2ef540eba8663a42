"""A short, fixed part of what ``python -m tests.benchmarks.fuzz`` does at length."""

import random
from pathlib import Path

import pytest
from tests.abuse.pages_fuzz import fuzz_pages
from tests.abuse.targets import TARGETS, Target, attempt

from countersign.hearing import Ears
from countersign.kit import Kit

TRIES = {"case": 40, "kit": 12, "paper": 10, "words": 40, "M4A": 6, "policy": 60, "doses": 60,
         "checklist": 60}  # fmt: skip


@pytest.mark.parametrize("target", TARGETS, ids=lambda target: target.name)
def test_broken_inputs_are_used_or_refused_in_one_sentence(target: Target, tmp_path: Path) -> None:
    refused = 0
    tries = TRIES.get(target.name, 15)
    for seed in range(1000, 1000 + tries):
        path = tmp_path / "input"
        path.write_bytes(target.make(random.Random(seed)))
        refused += attempt(target, path) is not None
    assert target.name == "words" or refused > 0, "nothing was broken"


def test_requests_made_from_the_description_end_well(tmp_path: Path, kit: Kit, ears: Ears) -> None:
    found = fuzz_pages(tmp_path, kit=kit, ears=ears, examples=4)
    assert found.failures == []
    assert found.tries > 60
    assert found.refused < found.tries  # some of them were good
