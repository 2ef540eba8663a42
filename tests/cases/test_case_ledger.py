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
from countersign.tally import build_record


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
