"""Whole cases as events: the record against the simulated room, after any number of lines."""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.cases.checking import decisions_of, differences
from tests.cases.generate import EVERYTHING, Case, generate

from countersign.kit import demo_kit_path, read_kit
from countersign.meaning.event import EventKind, Verdict
from countersign.tally import LineState, build_record
from countersign.tally.running import TALLIED

KIT = read_kit(demo_kit_path())
DEALT_WITH = EVERYTHING
SEEDS = st.integers(0, 10**9)


def check(case: Case, lines: int) -> None:
    steps = case.telling[:lines]
    events = [step.event for step in steps if step.event is not None]
    truth = steps[-1].truth
    heard = build_record(KIT, events)
    assert differences(heard, truth, confirmed=False) == []
    assert heard.verdict is None
    assert {total.confirmed_expected for total in heard.totals} <= {None}
    record = build_record(KIT, events, decisions_of(steps))
    assert differences(record, truth, confirmed=True) == []


@given(seed=SEEDS, data=st.data())
@settings(max_examples=40, deadline=None)
def test_the_record_of_a_case_is_the_truth_at_any_moment(seed: int, data: st.DataObject) -> None:
    case = generate(KIT, seed, lines=data.draw(st.sampled_from([20, 40, 70])), on=DEALT_WITH)
    check(case, len(case.telling))
    check(case, data.draw(st.sampled_from(case.settled)))


@pytest.mark.parametrize("seed", range(3))
def test_a_case_of_hundreds_of_events(seed: int) -> None:
    case = generate(KIT, seed, lines=400, on=DEALT_WITH)
    assert len(case.events) > 250
    for lines in case.settled[:: -len(case.settled) // 5]:
        check(case, lines)


def test_cases_hold_everything_that_can_happen() -> None:
    cases = [generate(KIT, seed, lines=50, on=DEALT_WITH) for seed in range(60)]
    events = [event for case in cases for event in case.events]
    assert {event.kind for event in events} == set(EventKind) - {EventKind.SET_UP}
    assert {event.place for event in events} >= {"field", "wound", "mayo_stand", "off_field"}
    assert {event.part for event in events} >= {"barrel", "bulb"}
    assert {step.set_aside for case in cases for step in case.telling} == {True, False}
    ends = {case.truth.verdict for case in cases}
    assert {"correct", "not_correct"} <= ends
    opened = [any(step.truth.discrepancies for step in case.steps) for case in cases]
    assert sum(opened) > len(cases) / 2
    assert any(case.truth.discrepancies for case in cases)
    assert any(
        fact.in_wound for case in cases for s in case.steps for fact in s.truth.items.values()
    )
    assert any(held.drawn_ml for case in cases for held in case.truth.medications)


def test_the_same_seed_gives_the_same_case() -> None:
    assert generate(KIT, 5, lines=60) == generate(KIT, 5, lines=60)
    assert generate(KIT, 5, lines=60).lines != generate(KIT, 6, lines=60).lines


@given(seed=SEEDS, order=st.randoms(use_true_random=False))
@settings(max_examples=15, deadline=None)
def test_any_order_of_confirmation_gives_the_same_record(seed: int, order: random.Random) -> None:
    case = generate(KIT, seed, lines=40, on=DEALT_WITH)
    made = decisions_of(case.telling)
    shuffled = made[:]
    order.shuffle(shuffled)
    kept = [each.model_copy(update={"entry": n}) for n, each in enumerate(shuffled, start=1)]
    hidden = {"lines": {"__all__": {"decision": {"entry"}}}}
    first = build_record(KIT, case.events, made).model_dump(exclude=hidden)
    assert build_record(KIT, case.events, kept).model_dump(exclude=hidden) == first
    assert build_record(KIT, case.events, shuffled).model_dump(exclude=hidden) == first


@given(seed=SEEDS, some=st.randoms(use_true_random=False))
@settings(max_examples=20, deadline=None)
def test_what_is_not_confirmed_yet_enters_no_confirmed_number(
    seed: int, some: random.Random
) -> None:
    """Whatever lines people have acted on so far, the others have no effect on that side."""
    case = generate(KIT, seed, lines=30, on=DEALT_WITH)
    made = [each for each in decisions_of(case.telling) if some.random() < 0.6]
    record = build_record(KIT, case.events, made)
    decided = {each.line for each in made}
    for line in record.lines:
        confirmed = line.state in (LineState.ACCEPTED, LineState.AMENDED)
        assert not confirmed or line.number in decided
        if not confirmed:
            assert line.confirmed_item is None and line.confirmed_quantity is None
    if record.verdict is Verdict.CORRECT:
        assert not any(each.is_open for each in record.discrepancies)
    # Numbers nobody confirmed may as well not have been said.
    corrected = {line.item for line in record.lines if line.struck_by is not None}
    known = [
        event.model_copy(update={"kind": EventKind.REMARK})
        if event.kind in TALLIED and line.number not in decided and line.item not in corrected
        else event
        for event, line in zip(case.events, record.lines, strict=True)
    ]
    other = {total.item: total for total in build_record(KIT, known, made).totals}
    for total in record.totals:
        if total.confirmed_expected is not None and total.item not in corrected:
            assert total.confirmed_expected == other[total.item].confirmed_expected
            assert total.confirmed_last == other[total.item].confirmed_last


def test_the_truth_is_independent() -> None:
    """The simulated room imports nothing of how the program reconciles."""
    import tests.cases.medicines
    import tests.cases.room

    for module in (tests.cases.room, tests.cases.medicines):
        names = [str(getattr(value, "__module__", "")) for value in vars(module).values()]
        assert not any("countersign" in name for name in names)
