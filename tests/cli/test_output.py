"""What stands on standard output, and how many sentences a refusal has."""

import json
import subprocess
import sys
from pathlib import Path

from tests.cli.conftest import Command

REMARKING = """
import ctypes
import countersign.cli
library = ctypes.CDLL(None)

def main(arguments):
    library.puts(b"a remark of a decoder")
    library.fflush(None)
    print('{"lines": []}')
    return 0

countersign.cli.main = main
countersign.cli.run()
"""


def test_what_a_library_prints_does_not_stand_between_the_json() -> None:
    """As libsndfile does on some damaged files, with C's own puts."""
    for flags in ((), ("-u",)):
        done = subprocess.run(
            [sys.executable, *flags, "-c", REMARKING], capture_output=True, check=False
        )
        assert (done.returncode, done.stderr) == (0, b"")
        assert json.loads(done.stdout) == {"lines": []}


def test_a_recording_that_is_none_gets_one_sentence(command: Command, tmp_path: Path) -> None:
    junk = tmp_path / "junk.wav"
    junk.write_bytes(b"no sound at all")
    done = command("review", junk)
    assert (done.code, done.out) == (2, "")
    assert done.err == f"{junk} is not a sound file in a known format.\n"


def test_each_of_several_is_named(command: Command, tmp_path: Path) -> None:
    for name in ("one.wav", "two.wav"):
        (tmp_path / name).write_bytes(b"no sound at all")
    done = command("review", tmp_path)
    assert (done.code, done.out) == (2, "")
    *each, last = done.err.splitlines()
    assert len(each) == 2 and last == "No recording could be measured."
