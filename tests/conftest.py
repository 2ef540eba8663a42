"""The demo kit and the bundled model, opened once for all tests that name no others."""

import pytest

from countersign.hearing import Ears, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit


@pytest.fixture(scope="session")
def kit() -> Kit:
    return read_kit(demo_kit_path())


@pytest.fixture(scope="session")
def ears(kit: Kit) -> Ears:
    return open_ears(kit)
