"""Real processes: killed at any moment, and two at once. What was shown is there afterwards."""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

import pytest

from countersign.kit.model import Kit
from countersign.ledger import Ledger, append_event, open_case, read_case
from countersign.meaning.event import Event

CHILD = Path(__file__).with_name("confirming_child.py")
KILLS = 40


def child(*arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, str(CHILD), *map(str, arguments)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        bufsize=1,
    )


def check_file(path: Path) -> str:
    other = sqlite3.connect(path)
    (answer,) = other.execute("PRAGMA integrity_check").fetchone()
    other.close()
    return str(answer)


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_every_line_that_was_shown_survives_a_kill(ledger: Ledger, kit: Kit, event: Event) -> None:
    """SIGKILL at random moments, from before the file is open to many decisions later."""
    case = open_case(ledger, kit, "first.wav")
    append_event(ledger, case, event)
    chance = random.Random(20261125)
    shown: list[str] = []
    nursery = child("nursery", ledger.path, case)
    assert nursery.stdin is not None and nursery.stdout is not None
    for kill in range(KILLS):
        nursery.stdin.write(f"K{kill}\n")
        word, pid = nursery.stdout.readline().split()
        assert word == "pid"
        time.sleep(chance.uniform(0, 0.25))
        os.kill(int(pid), signal.SIGKILL)
        while (line := nursery.stdout.readline()) != "gone\n":
            assert line, "the process that forks has ended"
            whole = line.rstrip("\n")
            if whole and whole.split()[-1].isdecimal() and whole.startswith(f"K{kill} "):
                shown.append(whole)

        reasons = [decision.reason for decision in read_case(ledger, case).decisions]
        assert set(shown) <= set(reasons)
        # Kept but not shown: at most the one step that was cut off, in each process.
        assert len(shown) <= len(reasons) <= len(shown) + kill + 1
        assert len(reasons) == len(set(reasons))
    nursery.communicate()
    assert len(shown) > KILLS
    assert check_file(ledger.path) == "ok"


@pytest.mark.slow
def test_two_processes_on_one_case_lose_nothing(ledger: Ledger, kit: Kit, event: Event) -> None:
    case = open_case(ledger, kit, "first.wav")
    append_event(ledger, case, event)
    both = [child("once", ledger.path, case, initials, 150) for initials in ("AB", "CD")]
    for process in both:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in both:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    for process in both:
        process.communicate()
        assert process.returncode == 0
    history = read_case(ledger, case)
    assert history.last_entry == 301
    for initials in ("AB", "CD"):
        mine = [d.reason for d in history.decisions if d.initials == initials]
        assert mine == [f"{initials} {step}" for step in range(150)]
    turns = [d.initials for d in history.decisions]
    assert sum(a != b for a, b in pairwise(turns)) > 10  # they did overlap
    assert check_file(ledger.path) == "ok"
