"""A ledger that cannot be used is one sentence, and what was kept stays kept."""

import os
import re
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from countersign.kit.model import Kit
from countersign.ledger import (
    Ledger,
    append_event,
    list_cases,
    open_case,
    open_ledger,
    read_case,
)
from countersign.meaning.event import Event
from countersign.problems import BadInput

LEDGER_SECTOR = 4096


def one_sentence(message: str) -> bool:
    return bool(re.fullmatch(r"[A-Z][^\n]*\.", message))


def test_locked(ledger: Ledger, kit: Kit, event: Event) -> None:
    case = open_case(ledger, kit, "first.wav")
    impatient = open_ledger(ledger.path, patience_s=0.1)
    holder = sqlite3.connect(ledger.path, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(BadInput, match="locked by another program") as caught:
        append_event(impatient, case, event)
    assert one_sentence(str(caught.value))
    holder.execute("ROLLBACK")
    holder.close()
    append_event(impatient, case, event)  # the same opening goes on once the lock is gone
    assert read_case(ledger, case).events == (event,)
    impatient.close()


def test_locked_while_opening(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    holder = sqlite3.connect(path, isolation_level=None)
    holder.execute("BEGIN EXCLUSIVE")
    started = time.monotonic()
    with pytest.raises(BadInput, match="locked by another program"):
        open_ledger(path, patience_s=0.2)
    assert time.monotonic() - started < 3
    holder.close()


def test_full_disk_by_page_limit(ledger: Ledger, kit: Kit, event: Event) -> None:
    """``PRAGMA max_page_count`` makes SQLite report SQLITE_FULL as a full disk does."""
    case = open_case(ledger, kit, "first.wav")
    kept = 0
    with ledger.engine.connect() as connection:  # the pool hands the same connection out again
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 3}")
    with pytest.raises(BadInput, match="the disk is full") as caught:
        for _ in range(500):
            append_event(ledger, case, event)
            kept += 1
    assert one_sentence(str(caught.value))
    assert 0 < kept < 500
    assert len(read_case(ledger, case).events) == kept
    with ledger.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 1000000")
    append_event(ledger, case, event)
    assert len(read_case(ledger, case).events) == kept + 1


@pytest.mark.skipif(sys.platform != "linux" or os.geteuid() != 0, reason="needs to mount a disk")
def test_full_disk_by_a_small_disk(tmp_path: Path, kit: Kit, event: Event) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(disk)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("mounting is not allowed here")
    try:
        opened = open_ledger(disk / "ledger.sqlite3")
        case = open_case(opened, kit, "first.wav")
        kept = 0
        with pytest.raises(BadInput) as caught:
            for _ in range(2000):
                append_event(opened, case, event)
                kept += 1
        assert re.search("disk is full|disk reports an error", str(caught.value))
        assert one_sentence(str(caught.value))
        assert kept > 0
        assert len(read_case(opened, case).events) == kept
        opened.close()
        subprocess.run(["mount", "-o", "remount,size=4m", str(disk)], check=True)
        roomier = open_ledger(disk / "ledger.sqlite3", create=False)
        assert len(read_case(roomier, case).events) == kept
        append_event(roomier, case, event)
        assert len(read_case(roomier, case).events) == kept + 1
        roomier.close()
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)


@pytest.mark.skipif(sys.platform == "win32", reason="folder permissions work differently")
def test_read_only_folder(tmp_path: Path) -> None:
    """Run as a user without rights when this user has them all."""
    folder = tmp_path / "closed"
    folder.mkdir()
    folder.chmod(0o555)
    script = (
        "import os, sys\n"
        "from pathlib import Path\n"
        "from countersign.ledger import open_ledger\n"
        "from countersign.problems import BadInput\n"
        "os.geteuid() == 0 and os.setuid(65534)\n"
        "try:\n"
        "    open_ledger(Path(sys.argv[1]))\n"
        "except BadInput as problem:\n"
        "    print(problem)\n"
    )
    for parent in [tmp_path, *tmp_path.parents[:2]]:  # let the other user walk in
        parent.chmod(parent.stat().st_mode | 0o011)
    done = subprocess.run(
        [sys.executable, "-c", script, str(folder / "ledger.sqlite3")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == ""
    assert one_sentence(done.stdout.strip())
    assert "Permission denied" in done.stdout
    assert list(folder.iterdir()) == []


def test_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadInput) as caught:
        open_ledger(tmp_path / "file" / "ledger.sqlite3")
    assert one_sentence(str(caught.value))


def test_not_there(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no ledger at"):
        open_ledger(tmp_path / "ledger.sqlite3", create=False)
    assert list(tmp_path.iterdir()) == []


def test_a_folder(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="is not a file"):
        open_ledger(tmp_path)


def test_another_kind_of_file(tmp_path: Path) -> None:
    path = tmp_path / "ledger.sqlite3"
    path.write_bytes(b"this is a letter, not a database\n" * 200)
    before = path.read_bytes()
    with pytest.raises(BadInput, match="is not a ledger"):
        open_ledger(path)
    assert path.read_bytes() == before


def test_another_programs_database_is_left_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite3"
    other = sqlite3.connect(path)
    other.execute("CREATE TABLE recipe (name TEXT)")
    other.commit()
    other.close()
    before = path.read_bytes()
    with pytest.raises(BadInput, match="database of another program"):
        open_ledger(path)
    assert path.read_bytes() == before


def test_a_newer_format(ledger: Ledger) -> None:
    ledger.close()
    other = sqlite3.connect(ledger.path)
    other.execute("PRAGMA user_version = 99")
    other.close()
    with pytest.raises(BadInput, match="newer version"):
        open_ledger(ledger.path)


def test_a_damaged_file(ledger: Ledger, kit: Kit, event: Event) -> None:
    case = open_case(ledger, kit, "first.wav")
    for _ in range(200):
        append_event(ledger, case, event)
    ledger.close()
    whole = ledger.path.read_bytes()
    # Everything after the page that names the tables is overwritten.
    ledger.path.write_bytes(whole[:LEDGER_SECTOR] + b"\xa5" * (len(whole) - LEDGER_SECTOR))
    with pytest.raises(BadInput) as caught:
        opened = open_ledger(ledger.path)
        list_cases(opened)
    assert re.search("damaged|not a ledger", str(caught.value))
    assert one_sentence(str(caught.value))


def without_triggers(path: Path, statement: str) -> None:
    """Change the file as only someone working around the triggers can."""
    other = sqlite3.connect(path)
    for (name,) in other.execute(
        "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    ).fetchall():
        other.execute(f"DROP TRIGGER {name}")
    other.execute(statement)
    other.commit()
    other.close()


@pytest.mark.parametrize(
    ("statement", "sentence"),
    [
        ("UPDATE entry SET body = '{' WHERE seq = 2", "entry 2 of case [-0-9a-z]* is not what"),
        ("UPDATE entry SET at = at || ' ' WHERE seq = 3", "entry 3 of case [-0-9a-z]* is not what"),
        ("DELETE FROM entry WHERE seq = 2", "entry 2 of case [-0-9a-z]* is missing"),
        ("DELETE FROM link WHERE place = 2", "its chain has no link 2"),
        ("DELETE FROM entry WHERE seq = 3", "entry 3 of case [-0-9a-z]* is missing"),
        (
            "INSERT INTO entry SELECT case_id, seq + 1, at, kind, body FROM entry WHERE seq = 3",
            "entry 4 of case [-0-9a-z]* was added around the chain",
        ),
        ("""UPDATE "case" SET kit_text = replace(kit_text, '5', '6')""", "case [-0-9a-z]* is not"),
        ("SELECT 1", "triggers that protect"),
    ],
)
def test_what_was_tampered_with_is_not_read_as_if_nothing_happened(
    ledger: Ledger, kit: Kit, event: Event, statement: str, sentence: str
) -> None:
    case = open_case(ledger, kit, "first.wav")
    for _ in range(3):
        append_event(ledger, case, event)
    ledger.close()
    without_triggers(ledger.path, statement)
    with pytest.raises(BadInput, match=sentence) as caught:
        open_ledger(ledger.path)
    assert one_sentence(str(caught.value))


def test_what_is_changed_while_the_ledger_is_open_is_noticed_when_it_is_read(
    ledger: Ledger, kit: Kit, event: Event
) -> None:
    case = open_case(ledger, kit, "first.wav")
    for _ in range(3):
        append_event(ledger, case, event)
    without_triggers(ledger.path, "UPDATE entry SET body = replace(body, '5', '6') WHERE seq = 2")
    with pytest.raises(BadInput, match=r"entry 2 of case [-0-9a-z]* is not what"):
        read_case(ledger, case)
