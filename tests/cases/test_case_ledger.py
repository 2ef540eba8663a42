"""Whole cases kept in a ledger, read back and replayed."""

from pathlib import Path

import pytest
from tests.cases.checking import decisions_of, differences
from tests.cases.generate import generate
from tests.cases.test_case_events import DEALT_WITH, KIT

from countersign.ledger import (
    append_decision,
    append_event,
    open_case,
    open_ledger,
    read_case,
    record_of,
)
from countersign.meaning.event import Phase
from countersign.tally import Act, build_record


def test_a_misheard_count_that_was_amended_is_replayed_as_amended(tmp_path: Path) -> None:
    case = generate(KIT, 5, lines=60, on=DEALT_WITH)
    at = next(n for n, e in enumerate(case.events) if e.phase is Phase.CLOSING)
    heard = list(case.events)
    heard[at] = heard[at].model_copy(update={"phase": Phase.FINAL})
    decisions = decisions_of(case.telling)
    mended = {"act": Act.AMEND, "phase": Phase.CLOSING}
    decisions[at] = decisions[at].model_copy(update=mended)
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    try:
        name = open_case(ledger, KIT, "written words")
        for event in heard:
            append_event(ledger, name, event)
        for made in reversed(decisions):  # people confirm in any order
            append_decision(ledger, name, made)
        record = record_of(read_case(ledger, name))
    finally:
        ledger.close()
    assert differences(record, case.truth, confirmed=True) == []
    meant = build_record(KIT, case.events, decisions_of(case.telling))
    assert (record.totals, record.phases) == (meant.totals, meant.phases)
    assert [line.phase for line in record.lines] == [line.phase for line in meant.lines]


@pytest.mark.parametrize("seed", range(4))
def test_replaying_a_whole_case_gives_the_same_record(tmp_path: Path, seed: int) -> None:
    case = generate(KIT, seed, lines=60, on=DEALT_WITH)
    decisions = decisions_of(case.telling)
    ledger = open_ledger(tmp_path / "ledger.sqlite3")
    try:
        name = open_case(ledger, KIT, "written words")
        kept = []
        # People confirm while the case goes on: each decision some lines after its line.
        late = seed + 1
        for line, event in enumerate(case.events, start=1):
            append_event(ledger, name, event)
            if line > late:
                made = decisions[line - late - 1]
                entry = append_decision(ledger, name, made)
                kept.append(made.model_copy(update={"entry": entry}))
        for made in decisions[len(case.events) - late :]:
            entry = append_decision(ledger, name, made)
            kept.append(made.model_copy(update={"entry": entry}))
    finally:
        ledger.close()
    again = open_ledger(tmp_path / "ledger.sqlite3", create=False)
    try:
        history = read_case(again, name)
    finally:
        again.close()
    assert list(history.events) == case.events
    record = record_of(history)
    assert record == build_record(KIT, case.events, kept)
    assert differences(record, case.truth, confirmed=True) == []
