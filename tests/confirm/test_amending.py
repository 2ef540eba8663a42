"""What a person types, made into values."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from countersign.confirm import who
from countersign.confirm.amending import NotUnderstood, read_initials, read_item, read_role
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


@given(st.text(max_size=30))
def test_nothing_typed_breaks_it(typed: str) -> None:
    kit = read_kit(demo_kit_path())
    try:
        found = read_item(typed, counted(None, 1, 1.0, ""), kit)
    except NotUnderstood:
        return
    assert found in {item.id for item in kit.items}
