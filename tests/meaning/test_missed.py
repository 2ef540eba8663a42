"""A line that only another reading of the same sound has is asked about, not lost."""

import pytest

SEVEN = "seven needles correction six needles"


def lines(events) -> list[tuple[str, str | None, int | None]]:
    return [(event.kind.value, event.item, event.quantity) for event in events]


def test_a_number_that_went_into_no_line_where_another_reading_has_one(hear, utter) -> None:
    # heard so in a long case: "seventy" and talk, for "seven needles"
    said = utter("seventy <talk> correction six needles", others=((SEVEN, 0.13, "grammar"),))
    events = hear([said])
    assert ("count", "needle", 7) in lines(events)
    (missed,) = [event for event in events if event.quantity == 7]
    assert [question.code.value for question in missed.questions] == ["low_confidence"]
    assert "seven needles" in missed.questions[-1].sentence


@pytest.mark.parametrize(
    ("heard", "other", "share"),
    [
        # too unlikely
        ("seventy <talk> correction six needles", SEVEN, 0.09),
        # nothing but talk was heard, or no number
        ("<talk> <talk>", "seven needles", 0.4),
        ("needles <talk>", "seven needles", 0.4),
        # the other reading has talk in it as well, or only a part of what was said
        ("<talk> seven <talk>", "<talk> seven needles", 0.4),
        ("<talk> <talk> <talk> seven <talk>", "two needles", 0.4),
    ],
)
def test_talk_gives_no_line(hear, utter, heard: str, other: str, share: float) -> None:
    plain = lines(hear([utter(heard)]))
    assert lines(hear([utter(heard, others=((other, share, "grammar"),))])) == plain


def test_a_line_that_was_heard_is_not_given_twice(hear, utter) -> None:
    others = (("laps nine", 0.3, "grammar"), ("laps five", 0.2, "open"))
    assert lines(hear([utter("laps five", others=others)])) == [("count", "lap", 5)]


def test_a_short_line_of_the_count_that_was_heard_as_talk(hear, utter) -> None:
    others = (("syringe one", 0.3, "grammar"),)
    begin, said = utter("closing count"), utter("<talk> <talk>", 3.0, others=others)
    (count,) = hear([begin, said])[1:]
    assert (count.item, count.quantity) == ("syringe", 1)
    assert [question.code.value for question in count.questions] == ["low_confidence"]
    # not outside a count, and not where it lasted longer
    assert hear([said]) == []
    longer = utter("<talk> <talk> <talk>", 3.0, others=(("two syringe one", 0.3, "grammar"),))
    assert len(hear([begin, longer])) == 1


@pytest.mark.parametrize(
    ("heard", "other", "kind"),
    [
        ("cancel the on the mayo laps one", "cancel that on the mayo laps one", "correction"),
        ("one <talk> two hundred fifty cc", "normal saline two hundred fifty cc", "receipt"),
    ],
)
def test_a_correction_or_a_receipt_that_only_another_reading_has(
    hear, utter, heard: str, other: str, kind: str
) -> None:
    events = hear([utter("laps two", -12.0), utter(heard, others=((other, 0.2, "grammar"),))])
    (missed,) = [event for event in events if event.kind.value == kind]
    assert "low_confidence" in [question.code.value for question in missed.questions]
