"""A ledger for each test."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from countersign.ledger import Ledger, open_ledger


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(tmp_path / "ledger.sqlite3")
    yield opened
    opened.close()


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(tmp_path / "other.sqlite3")
    yield opened
    opened.close()
