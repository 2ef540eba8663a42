"""What every fault needs: a ledger with confirmed lines, and a look at it afterwards."""

import os
import re
import shutil
import signal
import traceback
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from random import Random

from countersign.kit import demo_kit_path, read_kit
from countersign.ledger import (
    Ledger,
    append_decision,
    append_event,
    open_case,
    open_ledger,
    read_case,
)
from countersign.ledger.backup import restore
from countersign.meaning.event import Event, EventKind, Phase, Spoken
from countersign.problems import BadInput
from countersign.tally.record import Act, Decision, Role

NAME = "ledger.sqlite3"
LINES = 12
_SENTENCE = re.compile(r"[A-Z][^\n]*\.")

Confirmed = dict[str, Decision]
"""What people were told is kept, by its reason (each has another)."""


@dataclass
class Outcome:
    """One try. ``before`` lines were confirmed and shown as kept; ``refused`` are the sentences."""

    before: int = 0
    lost: int = 0
    changed: int = 0
    restored: int = 0
    refused: list[str] = field(default_factory=list)
    unclear: list[str] = field(default_factory=list)

    def refuse(self, sentence: str) -> None:
        """Somebody was told this; whether it is one clear sentence is looked at."""
        (self.refused if _SENTENCE.fullmatch(sentence) else self.unclear).append(sentence)


@dataclass
class Scene:
    """One try's own folder with a copy of the prepared ledger."""

    folder: Path
    case: str
    chance: Random
    confirmed: Confirmed

    @property
    def path(self) -> Path:
        """The ledger."""
        return self.folder / NAME


def decision(reason: str, line: int = 1) -> Decision:
    """A confirmation with a reason of its own."""
    return Decision(
        line=line,
        act=Act.ACCEPT,
        role=Role.CIRCULATOR,
        initials="CD",
        at=datetime(2026, 11, 25, 9, 30, tzinfo=UTC),
        reason=reason,
    )


def prepare(folder: Path) -> tuple[str, Confirmed]:
    """A ledger with a case in which every line is confirmed; returns the case and its decisions."""
    kit = read_kit(demo_kit_path())
    folder.mkdir(parents=True)
    confirmed: Confirmed = {}
    with closing(open_ledger(folder / NAME)) as ledger:
        case = open_case(ledger, kit, "live")
        for line in range(1, LINES + 1):
            event = Event(
                kind=EventKind.COUNT,
                item="lap_sponge",
                quantity=line,
                unit="each",
                phase=Phase.INITIAL,
                spoken=Spoken.TOTAL,
                start_s=line * 3.0,
                end_s=line * 3.0 + 1.5,
                words="laps " + " ".join(["one"] * line),
                confidence=0.9,
            )
            append_event(ledger, case, event)
            made = decision(f"before {line}", line)
            append_decision(ledger, case, made)
            confirmed[made.reason or ""] = made
    return case, confirmed


def look(scene: Scene, outcome: Outcome, path: Path | None = None) -> Outcome:
    """Open the ledger as a person would, restore it where it says so, and compare."""
    path = path or scene.path
    try:
        kept = _kept(path, scene.case)
    except BadInput as problem:
        outcome.refuse(str(problem))
        try:
            restore(path)
            outcome.restored += 1
            kept = _kept(path, scene.case)
        except BadInput as worse:
            outcome.unclear.append(str(worse))
            kept = {}
    outcome.before = len(scene.confirmed)
    for reason, made in scene.confirmed.items():
        found = kept.get(reason)
        if found is None:
            outcome.lost += 1
        elif found.model_copy(update={"entry": None}) != made:
            outcome.changed += 1
    return outcome


def _kept(path: Path, case: str) -> dict[str | None, Decision]:
    with closing(open_ledger(path, create=False)) as ledger:
        return {made.reason: made for made in read_case(ledger, case).decisions}


def confirm(ledger: Ledger, case: str, reason: str, told: int) -> None:
    """Confirm a line and then tell it, as the page does, through a pipe."""
    append_decision(ledger, case, decision(reason))
    os.write(told, f"kept {reason}\n".encode())


@dataclass
class Child:
    """A process that was forked, and what it told: what it kept, and sentences."""

    pid: int
    _pipe: int
    told: bytes = b""

    def wait_for_word(self) -> None:
        """Wait until it told something, or ended."""
        self.told += os.read(self._pipe, 65_536)

    def kill(self) -> None:
        """SIGKILL, at once."""
        os.kill(self.pid, signal.SIGKILL)

    def finish(self, scene: Scene, outcome: Outcome) -> int:
        """Wait for its end; what it told goes to scene and outcome. Returns the exit status."""
        while piece := os.read(self._pipe, 65_536):
            self.told += piece
        os.close(self._pipe)
        _, status = os.waitpid(self.pid, 0)
        for line in self.told.decode(errors="replace").split("\n")[:-1]:
            word, _, rest = line.partition(" ")
            if word == "kept":
                scene.confirmed[rest] = decision(rest)
            elif word == "said":
                outcome.refuse(rest)
            else:
                outcome.unclear.append(line)
        return status


def child(work: Callable[[int], None]) -> Child:
    """Fork a process for ``work``, which is given the pipe to tell things by."""
    reader, writer = os.pipe()
    pid = os.fork()
    if pid:
        os.close(writer)
        return Child(pid, reader)
    code = 0
    try:
        os.close(reader)
        work(writer)
    except BadInput as problem:
        os.write(writer, f"said {problem}\n".encode())
    except BaseException:
        code = 1
        line = traceback.format_exc().replace("\n", " | ")
        os.write(writer, f"raised {line}\n".encode())
    os._exit(code)


@contextmanager
def scene_of(prepared: Path, folder: Path, case: str, confirmed: Confirmed, chance: Random
             ) -> Iterator[Scene]:  # fmt: skip
    """A copy of the prepared ledger for one try."""
    shutil.copytree(prepared, folder)
    try:
        yield Scene(folder, case, chance, dict(confirmed))
    finally:
        shutil.rmtree(folder, ignore_errors=True)
