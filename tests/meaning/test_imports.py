"""The values at the border load without the libraries that make them."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize(
    "module", ["countersign.meaning.event", "countersign.meaning", "countersign.hearing.utterance"]
)
def test_values_load_without_spacy_and_vosk(module: str) -> None:
    program = f"import sys, {module}; print([m for m in ('spacy', 'vosk') if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.stdout.strip(), done.stderr) == ("[]", "")


def test_the_rooms_still_give_everything_they_name() -> None:
    import countersign.hearing
    import countersign.meaning

    for room in (countersign.hearing, countersign.meaning):
        for name in room.__all__:
            assert getattr(room, name) is not None
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        _ = countersign.hearing.nothing
