"""The kit's list of instruments against the counts, item by item."""

import json
from pathlib import Path

import pytest
from tests.medication.scenes import decide

from countersign.chain import read
from countersign.cli import main
from countersign.kit import Group, Item, Kit, demo_kit_path, read_kit
from countersign.ledger import append_event, open_case, open_ledger
from countersign.meaning.event import Event, EventKind, Phase
from countersign.set_up import Tallies, Tray, tray
from countersign.tally import Decision, build_record


def item(name: str, expected: int | None, group: Group = Group.INSTRUMENTS) -> Item:
    return Item(id=name, label=name.title(), group=group, spoken=(name,), expected=expected)


KIT = Kit(
    title="Test kit",
    procedure="Test",
    items=(
        item("kelly", 6),
        item("kocher", 2),
        item("spare", None),
        item("raytec", 10, Group.SPONGES),
    ),
)
INITIAL = Event(kind=EventKind.PHASE, phase=Phase.INITIAL, start_s=0, end_s=1, words="initial")
CLOSING = Event(kind=EventKind.PHASE, phase=Phase.CLOSING, start_s=0, end_s=1, words="closing")


def said(name: str, quantity: int, kind: EventKind = EventKind.COUNT) -> Event:
    return Event(
        kind=kind, item=name, quantity=quantity, unit="each", start_s=0, end_s=1, words=name
    )


def made(events: list[Event], decisions: tuple[Decision, ...] = ()) -> Tray:
    return tray(KIT, build_record(KIT, events, decisions))


def test_before_any_count_the_list_stands_and_nothing_is_counted() -> None:
    found = made([INITIAL, said("raytec", 10)])
    assert (found.begun, found.listed_total, found.agrees) == (False, 8, False)
    assert [each.item for each in found.items] == ["kelly", "kocher"]


def test_what_differs_and_what_was_left_out() -> None:
    found = made([INITIAL, said("kelly", 5)])
    assert [(each.item, each.stands, each.counted) for each in found.items] == [
        ("kelly", Tallies.AGREES, 5),  # the initial count sets what should be there
        ("kocher", Tallies.NOT_COUNTED, None),
    ]
    assert (found.left_out, found.phase, found.line) == (("kocher",), Phase.INITIAL, 1)
    assert found.items[0].listed == 6
    closing = made([INITIAL, said("kelly", 6), said("kocher", 2), CLOSING, said("kelly", 5)])
    assert [each.stands for each in closing.items] == [Tallies.DIFFERS, Tallies.NOT_COUNTED]
    assert (closing.counted_total, closing.expected_total, closing.line) == (5, 8, 4)


def test_additions_and_what_is_not_listed() -> None:
    events = [INITIAL, said("kelly", 6), said("kocher", 2), said("spare", 1, EventKind.ADDITION)]
    found = made(events)
    assert [(each.item, each.expected, each.listed) for each in found.items] == [
        ("kelly", 6, 6),
        ("kocher", 2, 2),
        ("spare", 1, None),
    ]
    assert found.left_out == ("spare",) and not found.agrees
    closing = [CLOSING, said("kelly", 6), said("kocher", 2), said("spare", 1)]
    assert made([*events, *closing]).agrees


def test_only_people_confirm() -> None:
    events = [INITIAL, said("kelly", 6), said("kocher", 2)]
    assert made(events).agrees and not made(events).confirmed
    assert not made(events, (decide(2),)).confirmed
    assert made(events, (decide(2), decide(3))).confirmed


# The command


@pytest.fixture
def case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    path = tmp_path / "ledger.sqlite3"
    monkeypatch.setenv("COUNTERSIGN_LEDGER", str(path))
    monkeypatch.setenv("COLUMNS", "80")
    kit = read_kit(demo_kit_path())
    ledger = open_ledger(path)
    name = open_case(ledger, kit, "written words")
    for event in read(
        ["initial count", "kellys six", "kochers two", "allis clamps three"], kit
    ).events:
        append_event(ledger, name, event)
    ledger.close()
    return name


def test_people_get_the_list(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tray", case]) == 0
    out = capsys.readouterr().out
    words = " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80
    assert "The initial count of line 1: 11 instruments counted in all" in words
    assert "Not counted in it: Towel clip; Mosquito hemostat; " in words
    assert words.endswith("This list is NOT CONFIRMED.")


def test_json(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tray", case, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["status"], found["agrees"]) == ("NOT CONFIRMED", False)
    assert found["tray"]["counted_total"] == 11
    kelly = next(each for each in found["tray"]["items"] if each["item"] == "kelly_clamp")
    assert kelly == {
        **{"item": "kelly_clamp", "stands": "agrees", "listed": 6},
        **{"expected": 6, "counted": 6, "confirmed": None},
    }


def test_no_such_group_or_case(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tray", case, "--group", "spoons"]) == 2
    assert main(["tray", "0101-none"]) == 2
    captured = capsys.readouterr()
    assert captured.out == "" and captured.err.count("\n") == 2
