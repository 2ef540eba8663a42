"""What goes in comes back, and nothing that went in can be changed."""

import re
import sqlite3
from decimal import Decimal
from pathlib import Path

import platformdirs
import pytest

from countersign.kit.model import Kit
from countersign.ledger import (
    Ledger,
    Note,
    Overtaken,
    append_decision,
    append_event,
    append_note,
    list_cases,
    open_case,
    open_ledger,
    read_case,
)
from countersign.ledger import entries as entries_module
from countersign.meaning.event import Event
from countersign.problems import BadInput
from countersign.settings import ledger_path
from countersign.tally.record import Act, Decision


def test_a_case_comes_back_as_it_was_written(
    ledger: Ledger, kit: Kit, event: Event, decision: Decision
) -> None:
    case = open_case(ledger, kit, "/recordings/first.wav")
    later = event.model_copy(update={"quantity": Decimal("30.0"), "unit": "mL", "sequence": ()})
    assert append_event(ledger, case, event) == 1
    assert append_event(ledger, case, later) == 2
    append_decision(ledger, case, decision)
    note = Note(topic="listening_ended", duration_s=61.5, model="counting", warnings=("quiet",))
    append_note(ledger, case, note)

    history = read_case(ledger, case)
    assert history.kit == kit
    assert history.source == "/recordings/first.wav"
    assert history.events == (event, later)
    assert isinstance(history.events[0].quantity, int)
    assert str(history.events[1].quantity) == "30.0"
    assert history.decisions == (decision.model_copy(update={"entry": 3}),)
    assert str(history.decisions[0].quantity) == "4.50"
    assert history.notes == (note,)
    assert history.last_entry == 4
    assert history.heard_to_the_end


def test_it_comes_back_in_another_opening(
    ledger: Ledger, kit: Kit, event: Event, tmp_path: Path
) -> None:
    case = open_case(ledger, kit, "microphone")
    append_event(ledger, case, event)
    ledger.close()
    again = open_ledger(ledger.path, create=False)
    assert read_case(again, case).events == (event,)
    assert not read_case(again, case).heard_to_the_end
    again.close()


def test_cases_are_listed_oldest_first(
    ledger: Ledger, kit: Kit, event: Event, decision: Decision
) -> None:
    first = open_case(ledger, kit, "first.wav")
    second = open_case(ledger, kit, "second.wav")
    append_event(ledger, second, event)
    append_decision(ledger, second, decision)
    rows = list_cases(ledger)
    assert [(row.case_id, row.events, row.decisions) for row in rows] == [
        (first, 0, 0),
        (second, 1, 1),
    ]


def test_case_names_are_short_and_drawn_again_when_taken(
    ledger: Ledger, kit: Kit, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = {open_case(ledger, kit, "x") for _ in range(30)}
    assert len(names) == 30
    assert all(re.fullmatch(r"\d{4}-[a-z]{4}", name) for name in names)
    taken = sorted(names)[0]
    draws = iter([taken, taken, "0101-free"])
    monkeypatch.setattr(entries_module, "new_case_name", lambda _: next(draws))
    assert open_case(ledger, kit, "x") == "0101-free"


def test_file_names_with_odd_bytes_can_be_kept(ledger: Ledger, kit: Kit) -> None:
    case = open_case(ledger, kit, "odd\udcff.wav")
    assert read_case(ledger, case).source == "odd\\udcff.wav"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = '{}'",
        "DELETE FROM entry",
        "INSERT OR REPLACE INTO entry SELECT case_id, seq, at, kind, '{}' FROM entry",
        "REPLACE INTO entry SELECT case_id, seq, at, kind, '{}' FROM entry",
        "INSERT INTO entry SELECT case_id, seq + 7, at, kind, body FROM entry",
        "INSERT INTO entry SELECT case_id, seq + 1, at, 'other', body FROM entry",
        """UPDATE "case" SET kit_text = '{}'""",
        """DELETE FROM "case" """,
        """INSERT OR REPLACE INTO "case" SELECT id, opened_at, 'x', '', '', '' FROM "case" """,
    ],
)
@pytest.mark.parametrize("recursive", ["ON", "OFF"])
def test_the_file_itself_refuses_changes(
    ledger: Ledger, kit: Kit, event: Event, statement: str, recursive: str
) -> None:
    """Checked with the SQLite library alone, as any other program would open the file."""
    case = open_case(ledger, kit, "first.wav")
    append_event(ledger, case, event)
    other = sqlite3.connect(ledger.path, isolation_level=None)
    other.execute(f"PRAGMA recursive_triggers = {recursive}")
    with pytest.raises(sqlite3.IntegrityError):
        other.execute(statement)
    other.close()
    assert read_case(ledger, case).events == (event,)
    assert read_case(ledger, case).source == "first.wav"


def test_the_settings_that_survive_a_crash_are_on(ledger: Ledger) -> None:
    """The values are those of https://www.sqlite.org/pragma.html (FULL is 2)."""
    with ledger.engine.connect() as connection:
        values = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar_one()
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
    assert values == {
        "journal_mode": "wal",
        "synchronous": 2,
        "foreign_keys": 1,
        "busy_timeout": 5000,
    }


def test_the_file_is_for_its_owner_only(tmp_path: Path) -> None:
    opened = open_ledger(tmp_path / "new folder" / "ledger.sqlite3")
    opened.close()
    assert opened.path.stat().st_mode & 0o077 == 0


def test_a_decision_needs_a_line_and_a_case(
    ledger: Ledger, kit: Kit, event: Event, decision: Decision
) -> None:
    case = open_case(ledger, kit, "first.wav")
    with pytest.raises(BadInput, match="no line 1"):
        append_decision(ledger, case, decision)
    with pytest.raises(BadInput, match="no case 0101-none"):
        append_event(ledger, "0101-none", event)
    with pytest.raises(BadInput, match="no case 0101-none"):
        read_case(ledger, "0101-none")
    assert read_case(ledger, case).last_entry == 0


def test_a_decision_on_a_line_that_someone_else_just_decided_is_not_written(
    ledger: Ledger, kit: Kit, event: Event, decision: Decision
) -> None:
    case = open_case(ledger, kit, "first.wav")
    append_event(ledger, case, event)
    append_event(ledger, case, event)
    seen = read_case(ledger, case).last_entry
    append_decision(ledger, case, decision.model_copy(update={"line": 2}), seen=seen)
    append_decision(ledger, case, decision, seen=seen)  # another line: no conflict
    other = decision.model_copy(update={"act": Act.SET_ASIDE, "initials": "CD"})
    with pytest.raises(Overtaken):
        append_decision(ledger, case, other, seen=seen)
    assert len(read_case(ledger, case).decisions) == 2
    append_decision(ledger, case, other, seen=read_case(ledger, case).last_entry)
    assert read_case(ledger, case).decisions[-1] == other.model_copy(update={"entry": 5})


def test_where_the_ledger_is(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("COUNTERSIGN_LEDGER", raising=False)
    assert ledger_path().parent == Path(platformdirs.user_data_dir("countersign", appauthor=False))
    monkeypatch.setenv("COUNTERSIGN_LEDGER", str(tmp_path / "env.sqlite3"))
    assert ledger_path() == tmp_path / "env.sqlite3"
    assert ledger_path(tmp_path / "given.sqlite3") == tmp_path / "given.sqlite3"
    opened = open_ledger()
    assert opened.path == tmp_path / "env.sqlite3"
    opened.close()
