"""Processes that keep decisions and print each one after it was kept.

``once LEDGER CASE INITIALS MANY``: keep so many, after a line came on the input.
``nursery LEDGER CASE``: for every line of initials on the input, fork a process that keeps
decisions until it is killed; ``pid N`` is printed when it starts and, on a line of its own even
where the killed process left one unfinished, ``gone`` when it has ended.
Forking spends the time for imports only once.
"""

import itertools
import os
import sys
import time
from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path

from countersign.ledger import append_decision, open_ledger
from countersign.tally.record import Act, Decision, Role


def keep(path: str, case: str, initials: str, steps: Iterable[int], pause_s: float) -> None:
    place = path if "://" in path else Path(path)
    ledger = open_ledger(place, create=False, patience_s=30)
    for step in steps:
        reason = f"{initials} {step}"
        decision = Decision(
            line=1,
            act=Act.ACCEPT,
            role=Role.SCRUB,
            initials=initials,
            at=datetime.now(UTC),
            reason=reason,
        )
        append_decision(ledger, case, decision)
        print(reason, flush=True)
        time.sleep(pause_s)


def nursery(path: str, case: str) -> None:
    for line in iter(sys.stdin.readline, ""):
        pid = os.fork()
        if pid == 0:
            print(f"pid {os.getpid()}", flush=True)
            keep(path, case, line.strip(), itertools.count(), 0)
        os.waitpid(pid, 0)
        print("\ngone", flush=True)


if sys.argv[1] == "nursery":
    nursery(*sys.argv[2:])
else:
    print("ready", flush=True)
    sys.stdin.readline()
    keep(sys.argv[2], sys.argv[3], sys.argv[4], range(int(sys.argv[5])), 0.001)
