"""The chain, its migration, the running copy, backups and restoring."""

import logging
import os
import sqlite3
import stat
from hashlib import sha256
from pathlib import Path

import pytest
import rfc8785
from tests.ledger.test_trouble import one_sentence

from countersign.kit.model import Kit
from countersign.ledger import (
    CaseHistory,
    Ledger,
    append_decision,
    append_event,
    open_case,
    open_ledger,
    read_case,
)
from countersign.ledger.backup import back_up, check_against, restore
from countersign.ledger.chain import links
from countersign.ledger.opened import reading
from countersign.meaning.event import Event
from countersign.problems import BadInput
from countersign.tally.record import Decision

FORMAT_1 = Path(__file__).with_name("format_1.sql")


@pytest.fixture
def case(ledger: Ledger, kit: Kit, event: Event, decision: Decision) -> str:
    """A case with two lines, the first of them decided on."""
    name = open_case(ledger, kit, "first.wav")
    append_event(ledger, name, event)
    append_event(ledger, name, event)
    append_decision(ledger, name, decision)
    return name


def copy_of(ledger: Ledger) -> Path:
    assert ledger.copy is not None
    return ledger.copy.path


def again(path: Path, case: str) -> CaseHistory:
    opened = open_ledger(path, create=False)
    try:
        return read_case(opened, case)
    finally:
        opened.close()


def wal_of(path: Path) -> Path:
    return path.with_name(path.name + "-wal")


def test_the_hashes_are_those_of_rfc_8785(ledger: Ledger, case: str) -> None:
    """Made here anew with another library for canonical JSON (RFC 8785) and FIPS 180-4 SHA-256."""
    before = ""
    with reading(ledger) as connection:
        found = list(links(connection))
    assert [(link.place, link.case_id, link.seq) for link in found] == [
        (1, case, 0), (2, case, 1), (3, case, 2), (4, case, 3)
    ]  # fmt: skip
    for link in found:
        assert link.row is not None
        before = sha256(rfc8785.dumps([before, link.row])).hexdigest()
        assert link.hash == before


def format_1(path: Path, kit: Kit, event: Event, decision: Decision) -> None:
    old = sqlite3.connect(path)
    old.executescript(FORMAT_1.read_text(encoding="utf-8"))
    text = kit.model_dump_json()
    for name in ("1124-bolu", "1123-dafe"):
        opened = (name, f"2026-11-{name[2:4]}T08:00:00+00:00", "old.wav", kit.title)
        row = (*opened, sha256(text.encode()).hexdigest(), text)
        old.execute('INSERT INTO "case" VALUES (?, ?, ?, ?, ?, ?)', row)
        for seq, (kind, body) in enumerate([("event", event), ("decision", decision)], start=1):
            at = "2026-11-24T08:00:00+00:00"
            values = (name, seq, at, kind, body.model_dump_json())
            old.execute("INSERT INTO entry VALUES (?, ?, ?, ?, ?)", values)
    old.commit()
    old.close()


def test_a_ledger_without_a_chain_is_brought_to_the_new_form(
    tmp_path: Path, kit: Kit, event: Event, decision: Decision
) -> None:
    path = tmp_path / "ledger.sqlite3"
    format_1(path, kit, event, decision)
    opened = open_ledger(path)
    for name in ("1124-bolu", "1123-dafe"):
        history = read_case(opened, name)
        assert history.events == (event,)
        assert history.decisions == (decision.model_copy(update={"entry": 2}),)
    append_event(opened, "1124-bolu", event)
    opened.close()
    kept = path.with_name("ledger.sqlite3.format-1")
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    before = sqlite3.connect(kept)
    assert before.execute("PRAGMA user_version").fetchone() == (1,)
    assert before.execute("SELECT count(*) FROM entry").fetchone() == (4,)
    before.close()
    assert len(again(path, "1124-bolu").events) == 2


def schema_of(path: Path) -> set[str]:
    other = sqlite3.connect(path)
    rows = other.execute("SELECT type || name || coalesce(sql, '') FROM sqlite_master").fetchall()
    marks = other.execute("PRAGMA user_version").fetchone()
    other.close()
    plain = {"".join(sql.split()).replace('"', "") for (sql,) in rows if "alembic" not in sql}
    return plain | {str(marks)}


def test_migrated_and_new_ledgers_have_the_same_tables(
    ledger: Ledger, tmp_path: Path, kit: Kit, event: Event, decision: Decision
) -> None:
    old = tmp_path / "old.sqlite3"
    format_1(old, kit, event, decision)
    open_ledger(old).close()
    assert schema_of(old) == schema_of(ledger.path)


def test_an_old_ledger_that_cannot_be_copied_stays_as_it_was(
    tmp_path: Path, kit: Kit, event: Event, decision: Decision
) -> None:
    path = tmp_path / "ledger.sqlite3"
    format_1(path, kit, event, decision)
    path.with_name("ledger.sqlite3.format-1.part").mkdir()
    with pytest.raises(BadInput, match="cannot be copied before its form is changed"):
        open_ledger(path)
    old = sqlite3.connect(path)
    assert old.execute("PRAGMA user_version").fetchone() == (1,)
    old.close()


def test_rows_lost_at_the_end_come_back_from_the_copy(
    ledger: Ledger, case: str, caplog: pytest.LogCaptureFixture
) -> None:
    """A write-ahead log that was cut: SQLite goes on silently without what was committed last."""
    before = read_case(ledger, case)
    wal = wal_of(ledger.path)
    whole = wal.read_bytes()
    torn = ledger.path.with_name("torn")
    torn.mkdir()
    for cut in range(0, len(whole), 4096 * 2 + 24):
        path = torn / f"{cut}.sqlite3"
        path.write_bytes(ledger.path.read_bytes())
        wal_of(path).write_bytes(whole[:cut])
        path.with_name(path.name + ".copy").write_bytes(copy_of(ledger).read_bytes())
        assert again(path, case) == before
    assert "rows; they were put back" in caplog.text


def test_a_cut_last_line_of_the_copy_is_written_again(ledger: Ledger, case: str) -> None:
    copy = copy_of(ledger)
    whole = copy.read_bytes()
    copy.write_bytes(whole[:-40])
    open_ledger(ledger.path).close()
    assert copy.read_bytes() == whole
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600


def test_a_damaged_copy_is_made_anew_and_the_damaged_one_stays(
    ledger: Ledger, case: str, caplog: pytest.LogCaptureFixture
) -> None:
    copy = copy_of(ledger)
    whole = copy.read_bytes()
    copy.write_bytes(whole[:-5] + b"\xff\xff\xff\xff\n")
    open_ledger(ledger.path).close()
    assert copy.read_bytes() == whole
    assert "is made anew" in caplog.text
    assert len(list(copy.parent.glob("*.damaged-*"))) == 1


def test_a_ledger_written_anew_does_not_fit_its_copy(
    ledger: Ledger, case: str, kit: Kit, tmp_path: Path
) -> None:
    """Who writes the whole chain anew is found by the copy."""
    other = open_ledger(tmp_path / "other.sqlite3")
    for _ in range(5):
        open_case(other, kit, "other.wav")
    other.close()
    ledger.close()
    ledger.path.write_bytes(other.path.read_bytes())
    with pytest.raises(BadInput, match="do not fit") as caught:
        open_ledger(ledger.path)
    assert one_sentence(str(caught.value))


def test_a_ledger_that_is_gone_is_not_begun_anew_beside_its_copy(ledger: Ledger, case: str) -> None:
    before = read_case(ledger, case)
    ledger.close()
    ledger.path.unlink()
    with pytest.raises(BadInput, match=r"its copy .* has 4 rows") as caught:
        open_ledger(ledger.path)
    assert one_sentence(str(caught.value))
    assert not ledger.path.exists()
    assert restore(ledger.path).newest.place == 4
    assert again(ledger.path, case) == before


def test_a_damaged_page_is_noticed_and_the_ledger_restored(
    ledger: Ledger, case: str, event: Event
) -> None:
    for _ in range(60):
        append_event(ledger, case, event)
    before = read_case(ledger, case)
    ledger.close()
    data = bytearray(ledger.path.read_bytes())
    place = data.index(b"laps one two three four five", len(data) // 2)
    data[place : place + 4] = b"Laps"
    ledger.path.write_bytes(data)
    with pytest.raises(BadInput, match=f"of case {case} is not what was written"):
        open_ledger(ledger.path)
    done = restore(ledger.path)
    assert done.moved and all(path.exists() for path in done.moved)
    assert again(ledger.path, case) == before


def test_a_whole_ledger_is_not_replaced(ledger: Ledger, case: str, tmp_path: Path) -> None:
    back_up(ledger, tmp_path / "backup")
    with pytest.raises(BadInput, match="is whole; nothing was changed"):
        restore(ledger.path, tmp_path / "backup")


def test_a_backup_makes_the_same_ledger(
    ledger: Ledger, case: str, event: Event, tmp_path: Path
) -> None:
    backup = tmp_path / "backup"
    newest = back_up(ledger, backup)
    assert stat.S_IMODE(backup.stat().st_mode) == 0o600
    with pytest.raises(BadInput, match="there already"):
        back_up(ledger, backup)
    done = restore(tmp_path / "new" / "ledger.sqlite3", backup)
    assert done.newest == newest
    assert again(tmp_path / "new" / "ledger.sqlite3", case) == read_case(ledger, case)
    append_event(ledger, case, event)
    assert check_against(ledger, backup) == (newest, None)
    other = open_ledger(tmp_path / "new" / "ledger.sqlite3")
    append_event(other, case, event.model_copy(update={"quantity": 6}))
    back_up(other, backup, replace=True)
    other.close()
    assert check_against(ledger, backup)[1] == f"entry 4 of case {case}"


def test_an_old_backup_is_made_whole_from_the_copy(
    ledger: Ledger, case: str, event: Event, tmp_path: Path
) -> None:
    back_up(ledger, tmp_path / "backup")
    append_event(ledger, case, event)
    before = read_case(ledger, case)
    ledger.close()
    ledger.path.write_bytes(b"\0" * 8192)
    restore(ledger.path, tmp_path / "backup")
    assert again(ledger.path, case) == before


def test_what_the_copy_missed_is_read_from_the_damaged_file(
    ledger: Ledger, case: str, event: Event
) -> None:
    earlier = copy_of(ledger).read_bytes()
    append_event(ledger, case, event)
    before = read_case(ledger, case)
    ledger.close()
    copy_of(ledger).write_bytes(earlier)
    other = sqlite3.connect(ledger.path)
    other.execute("DROP TRIGGER entry_no_delete")
    other.commit()
    other.close()
    with pytest.raises(BadInput, match="triggers"):
        open_ledger(ledger.path)
    assert restore(ledger.path).newest.place == 5
    assert again(ledger.path, case) == before


@pytest.mark.parametrize("damage", ["changed", "cut", "another file"])
def test_a_damaged_backup_is_refused(
    ledger: Ledger, case: str, tmp_path: Path, damage: str
) -> None:
    backup = tmp_path / "backup"
    back_up(ledger, backup)
    data = backup.read_bytes()
    lines = data.splitlines(keepends=True)
    backup.write_bytes(
        {
            "changed": data.replace(b"five", b"nine", 1),
            "cut": b"".join(lines[:2] + lines[3:]),
            "another file": b"PK\x03\x04 something else",
        }[damage]
    )
    with pytest.raises(BadInput) as caught:
        restore(tmp_path / "new.sqlite3", backup)
    assert one_sentence(str(caught.value))
    assert not (tmp_path / "new.sqlite3").exists()


def test_a_copy_that_cannot_be_written_loses_nothing(
    ledger: Ledger,
    case: str,
    event: Event,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    caplog: pytest.LogCaptureFixture,
) -> None:
    def full(*_: object) -> int:
        raise OSError(28, os.strerror(28))

    with monkeypatch.context() as broken, caplog.at_level(logging.WARNING):
        broken.setattr("countersign.ledger.copy.os.pwrite", full)
        append_event(ledger, case, event)
    assert "is behind: No space left" in caplog.text
    append_event(ledger, case, event)
    assert check_against(ledger, copy_of(ledger))[0].place == 6


def test_another_place_for_the_copy(
    tmp_path: Path, kit: Kit, monkeypatch: pytest.MonkeyPatch
) -> None:
    elsewhere = tmp_path / "other disk" / "copy"
    monkeypatch.setenv("COUNTERSIGN_LEDGER_COPY", str(elsewhere))
    opened = open_ledger(tmp_path / "ledger.sqlite3")
    open_case(opened, kit, "first.wav")
    opened.close()
    assert len(elsewhere.read_bytes().splitlines()) == 2
    assert not (tmp_path / "ledger.sqlite3.copy").exists()
