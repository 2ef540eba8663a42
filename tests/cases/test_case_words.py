"""Whole cases as words: every line is read exactly, and the record is the truth."""

from functools import cache

import pytest
from tests.cases.checking import decisions_on, differences
from tests.cases.generate import Case, generate
from tests.cases.judge import Judged, Outcome, judge
from tests.cases.test_case_events import KIT

from countersign.chain import Result, read
from countersign.tally import build_record


@cache
def read_aloud(seed: int, lines: int = 90) -> tuple[Case, Result, list[Judged]]:
    case = generate(KIT, seed, lines=lines)
    result = read(case.lines, KIT)
    return case, result, judge(case, result.record)


@pytest.mark.parametrize("seed", range(12))
def test_every_line_is_exact_and_the_confirmed_record_is_the_truth(seed: int) -> None:
    case, result, judged = read_aloud(seed)
    wrong = [e.sentence for e in judged if e.outcome not in (Outcome.EXACT, Outcome.STAYED)]
    assert wrong == []
    record = build_record(KIT, result.events, decisions_on(judged))
    assert differences(record, case.truth, confirmed=True) == []
    needless = sum(each.needless for each in judged)
    assert needless < 0.02 * len(case.telling) + 2


@pytest.mark.parametrize("seed", range(4))
def test_every_line_has_its_words_in_what_was_said(seed: int) -> None:
    case, result, _ = read_aloud(seed)
    for line in result.record.lines:
        event = line.event
        assert 1 <= event.start_s <= event.end_s <= len(case.lines)
        said = " ".join(case.lines[int(event.start_s) - 1 : int(event.end_s)]).split()
        assert event.words and set(event.words.split()) <= set(said)
