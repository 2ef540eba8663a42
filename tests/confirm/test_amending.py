"""What a person types, made into values."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from countersign.confirm import who
from countersign.confirm.amending import (
    NotUnderstood,
    read_container,
    read_expiry,
    read_initials,
    read_item,
    read_role,
    read_typed_strength,
)
from countersign.kit import demo_kit_path, read_kit
from countersign.problems import BadInput
from countersign.tally import Role

from .conftest import counted


@pytest.mark.parametrize(
    ("typed", "role"),
    [("scrub", Role.SCRUB), ("s", Role.SCRUB), (" CIRC ", Role.CIRCULATOR), ("r", Role.RELIEF)],
)
def test_roles(typed: str, role: Role) -> None:
    assert read_role(typed) is role


@pytest.mark.parametrize("typed", ["", "surgeon", "scrubs", " "])
def test_no_role(typed: str) -> None:
    with pytest.raises(NotUnderstood):
        read_role(typed)


@pytest.mark.parametrize(("typed", "kept"), [("ab", "AB"), ("j.d.", "JD"), (" é ", "É")])
def test_initials(typed: str, kept: str) -> None:
    assert read_initials(typed) == kept


@pytest.mark.parametrize("typed", ["", "12", "abcde", "a b", "\x1b[31m", "=AB"])
def test_no_initials(typed: str) -> None:
    with pytest.raises(NotUnderstood):
        read_initials(typed)


def test_people_are_asked_again_until_it_can_be_used() -> None:
    answers = iter(["surgeon", "scrub", "123", "ab"])
    said: list[str] = []
    person = who(lambda _: next(answers), lambda what: said.append(str(what)), None, None)
    assert (person.role, person.initials) == (Role.SCRUB, "AB")
    assert len(said) == 2


def test_what_was_given_beforehand_is_not_asked() -> None:
    def never(prompt: str) -> str | None:
        raise AssertionError(prompt)

    person = who(never, print, "relief", "xy")
    assert (person.role, person.initials) == (Role.RELIEF, "XY")
    with pytest.raises(BadInput, match="The role is one of"):
        who(never, print, "surgeon", "xy")
    with pytest.raises(BadInput, match="Nobody gave"):
        who(lambda _: None, print, "scrub", None)


def test_every_way_of_saying_an_item_finds_it() -> None:
    kit = read_kit(demo_kit_path())
    event = counted(None, 1, 1.0, "")
    for item in kit.items:
        for name in (item.id, item.label, *item.spoken):
            assert read_item(name, event, kit) == item.id


def test_a_beginning_that_fits_several_is_asked_back() -> None:
    kit = read_kit(demo_kit_path())
    first_letters = {item.label[0].lower() for item in kit.items}
    assert len(first_letters) < len(kit.items)
    with pytest.raises(NotUnderstood, match="could be"):
        for letter in sorted(first_letters):
            read_item(letter, counted(None, 1, 1.0, ""), kit)


@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("1 %", "1", "%"),
        ("0.25%", "0.25", "%"),
        ("1:200,000", "200000", "ratio"),
        ("10 mg/mL", "10", "mg/mL"),
        ("500 units/mL", "500", "[U]/mL"),
        ("2 g", "2", "g"),
    ],
)
def test_strengths(typed: str, value: str, unit: str) -> None:
    found = read_typed_strength(typed)
    assert (found.value, found.unit) == (Decimal(value), unit)


@pytest.mark.parametrize("typed", ["", "1", "0 %", "one percent", "1:0", "-1 %", "5 miles", "%"])
def test_no_strengths(typed: str) -> None:
    with pytest.raises(NotUnderstood):
        read_typed_strength(typed)


@pytest.mark.parametrize(
    ("typed", "day"),
    [
        ("2027-03", date(2027, 3, 31)),
        ("2028-2", date(2028, 2, 29)),  # a leap year
        ("2027-03-05", date(2027, 3, 5)),
    ],
)
def test_a_month_of_expiry_means_its_last_day(typed: str, day: date) -> None:
    assert read_expiry(typed) == day


@pytest.mark.parametrize("typed", ["", "2027", "2027-13", "2027-02-30", "03/2027", "0000-01"])
def test_no_expiry(typed: str) -> None:
    with pytest.raises(NotUnderstood):
        read_expiry(typed)


def test_containers() -> None:
    assert [read_container(typed) for typed in ("cup", "BAS", " syr")] == [
        "cup",
        "basin",
        "syringe",
    ]
    for typed in ("", "b", "bucket"):
        with pytest.raises(NotUnderstood):
            read_container(typed)


@given(st.text(max_size=30))
def test_nothing_typed_breaks_it(typed: str) -> None:
    kit = read_kit(demo_kit_path())
    try:
        found = read_item(typed, counted(None, 1, 1.0, ""), kit)
    except NotUnderstood:
        return
    assert found in {item.id for item in kit.items}
