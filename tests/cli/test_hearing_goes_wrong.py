"""What is kept and said when listening fails or is stopped half-way.

The chain is replaced by one that stops at a chosen moment, which real hearing cannot be made to do.
"""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import textwrap
import types
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import countersign
from countersign.ledger import CaseHistory, list_cases, open_ledger, read_case
from countersign.meaning.event import Event, EventKind, Phase, Spoken
from countersign.problems import BadInput
from countersign.sound import SoundWarning
from countersign.tally import build_record

from .conftest import COMMAND, Command


def said(number: int) -> Event:
    return Event(
        kind=EventKind.COUNT,
        item="raytec",
        quantity=number,
        unit="each",
        phase=Phase.INITIAL,
        spoken=Spoken.TOTAL,
        start_s=float(number),
        end_s=number + 0.5,
        words=f"{number} raytecs",
    )


def only_case(path: Path) -> CaseHistory:
    ledger = open_ledger(path, create=False)
    (row,) = list_cases(ledger)
    history = read_case(ledger, row.case_id)
    ledger.close()
    return history


@pytest.fixture
def chain(monkeypatch: pytest.MonkeyPatch) -> types.ModuleType:
    """A chain whose ``listen`` gives three events and then calls ``then``."""
    fake: Any = types.ModuleType("countersign.chain")
    fake.then = lambda: None

    def listen(
        path: Path,
        kit: Any,
        *,
        ears: object,
        on_event: Callable[[Event], None] | None = None,
        on_partial: object = None,
        on_progress: Callable[[float], None] | None = None,
    ) -> Any:
        assert on_event is not None and on_progress is not None
        events = tuple(said(number) for number in (10, 20, 30))
        for share, event in enumerate(events, start=1):
            on_event(event)
            on_progress(share / 3)
        fake.then()
        return SimpleNamespace(
            source=path.name,
            duration_s=31.0,
            model="none",
            events=events,
            record=build_record(kit, events, ()),
            questions=(),
            warnings=(SoundWarning(code="near_silence", sentence="The sound is very quiet."),),
        )

    def live(blocks: Iterator[Any], kit: Any, **more: Any) -> Any:
        del more["meter"]
        return listen(Path("microphone"), kit, on_progress=lambda _: None, **more)

    fake.listen = listen
    fake.live = live
    monkeypatch.setitem(sys.modules, "countersign.chain", fake)
    monkeypatch.setattr(countersign, "chain", fake, raising=False)
    monkeypatch.setattr(
        "countersign.sound.open_source", lambda path: SimpleNamespace(duration_s=31.0)
    )
    monkeypatch.setattr("countersign.hearing.open_ears", lambda kit, model: object())
    return fake


def test_every_event_is_kept_and_then_shown(
    command: Command, chain: types.ModuleType, ledger_file: Path
) -> None:
    done = command("listen", "count.wav")
    history = only_case(ledger_file)
    assert done.code == 0
    assert [event.quantity for event in history.events] == [10, 20, 30]
    assert history.heard_to_the_end
    assert history.source == str(Path("count.wav").absolute())
    assert history.notes[0].warnings == ("The sound is very quiet.",)
    assert done.err == "The sound is very quiet.\n"
    assert f"countersign confirm {history.case_id}" in done.out
    assert "Nothing here is confirmed." in " ".join(done.out.split())
    assert max(map(len, done.out.splitlines())) <= 80


def test_json_and_several_files(
    command: Command, chain: types.ModuleType, ledger_file: Path
) -> None:
    done = command("listen", "one.wav", "two.wav", "--json", "--no-keep")
    objects = [json.loads(line) for line in done.out.splitlines()]
    assert [found["source"] for found in objects] == ["one.wav", "two.wav"]
    assert all(
        list(found) == ["source", "duration_s", "model", "events", "record", "questions"]
        for found in objects
    )
    assert not ledger_file.exists()


def test_a_recording_that_breaks_off(command: Command, chain: Any, ledger_file: Path) -> None:
    def broken() -> None:
        raise BadInput("The recording breaks off at 31 s.")

    chain.then = broken
    done = command("listen", "count.wav", "--json")
    assert (done.code, done.out, done.err) == (2, "", "The recording breaks off at 31 s.\n")
    history = only_case(ledger_file)
    assert len(history.events) == 3
    assert not history.heard_to_the_end


def test_stopped_from_the_keyboard(command: Command, chain: Any, ledger_file: Path) -> None:
    def stopped() -> None:
        raise KeyboardInterrupt

    chain.then = stopped
    done = command("listen", "count.wav")
    assert done.code == 130
    assert done.out == ""
    assert done.err == "Stopped from the keyboard; what was kept before is in the ledger.\n"
    assert len(only_case(ledger_file).events) == 3


def test_a_ledger_that_is_locked_half_way(
    command: Command, chain: Any, ledger_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("countersign.ledger.file.PATIENCE_S", 0.1)
    holder: list[sqlite3.Connection] = []

    def lock() -> None:
        holder.append(sqlite3.connect(ledger_file, isolation_level=None))
        holder[0].execute("BEGIN IMMEDIATE")

    chain.then = lock
    done = command("listen", "count.wav", "--json")
    assert (done.code, done.out) == (2, "")
    assert "locked by another program" in done.err
    assert done.err.count("\n") == 1
    holder[0].close()
    assert len(only_case(ledger_file).events) == 3


def test_live_ends_with_one_ctrl_c(
    command: Command, chain: Any, ledger_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    given: dict[str, Any] = {}

    def blocks(device: Any, *, seconds: float, meter: Any, stop: Any) -> Iterator[Any]:
        given["stop"] = stop
        return iter(())

    monkeypatch.setattr("countersign.sound.microphone.blocks", blocks)

    def interrupt() -> None:
        os.kill(os.getpid(), signal.SIGINT)
        assert given["stop"].wait(1)

    chain.then = interrupt
    before = signal.getsignal(signal.SIGINT)
    done = command("live")
    assert done.code == 0
    assert signal.getsignal(signal.SIGINT) is before
    assert only_case(ledger_file).source == "microphone"
    assert "   1  X-ray detectable sponge, 4 × 4, 10" in done.out


def test_a_second_ctrl_c_stops_live_at_once(
    command: Command, chain: Any, ledger_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("countersign.sound.microphone.blocks", lambda *_, **__: iter(()))

    def interrupt() -> None:
        os.kill(os.getpid(), signal.SIGINT)
        os.kill(os.getpid(), signal.SIGINT)

    chain.then = interrupt
    assert command("live").code == 130
    assert len(only_case(ledger_file).events) == 3


@pytest.mark.skipif(sys.platform == "win32", reason="pipes break differently")
def test_a_reader_that_goes_away_is_quiet(environment: dict[str, str], kept_case: str) -> None:
    """``head`` reads one line and leaves; enough is written to fill any pipe."""
    script = textwrap.dedent(
        """
        import sys
        from countersign import cli
        real = cli.emit
        cli.emit = lambda text: real(text * 500)
        sys.exit(cli.main(sys.argv[1:]))
        """
    )
    writer = subprocess.Popen(
        [COMMAND[0], "-c", script, "export", kept_case, "--json"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment,
    )
    assert writer.stdout is not None and writer.stderr is not None
    writer.stdout.readline()
    writer.stdout.close()
    assert writer.wait(20) == 141
    assert writer.stderr.read() == b""
    writer.stderr.close()
