"""What must not vanish or join by mistake: amounts without a name, verbs after a pause."""

from datetime import date

import pytest

from countersign.hearing import written
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning import EventKind, QuestionCode, understand


@pytest.fixture(scope="module")
def kit() -> Kit:
    return read_kit(demo_kit_path())


@pytest.mark.parametrize(
    "line",
    [
        "point two five percent <talk> ten milliliters expires march twenty twenty eight",
        "one percent <talk> thirty milliliters",
        "<talk> expires march twenty twenty eight",
    ],
)
def test_a_medication_whose_name_was_not_heard_asks_for_it(kit: Kit, line: str) -> None:
    (event,) = understand([written(line, 1)], kit, date(2026, 1, 1))
    assert event.kind is EventKind.RECEIPT
    assert event.item is None
    assert QuestionCode.NO_ITEM in {question.code for question in event.questions}


@pytest.mark.parametrize("line", ["two percent milk please", "a twelve ounce two percent latte"])
def test_one_amount_in_other_talk_is_no_medication(kit: Kit, line: str) -> None:
    assert not list(understand([written(line, 1)], kit, date(2026, 1, 1)))


def test_a_verb_after_a_pause_does_not_join_the_numbers_before(kit: Kit) -> None:
    said = [written("one two", 1), written("adding laps three", 2)]
    events = list(understand(said, kit, date(2026, 1, 1)))
    (laps,) = [event for event in events if event.item is not None]
    assert laps.kind is EventKind.ADDITION or laps.questions


def test_a_number_alone_asks_of_what_while_a_count_is_made(kit: Kit) -> None:
    said = [written("initial count", 1), written("five", 2)]
    *_, number = understand(said, kit, date(2026, 1, 1))
    assert number.item is None and number.quantity == 5
    assert [question.code for question in number.questions] == [QuestionCode.NO_ITEM]
    assert not list(understand([written("five", 1)], kit, date(2026, 1, 1)))


def test_items_after_a_receipt_are_no_part_of_it(kit: Kit) -> None:
    words = "one percent lidocaine ten milliliters", "four syringes to the field"
    said = [written(text, line) for line, text in enumerate(words, start=1)]
    received, added = understand(said, kit, date(2026, 1, 1))
    assert received.kind is EventKind.RECEIPT and received.quantity == 10
    assert (added.kind, added.item, added.quantity) == (EventKind.ADDITION, "syringe", 4)


def test_a_number_that_talk_parts_from_its_item_asks(kit: Kit) -> None:
    (event,) = understand([written("kocher <talk> two", 1)], kit, date(2026, 1, 1))
    assert event.quantity == 2
    assert "Talk was heard between" in " ".join(q.sentence for q in event.questions)
