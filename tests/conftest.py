"""The demo kit and the bundled model, opened once for all tests that name no others."""

import signal
from collections.abc import Iterator
from typing import TYPE_CHECKING

import hypothesis
import pytest

from countersign.hearing import Ears, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.ledger import open_ledger

if TYPE_CHECKING:
    from tests.papers.cases import Shelf

# A busy machine is no fault: no test is timed.
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")


@pytest.fixture(scope="session")
def kit() -> Kit:
    return read_kit(demo_kit_path())


@pytest.fixture(scope="session")
def ears(kit: Kit) -> Ears:
    return open_ears(kit)


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> "Iterator[Shelf]":
    from tests.papers.cases import Shelf

    ledger = open_ledger(tmp_path_factory.mktemp("shelf") / "ledger.sqlite3")
    yield Shelf(ledger)
    ledger.close()


@pytest.fixture(scope="session", autouse=True)
def ctrl_c_interrupts() -> None:
    """A shell starts its background jobs with Ctrl-C ignored, and programs inherit that."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
