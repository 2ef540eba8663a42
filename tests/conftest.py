"""The demo kit and the bundled model, opened once for all tests that name no others."""

import signal

import pytest

from countersign.hearing import Ears, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit


@pytest.fixture(scope="session")
def kit() -> Kit:
    return read_kit(demo_kit_path())


@pytest.fixture(scope="session")
def ears(kit: Kit) -> Ears:
    return open_ears(kit)


@pytest.fixture(scope="session", autouse=True)
def ctrl_c_interrupts() -> None:
    """A shell starts its background jobs with Ctrl-C ignored, and programs inherit that."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
