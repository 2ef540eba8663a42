"""A line that may only repeat the one before it, and a correction after both."""

from datetime import UTC, datetime

from countersign.chain import read
from countersign.kit import demo_kit_path, read_kit
from countersign.tally import Act, CountRecord, Decision, Role, build_record

KIT = read_kit(demo_kit_path())
SAID = ["initial count", "needles six", "adding two needles", "two needles added", "strike that"]


def decided(acts: dict[int, Act]) -> CountRecord:
    at = datetime(2026, 3, 2, 8, tzinfo=UTC)
    decisions = [
        Decision(line=line, act=act, role=Role.CIRCULATOR, initials="CD", at=at)
        for line, act in acts.items()
    ]
    return build_record(KIT, read(SAID, KIT).events, decisions)


def expected(record: CountRecord) -> int | None:
    return next(each for each in record.totals if each.item == "suture_needle").heard_expected


def test_a_correction_of_a_repeat_is_asked_about() -> None:
    record = decided({})
    assert record.lines[3].struck_by == 5
    assert [q.code.value for q in record.lines[4].questions] == ["unclear_correction"]


def test_a_repeat_set_aside_leaves_the_correction_to_the_line_it_repeats() -> None:
    record = decided({4: Act.SET_ASIDE})
    assert record.lines[2].struck_by == 5
    assert record.lines[4].questions == ()
    assert expected(record) == 6


def test_a_repeat_that_was_done_twice_is_struck_itself() -> None:
    record = decided({4: Act.ACCEPT})
    assert (record.lines[2].struck_by, record.lines[3].struck_by) == (None, 5)
    assert expected(record) == 8


def test_until_a_person_decides_a_repeat_leaves_the_higher_number_expected() -> None:
    added = build_record(KIT, read(SAID[:-1], KIT).events, [])
    assert not added.lines[3].waits and expected(added) == 10
    said = ["initial count", "needles six", "passing off two needles", "two needles passed off"]
    removed = build_record(KIT, read(said, KIT).events, [])
    assert removed.lines[3].waits and expected(removed) == 4
