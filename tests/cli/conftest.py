"""The command run in this process, with a ledger of its own."""

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from countersign.cli import main
from countersign.kit import demo_kit_path, read_kit
from countersign.ledger import Note, append_event, append_note, open_case, open_ledger
from countersign.meaning.event import Event, EventKind, Phase, Question, QuestionCode, Spoken

Command = Callable[..., "Done"]


class Done(NamedTuple):
    code: int
    out: str
    err: str


@pytest.fixture(autouse=True)
def ledger_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "kept" / "ledger.sqlite3"
    monkeypatch.setenv("COUNTERSIGN_LEDGER", str(path))
    monkeypatch.delenv("COUNTERSIGN_KIT", raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    return path


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Command:
    def run_it(*arguments: str | Path) -> Done:
        capsys.readouterr()
        code = main([str(argument) for argument in arguments])
        captured = capsys.readouterr()
        return Done(code, captured.out, captured.err)

    return run_it


@pytest.fixture
def kept_case(ledger_file: Path) -> str:
    """Three lines of the demonstration kit, the second with a question."""
    kit = read_kit(demo_kit_path())
    ledger = open_ledger(ledger_file)
    case = open_case(ledger, kit, "/recordings/=opening.wav")
    for number, (item, quantity, words) in enumerate(
        [
            ("raytec", 10, "ten raytecs"),
            ("lap_sponge", 5, "=five laps"),
            ("suture_needle", 2, "two sutures"),
        ]
    ):
        append_event(
            ledger,
            case,
            Event(
                kind=EventKind.COUNT,
                item=item,
                quantity=quantity,
                unit="each",
                phase=Phase.INITIAL,
                spoken=Spoken.TOTAL,
                start_s=number * 3.0 + 1,
                end_s=number * 3.0 + 3.25,
                words=words,
                confidence=0.875,
                questions=(
                    Question(code=QuestionCode.LOW_CONFIDENCE, sentence="It was hard to hear."),
                )
                if number == 1
                else (),
            ),
        )
    append_note(ledger, case, Note(topic="listening_ended", duration_s=12.5, model="test"))
    ledger.close()
    return case


@pytest.fixture
def environment(ledger_file: Path) -> dict[str, str]:
    """For commands that run in a process of their own."""
    return {**os.environ, "COUNTERSIGN_LEDGER": str(ledger_file), "COLUMNS": "80"}


COMMAND = [sys.executable, "-c", "from countersign.cli import run; run()"]
