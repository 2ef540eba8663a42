"""``countersign discrepancy`` and ``countersign policy``."""

import io
import json
import re
from pathlib import Path

import pytest

from countersign.kit import demo_kit_path, read_kit
from countersign.ledger import (
    append_decision,
    append_event,
    open_case,
    open_ledger,
    read_case,
    record_of,
)
from countersign.meaning.event import Event, EventKind, Phase, Verdict
from countersign.policy import common_policy_path
from countersign.tally import Act, Decision, Role

from .conftest import Command


@pytest.fixture
def short_case(ledger_file: Path) -> str:
    """Everything is confirmed, one sponge is missing at closing, and "correct" was said."""
    ledger = open_ledger(ledger_file)
    case = open_case(ledger, read_kit(demo_kit_path()), "microphone")
    said = [
        ({"kind": EventKind.COUNT, "item": "raytec", "quantity": 10}, Phase.INITIAL),
        ({"kind": EventKind.PHASE}, Phase.CLOSING),
        ({"kind": EventKind.COUNT, "item": "raytec", "quantity": 9}, Phase.CLOSING),
        ({"kind": EventKind.VERDICT, "verdict": Verdict.CORRECT}, Phase.CLOSING),
    ]
    for number, (fields, phase) in enumerate(said, start=1):
        event = Event(
            start_s=number * 3.0, end_s=number * 3.0 + 2, words="x", phase=phase, **fields
        )
        append_event(ledger, case, event)
        append_decision(
            ledger,
            case,
            Decision(
                line=number,
                act=Act.ACCEPT,
                role=Role.SCRUB,
                initials="AB",
                at="2026-03-02T07:30:00Z",
            ),
        )
    ledger.close()
    return case


def notes(ledger_file: Path, case: str) -> int:
    ledger = open_ledger(ledger_file, create=False)
    try:
        return len(read_case(ledger, case).notes)
    finally:
        ledger.close()


def test_showing(command: Command, short_case: str, ledger_file: Path) -> None:
    done = command("discrepancy", short_case.upper(), "--show")
    assert done.code == 0, done.err
    words = " ".join(done.out.split())
    assert "1 missing (9 counted, 10 expected, line 3)." in words
    assert "Last right at line 1 at 0:05.0." in words
    assert "A count is made by two people" in words
    assert "facility's policy decides" in words
    assert max(map(len, done.out.splitlines())) <= 80
    assert notes(ledger_file, short_case) == 0


def test_a_step_without_questions(command: Command, short_case: str) -> None:
    who = ("--role", "circ", "--initials", "cd")
    step = ("--step", "search_floor", "--remark", "under the table")
    done = command("discrepancy", short_case, *step, *who)
    assert (done.code, done.err) == (0, "")
    assert done.out == (
        "Kept: step search_floor for X-ray detectable sponge, 4 × 4 done by CD (circulator).\n"
    )
    shown = json.loads(command("discrepancy", short_case, "--json").out)
    (found,) = shown["discrepancies"]
    (made,) = found["steps"]
    assert (made["step"], made["remark"], made["initials"]) == (
        *("search_floor", "under the table", "CD"),
    )
    by_step = {each["step"]: each["done"] for each in found["checklist"]}
    assert by_step["search_floor"] is not None and by_step["recount"] is None
    assert command("discrepancy", short_case, *step[:2], "--take-back", *who).code == 0
    shown = json.loads(command("discrepancy", short_case, "--json").out)
    assert shown["discrepancies"][0]["steps"] == []


def test_what_was_entered_stands_under_the_policy_of_its_day(
    command: Command, short_case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours = tmp_path / "ours.toml"
    ours.write_text(
        'title = "Ours"\n[[step]]\nid = "ask"\nsay = "Ask the surgeon."\n'
        '[[step]]\nid = "floor"\nsay = "Search the floor."\n'
    )
    who = ("--role", "circ", "--initials", "cd")
    step = ("--step", "ask", "--policy", str(ours))
    assert command("discrepancy", short_case, *step, *who).code == 0
    ours.unlink()
    shown = " ".join(command("discrepancy", short_case, "--show").out.split())
    assert "Ours. " in shown and "1 [x] Ask the surgeon. done" in shown
    assert "2 [ ] Search the floor." in shown
    exported = json.loads(command("export", short_case, "--json").out)
    assert [each["id"] for each in exported["policy"]["steps"]] == ["ask", "floor"]


def test_an_exception_is_said_wherever_the_verdict_is(
    command: Command, short_case: str, ledger_file: Path
) -> None:
    before = json.loads(command("export", short_case, "--json").out)
    assert before["verdict"]["confirmed"] is None
    assert before["discrepancies"][0]["open"] is True
    both = ("--scrub", "ab", "--circulator", "cd")
    done = command("discrepancy", short_case, "--exception", "image clear", *both)
    assert (done.code, done.err) == (0, "")
    ledger = open_ledger(ledger_file, create=False)
    record = record_of(read_case(ledger, short_case))
    ledger.close()
    assert record.verdict is Verdict.CORRECT
    verdict = json.loads(command("export", short_case, "--json").out)["verdict"]
    assert verdict["confirmed"] == "correct"
    assert verdict["text"] == (
        "count correct BY EXCEPTION; AB (scrub) and CD (circulator) signed: image clear"
    )
    assert verdict["by_exception"][0]["reason"] == "image clear"
    assert command("discrepancy", short_case, "--exception", "no", "--withdraw", *both).code == 0
    after = json.loads(command("export", short_case, "--json").out)
    assert after["verdict"]["confirmed"] is None
    assert len(after["exceptions"]) == 2  # nothing is erased


def test_going_through_with_a_person(
    command: Command, short_case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("circ\ncd\n1\ntogether\nn\n"))
    done = command("discrepancy", short_case)
    assert done.code == 0, done.err
    assert "Kept: step recount for X-ray detectable sponge" in done.out
    assert "together" in command("discrepancy", short_case, "--show").out
    assert "Open: 1 discrepancy" in done.out


def test_a_case_without_any(command: Command, kept_case: str) -> None:
    done = command("discrepancy", kept_case)
    assert done.code == 0
    assert "No count differs from what should be there." in done.out


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--step", "dance", "--role", "scrub", "--initials", "ab"), "asks for no step “dance”"),
        (("--step", "image", "--role", "surgeon", "--initials", "ab"), "The role is one of"),
        (("--step", "image"), "Nobody gave a role"),
        (("--step", "image", "--item", "needle"), "Nothing about suture_needle"),
        (("--step", "image", "--item", "chainsaw"), "The kit has no “chainsaw”"),
        (("--step", "image", "--exception", "x"), "Choose one"),
        (("--exception", "x", "--scrub", "ab"), "needs both"),
        (("--exception", "x", "--scrub", "ab", "--circulator", "ab"), "two different people"),
        (("--exception", " ", "--scrub", "ab", "--circulator", "cd"), "needs a reason"),
        (("--exception", "x", "--scrub", "ab", "--circulator", "7"), "Initials are"),
        (("--policy", "/nowhere.toml"), "no policy file"),
    ],
)
def test_bad_input(
    command: Command,
    short_case: str,
    ledger_file: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    sentence: str,
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    done = command("discrepancy", short_case, *arguments)
    assert done.code == 2
    assert re.fullmatch(rf"[^\n]*{sentence}[^\n]*\.\n", done.err), done.err
    assert notes(ledger_file, short_case) == 0


def test_a_policy_of_the_site(
    command: Command, short_case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "ours.toml"
    path.write_text('title = "Ours"\n[[step]]\nid = "ring"\nsay = "Ring the bell."\n')
    by_option = command("discrepancy", short_case, "--show", "--policy", path).out
    monkeypatch.setenv("COUNTERSIGN_POLICY", str(path))
    assert command("discrepancy", short_case, "--show").out == by_option
    assert "Ring the bell." in by_option and "Search the floor" not in by_option
    assert "Your facility's policy decides" in " ".join(by_option.split())


def test_policy_check(command: Command, tmp_path: Path) -> None:
    done = command("policy", "check", common_policy_path())
    assert done.code == 0 and "the policy can be used." in done.out
    path = tmp_path / "policy.toml"
    text = common_policy_path().read_text(encoding="utf-8")
    path.write_text(text.replace('when = "missing"', 'when = "lost"', 1), encoding="utf-8")
    line = text[: text.index('when = "missing"')].count("\n") + 1
    done = command("policy", "check", path)
    assert done.code == 2
    assert f"line {line}: error: " in done.out
    assert done.err == f"{path} cannot be used: it has 1 mistake.\n"
    assert command("policy", "check", tmp_path / "absent.toml").code == 2


def test_policy_show_gives_a_file_to_start_from(command: Command, tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text(command("policy", "show").out, encoding="utf-8")
    assert command("policy", "check", path).code == 0
