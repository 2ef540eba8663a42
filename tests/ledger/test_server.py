"""The same ledger on a real PostgreSQL server, which the tests start."""

import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text
from sqlalchemy.exc import DBAPIError
from tests.ledger.server import programs, running
from tests.ledger.test_crashes import CHILD
from tests.ledger.test_trouble import one_sentence

from countersign.cli import main
from countersign.kit.model import Kit
from countersign.ledger import (
    Ledger,
    append_decision,
    append_event,
    list_cases,
    open_case,
    open_ledger,
    read_case,
)
from countersign.ledger.backup import back_up, restore
from countersign.meaning.event import Event
from countersign.problems import BadInput
from countersign.settings import beside, ledger_path
from countersign.tally.record import Decision

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(programs() is None, reason="needs Debian's postgresql"),
]


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    with running() as address:
        yield address


@pytest.fixture
def address(server: str) -> str:
    """An empty database."""
    engine = create_engine(server.replace("postgresql:", "postgresql+psycopg:"))
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.execute(text("DROP DATABASE IF EXISTS theatre WITH (FORCE)"))
        connection.execute(text("CREATE DATABASE theatre"))
    engine.dispose()
    return server.replace("/postgres?", "/theatre?")


@pytest.fixture
def ledger(address: str) -> Iterator[Ledger]:
    opened = open_ledger(address)
    yield opened
    opened.close()


def test_a_case_comes_back_from_another_opening(
    ledger: Ledger, address: str, kit: Kit, event: Event, decision: Decision
) -> None:
    case = open_case(ledger, kit, "odd\udcff.wav")
    append_event(ledger, case, event)
    append_decision(ledger, case, decision)
    again = open_ledger(address, create=False)
    history = read_case(again, case)
    assert history.events == (event,)
    assert history.decisions == (decision.model_copy(update={"entry": 2}),)
    assert [row.case_id for row in list_cases(again)] == [case]
    again.close()
    assert "secret" not in open_name(address.replace("postgres@", "postgres:secret@"))


def open_name(address: str) -> str:
    opened = open_ledger(address)
    opened.close()
    return opened.name


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = '{}'",
        "DELETE FROM entry",
        "TRUNCATE entry",
        "TRUNCATE link, entry, \"case\"",
        "INSERT INTO entry SELECT * FROM entry ON CONFLICT (case_id, seq) DO UPDATE SET body = ''",
        "INSERT INTO entry SELECT case_id, seq + 7, at, kind, body FROM entry",
        "INSERT INTO entry SELECT case_id, seq + 1, at, 'other', body FROM entry",
        """UPDATE "case" SET kit_text = '{}'""",
        """DELETE FROM "case" """,
        "UPDATE link SET hash = ''",
        "DELETE FROM link",
    ],
)  # fmt: skip
def test_nothing_can_be_changed(ledger: Ledger, kit: Kit, event: Event, statement: str) -> None:
    case = open_case(ledger, kit, "first.wav")
    append_event(ledger, case, event)
    before = read_case(ledger, case)
    with pytest.raises(DBAPIError), ledger.engine.begin() as connection:
        connection.exec_driver_sql(statement)
    assert read_case(ledger, case) == before


@pytest.mark.parametrize(
    ("statement", "sentence"),
    [
        ("UPDATE entry SET body = replace(body, '5', '6')", r"entry 1 of case \S* is not what"),
        ("DELETE FROM entry", r"entry 1 of case \S* is missing"),
        ("SELECT 1", "triggers that protect"),
    ],
)
def test_what_was_tampered_with_is_noticed_at_opening(
    ledger: Ledger, address: str, kit: Kit, event: Event, statement: str, sentence: str
) -> None:
    case = open_case(ledger, kit, "first.wav")
    append_event(ledger, case, event)
    with ledger.engine.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE entry DISABLE TRIGGER ALL")
        connection.exec_driver_sql(statement)
    with pytest.raises(BadInput, match=sentence) as caught:
        open_ledger(address)
    assert one_sentence(str(caught.value))


def test_two_processes_keep_one_chain(ledger: Ledger, address: str, kit: Kit, event: Event) -> None:
    case = open_case(ledger, kit, "first.wav")
    append_event(ledger, case, event)
    command = [sys.executable, str(CHILD), "once", address, case]
    both = [
        subprocess.Popen(
            [*command, initials, "80"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        for initials in ("AB", "CD")
    ]
    for process in both:
        assert process.stdout is not None and process.stdout.readline() == "ready\n"
    # both begin at once
    threads = [threading.Thread(target=process.communicate, args=("go\n",)) for process in both]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [process.returncode for process in both] == [0, 0]
    again = open_ledger(address, create=False)  # checks the chain
    history = read_case(again, case)
    again.close()
    assert history.last_entry == 161
    turns = [made.initials for made in history.decisions]
    assert sum(a != b for a, b in pairwise(turns)) > 5  # they did overlap


def test_a_file_is_moved_to_a_server_and_back(
    address: str, tmp_path: Path, kit: Kit, event: Event
) -> None:
    file = open_ledger(tmp_path / "ledger.sqlite3")
    case = open_case(file, kit, "first.wav")
    append_event(file, case, event)
    newest = back_up(file, tmp_path / "backup")
    before = read_case(file, case)
    file.close()
    assert restore(address, tmp_path / "backup").newest == newest
    served = open_ledger(address)
    assert read_case(served, case) == before
    assert back_up(served, tmp_path / "back") == newest
    served.close()
    with pytest.raises(BadInput, match="is whole"):
        restore(address, tmp_path / "backup")
    assert (tmp_path / "back").read_bytes() == (tmp_path / "backup").read_bytes()


def test_the_commands_take_an_address(
    address: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    words = "laps one two three four five"
    assert main(["read", "--keep", "--ledger", address, words]) == 0
    monkeypatch.setenv("COUNTERSIGN_LEDGER", address)
    assert main(["cases"]) == 0
    assert main(["ledger", "check"]) == 0
    assert "is whole: 1 case," in capsys.readouterr().out
    assert beside(address) == ledger_path() and ledger_path().is_absolute()


def test_no_server(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="the connection to its server failed") as caught:
        open_ledger(f"postgresql://nobody@/none?host={tmp_path}")
    assert one_sentence(str(caught.value))
    assert os.listdir(tmp_path) == []  # noqa: PTH208
