"""An encrypted ledger: unreadable without its key, and otherwise like any other."""

from pathlib import Path

import pytest
from tests.ledger.test_trouble import one_sentence

from countersign.kit.model import Kit
from countersign.ledger import append_decision, append_event, open_case, open_ledger, read_case
from countersign.ledger.backup import back_up, check_against, restore
from countersign.ledger.sealing import make_key
from countersign.meaning.event import Event
from countersign.problems import BadInput
from countersign.tally.record import Decision


@pytest.fixture
def key(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "key"
    make_key(path)
    monkeypatch.setenv("COUNTERSIGN_KEY", str(path))
    return path


def one_case(path: Path, kit: Kit, event: Event, decision: Decision) -> str:
    opened = open_ledger(path)
    case = open_case(opened, kit, "first.wav")
    append_event(opened, case, event)
    append_decision(opened, case, decision)
    opened.close()
    return case


def test_nothing_that_was_said_can_be_found_on_the_disk(
    key: Path, tmp_path: Path, kit: Kit, event: Event, decision: Decision
) -> None:
    folder = tmp_path / "kept"
    case = one_case(folder / "ledger.sqlite3", kit, event, decision)
    opened = open_ledger(folder / "ledger.sqlite3")
    append_event(opened, case, event)
    back_up(opened, folder / "backup")
    assert read_case(opened, case).events == (event, event)
    assert check_against(opened, folder / "backup")[1] is None
    files = [path for path in folder.rglob("*") if path.is_file()]  # with the write-ahead log
    assert len(files) >= 4
    for path in files:
        data = path.read_bytes()
        for word in (b"laps one two", b"lap_sponge", case.encode(), b"SQLite format", b"CREATE"):
            assert word not in data, (path, word)
    opened.close()


def test_without_the_key_or_with_another_one_it_is_refused(
    key: Path, tmp_path: Path, kit: Kit, event: Event, decision: Decision,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    path = tmp_path / "kept" / "ledger.sqlite3"
    case = one_case(path, kit, event, decision)
    before = {each: each.read_bytes() for each in path.parent.iterdir()}
    make_key(tmp_path / "other")
    for named in (None, tmp_path / "other", tmp_path / "missing", path):
        if named is None:
            monkeypatch.delenv("COUNTERSIGN_KEY")
        else:
            monkeypatch.setenv("COUNTERSIGN_KEY", str(named))
        with pytest.raises(BadInput) as caught:
            open_ledger(path)
        assert one_sentence(str(caught.value)), str(caught.value)
    for each, data in before.items():
        assert each.read_bytes() == data
    monkeypatch.setenv("COUNTERSIGN_KEY", str(key))
    opened = open_ledger(path)
    assert read_case(opened, case).events == (event,)
    opened.close()


@pytest.mark.parametrize("empty", ["", " "])
def test_an_empty_name_of_a_key_begins_no_plain_ledger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, empty: str
) -> None:
    monkeypatch.setenv("COUNTERSIGN_KEY", empty)
    with pytest.raises(BadInput) as caught:
        open_ledger(tmp_path / "ledger.sqlite3")
    assert one_sentence(str(caught.value)) and "empty" in str(caught.value)
    assert not list(tmp_path.iterdir())


def test_a_plain_ledger_is_not_taken_for_an_encrypted_one(
    tmp_path: Path, kit: Kit, event: Event, decision: Decision, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "ledger.sqlite3"
    one_case(path, kit, event, decision)
    make_key(tmp_path / "key")
    monkeypatch.setenv("COUNTERSIGN_KEY", str(tmp_path / "key"))
    with pytest.raises(BadInput, match="is not encrypted"):
        open_ledger(path)


def test_it_is_restored_from_its_copy(
    key: Path, tmp_path: Path, kit: Kit, event: Event, decision: Decision
) -> None:
    path = tmp_path / "ledger.sqlite3"
    case = one_case(path, kit, event, decision)
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1  # SQLCipher authenticates every page
    path.write_bytes(data)
    with pytest.raises(BadInput) as caught:
        open_ledger(path)
    assert one_sentence(str(caught.value)), str(caught.value)
    restore(path)
    opened = open_ledger(path)
    assert read_case(opened, case).events == (event,)
    opened.close()
