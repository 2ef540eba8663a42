"""Whole cases as words: every line is read exactly or asked about."""

import pytest
from tests.cases.checking import decisions_of, differences
from tests.cases.generate import Case, generate
from tests.cases.judge import Outcome, judge
from tests.cases.saying import UNDERSTOOD
from tests.cases.test_case_events import KIT

from countersign.chain import Result, read
from countersign.tally import build_record


def read_aloud(seed: int, lines: int = 90) -> tuple[Case, Result]:
    case = generate(KIT, seed, lines=lines, on=UNDERSTOOD)
    return case, read(case.lines, KIT)


@pytest.mark.parametrize("seed", range(8))
def test_no_line_is_wrong_without_a_question(seed: int) -> None:
    case, result = read_aloud(seed)
    judged = judge(case, result.record)
    assert [each.sentence for each in judged if each.outcome is Outcome.SILENT] == []
    exact = [each for each in judged if each.outcome is Outcome.EXACT]
    assert len(exact) > 0.95 * len(case.telling)


def test_what_is_read_without_an_error_is_the_truth() -> None:
    """From words to confirmed record, for the cases in which every line was read exactly."""
    checked = 0
    for seed in range(12):
        case, result = read_aloud(seed, 50)
        judged = judge(case, result.record)
        if any(each.outcome in (Outcome.QUESTIONED, Outcome.LOST) for each in judged):
            continue
        record = build_record(KIT, result.events, decisions_of(case.telling))
        assert differences(record, case.truth, confirmed=True) == []
        checked += 1
    assert checked >= 6


@pytest.mark.parametrize("seed", range(4))
def test_every_line_has_its_words_in_what_was_said(seed: int) -> None:
    case, result = read_aloud(seed)
    for line in result.record.lines:
        event = line.event
        assert 1 <= event.start_s <= event.end_s <= len(case.lines)
        said = " ".join(case.lines[int(event.start_s) - 1 : int(event.end_s)]).split()
        assert event.words and set(event.words.split()) <= set(said)
