"""A ledger for each test, and the words of a paper page by page."""

import io
from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from pypdf import PdfReader

from countersign.ledger import Ledger, open_ledger

PRINTED = datetime(2026, 3, 2, 12, 0, tzinfo=timezone(timedelta(hours=-5)))


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(tmp_path / "ledger.sqlite3")
    yield opened
    opened.close()


def pages(data: bytes) -> list[str]:
    """The words of every page, white space made single."""
    reader = PdfReader(io.BytesIO(data))
    return [" ".join(page.extract_text().split()) for page in reader.pages]
