"""What is on the Mayo stand and the back table, and what is missing."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.medication.scenes import decide

from countersign.cli import main
from countersign.kit import Group, Item, Kit, demo_kit_path, read_kit
from countersign.kit.model import SetUpNote
from countersign.ledger import append_event, open_case, open_ledger
from countersign.meaning.event import Event, EventKind
from countersign.set_up import SetUp, Stands, set_up
from countersign.tally import Act, Decision, build_record


def item(name: str) -> Item:
    return Item(id=name, label=name.title(), group=Group.INSTRUMENTS, spoken=(name,))


KIT = Kit(
    title="Test kit",
    procedure="Test",
    items=tuple(map(item, ("knife", "forceps", "clamp", "basin", "tray"))),
    mayo_stand=("knife", "forceps"),
    back_table=("clamp", "basin"),
    set_up={
        "forceps": SetUpNote(order=2, tip="down"),
        "knife": SetUpNote(order=1, handle="towards the scrub"),
    },
)


def placed(name: str | None, place: str | None = None, quantity: int | None = None) -> Event:
    return Event(
        kind=EventKind.SET_UP,
        item=name,
        place=place,
        quantity=quantity,
        start_s=0,
        end_s=1,
        words="placed",
    )


def correction(**fields: Any) -> Event:
    return Event(kind=EventKind.CORRECTION, start_s=0, end_s=1, words="correction", **fields)


def made(events: list[Event], decisions: list[Decision] | None = None) -> SetUp:
    return set_up(KIT, build_record(KIT, events, decisions or []).lines)


def stands(found: SetUp) -> dict[str, Stands]:
    every = [each for place in found.places for each in place.items] + list(found.unplaced)
    return {each.item: each.stands for each in every}


def test_before_anything_was_said_everything_is_missing() -> None:
    found = made([])
    assert [place.place for place in found.places] == ["mayo_stand", "back_table"]
    assert found.missing == ("knife", "forceps", "clamp", "basin")
    assert not found.complete
    assert found.order_of_use == ("knife", "forceps")


def test_placed_missing_elsewhere_and_not_listed() -> None:
    found = made(
        [
            placed("knife", "mayo_stand", 2),
            placed("clamp", "mayo_stand"),
            placed("tray", "back_table"),
            placed("basin"),
        ]
    )
    assert stands(found) == {
        "knife": Stands.PLACED,
        "forceps": Stands.MISSING,
        "clamp": Stands.ELSEWHERE,
        "basin": Stands.PLACE_NOT_SAID,
        "tray": Stands.NOT_LISTED,
    }
    assert (found.missing, found.elsewhere) == (("forceps",), ("clamp",))
    mayo, back = found.places
    assert mayo.items[0].quantity == 2
    assert (mayo.items[1].order, mayo.items[1].tip, mayo.items[1].handle) == (2, "down", None)
    assert [each.item for each in back.items] == ["clamp", "basin", "tray"]


def test_an_item_that_moved_is_where_it_was_said_last() -> None:
    found = made([placed("knife", "back_table"), placed("knife", "mayo_stand")])
    assert stands(found)["knife"] is Stands.PLACED
    assert found.places[0].items[0].lines == (1, 2)
    again = made([placed("knife", "mayo_stand"), placed("knife", None, 3)])
    assert (stands(again)["knife"], again.places[0].items[0].quantity) == (Stands.PLACED, 3)


def test_struck_set_aside_and_amended() -> None:
    assert "knife" in made([placed("knife", "mayo_stand"), correction()]).missing
    aside = [decide(1, Act.SET_ASIDE, reason="not so")]
    assert "knife" in made([placed("knife", "mayo_stand")], aside).missing
    amended = made([placed("knife", "mayo_stand")], [decide(1, Act.AMEND, item="forceps")])
    assert amended.places[0].items[1].confirmed
    assert amended.missing == ("knife", "clamp", "basin")


def test_a_corrected_number_keeps_its_place() -> None:
    found = made([placed("knife", "mayo_stand", 2), correction(item="knife", quantity=3)])
    knife = found.places[0].items[0]
    assert (knife.stands, knife.quantity, knife.lines) == (Stands.PLACED, 3, (2,))


def test_only_a_person_confirms() -> None:
    events = [placed("knife", "mayo_stand"), placed("forceps", "mayo_stand")]
    found = made(events, [decide(1)])
    assert [each.confirmed for each in found.places[0].items] == [True, False]


def test_complete() -> None:
    events = [placed(name, "mayo_stand") for name in KIT.mayo_stand]
    events += [placed(name, "back_table") for name in KIT.back_table]
    assert made(events).complete
    assert made(events).missing == ()


@given(
    st.lists(
        st.builds(
            placed,
            st.sampled_from([None, *(each.id for each in KIT.items)]),
            st.sampled_from([None, "mayo_stand", "back_table", "field"]),
            st.none() | st.integers(0, 5),
        )
        | st.builds(correction),
        max_size=10,
    )
)
def test_every_listed_item_is_there_once(events: list[Event]) -> None:
    found = made(events)
    every = [each.item for place in found.places for each in place.items]
    every += [each.item for each in found.unplaced]
    assert len(every) == len(set(every))
    assert {*KIT.mayo_stand, *KIT.back_table} <= set(every)
    assert found.complete == (set(stands(found).values()) <= {Stands.PLACED, Stands.NOT_LISTED})
    assert not any(each.confirmed for place in found.places for each in place.items)


# The command


@pytest.fixture
def case(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    path = tmp_path / "ledger.sqlite3"
    monkeypatch.setenv("COUNTERSIGN_LEDGER", str(path))
    monkeypatch.setenv("COLUMNS", "80")
    ledger = open_ledger(path)
    name = open_case(ledger, read_kit(demo_kit_path()), "written words")
    append_event(ledger, name, placed("knife_handle", "mayo_stand", 1))
    append_event(ledger, name, placed("mesh", "mayo_stand"))
    ledger.close()
    return name


def test_people_get_both_lists(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["setup", case]) == 0
    out = capsys.readouterr().out
    words = " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 80
    assert "Mayo stand" in words and "back table" in words
    assert "use 1; tip down, away from hands; handle towards the scrub" in words
    assert "Not where listed: " in words and "on Mayo stand" in words
    assert "Not placed yet: " in words
    assert words.endswith("Nothing here is confirmed.")


def test_json(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["setup", case, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["case"], found["complete"], found["status"]) == (case, False, "NOT CONFIRMED")
    assert found["set_up"]["elsewhere"] == ["mesh"]
    first = found["set_up"]["places"][0]["items"][0]
    assert (first["item"], first["stands"], first["confirmed"]) == ("knife_handle", "placed", False)


def test_a_case_that_is_not_there(case: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["setup", "0101-none"]) == 2
    captured = capsys.readouterr()
    assert captured.out == "" and captured.err.count("\n") == 1
