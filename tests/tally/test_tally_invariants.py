"""What holds for every sequence of counts by place, part and pack, breakages and signatures."""

from collections import defaultdict
from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tally_scenes import (
    KIT,
    accept_all,
    addition,
    breakage,
    correction,
    count,
    phase,
    removal,
    signed,
    step,
    verdict,
)
from tally_strategies import DECISIONS, ITEMS, one_decision_each

from countersign.ledger import (
    append_decision,
    append_event,
    append_exception,
    append_step,
    open_case,
    open_ledger,
    read_case,
    record_of,
)
from countersign.meaning.event import Event, EventKind, Phase, Spoken, Verdict
from countersign.tally import CountRecord, Decision, build_record

FEW = st.integers(0, 12)
PLACES = st.sampled_from([None, None, "field", "wound", "mayo_stand", "back_table", "off_field"])
PARTS = st.sampled_from([None, None, None, "barrel", "bulb", "cap"])
SPOKEN = st.sampled_from([None, None, Spoken.PACK, Spoken.TOTAL])

EVENTS = st.lists(
    st.one_of(
        st.builds(count, ITEMS, FEW, place=PLACES, part=PARTS, spoken=SPOKEN),
        st.builds(addition, ITEMS, FEW, place=PLACES, spoken=SPOKEN),
        st.builds(removal, ITEMS, FEW, place=PLACES, part=PARTS),
        st.builds(breakage, ITEMS, st.integers(0, 4)),
        st.builds(
            correction,
            st.one_of(st.none(), ITEMS),
            st.one_of(st.none(), FEW),
            place=PLACES,
        ),
        st.builds(phase, st.sampled_from(Phase), group=st.sampled_from([None, None, "sponges"])),
        st.builds(verdict, st.sampled_from(Verdict), item=st.one_of(st.none(), ITEMS)),
    ),
    max_size=12,
)
# Of two items and mostly near each other, so that many of these do come out correct.
TIDY = st.lists(
    st.one_of(
        st.builds(count, st.just("needle"), st.integers(6, 8)),
        st.builds(count, st.just("lap"), st.just(5)),
        st.builds(count, st.just("needle"), st.sampled_from([3, 4]), place=PLACES),
        st.builds(count, st.just("lap"), st.sampled_from([0, 2]), place=st.just("wound")),
        st.builds(breakage, st.just("needle"), st.just(2)),
        st.builds(phase, st.sampled_from([Phase.CLOSING, Phase.FINAL])),
    ),
    max_size=7,
).map(lambda events: [count("needle", 7), *events, verdict()])
STEPS = st.lists(
    st.builds(
        step,
        ITEMS,
        st.integers(0, 13),
        st.sampled_from(["recount", "image"]),
        done=st.booleans(),
    ),
    max_size=4,
)
EXCEPTIONS = st.lists(
    st.builds(signed, ITEMS, st.integers(1, 12), st.integers(-3, 3), withdrawn=st.booleans()),
    max_size=5,
)
FAST = settings(max_examples=200, deadline=None)


def open_and_unsigned(record: CountRecord) -> list[object]:
    left: list[object] = [d for d in record.discrepancies if d.is_open and d.exception is None]
    return left + [each for each in record.broken if each.exception is None]


@given(st.one_of(EVENTS, TIDY), DECISIONS, STEPS)
@settings(max_examples=600, deadline=None)
def test_correct_is_never_reached_with_a_discrepancy_open(
    events: list[Event], decisions: list[Decision], steps: list
) -> None:
    for made in (decisions, accept_all(events), [*accept_all(events), *decisions]):
        record = build_record(KIT, events, made, steps=steps)
        if record.verdict is Verdict.CORRECT:
            assert not any(d.is_open for d in record.discrepancies)
            assert record.broken == () and record.by_exception == ()
            assert record.open_questions == 0
            last = [line for line in record.lines if line.acts_as is EventKind.VERDICT][-1]
            if last.phase in (Phase.CLOSING, Phase.FINAL):
                assert record.packed == ()


@given(TIDY, st.data())
@settings(max_examples=600, deadline=None)
def signatures_and_the_verdict(events: list[Event], data: st.DataObject) -> None:
    plain = build_record(KIT, events, accept_all(events))
    could_be_signed = [
        signed(found.item, found.line, found.difference) for found in plain.discrepancies
    ] + [signed(packed.item, packed.line, packed.quantity) for packed in plain.packed]
    exceptions = [
        made.model_copy(update={"withdrawn": data.draw(st.integers(0, 5)) == 0})
        for made in could_be_signed
        if data.draw(st.integers(0, 3))
    ]
    record = build_record(KIT, events, accept_all(events), exceptions=exceptions)
    if record.verdict is Verdict.CORRECT:
        assert open_and_unsigned(record) == []
        if plain.verdict is not Verdict.CORRECT:
            assert record.by_exception
            REACHED.append(record)
    for made in record.by_exception:
        assert made in exceptions and not made.withdrawn
        assert made.reason and made.scrub != made.circulator
    # Signatures change what may stand, never a number.
    assert record.totals == plain.totals


REACHED: list[CountRecord] = []


def test_correct_by_exception_names_every_signature_it_stands_on() -> None:
    REACHED.clear()
    signatures_and_the_verdict()
    assert len(REACHED) > 10  # the examples do get there


@given(st.lists(st.tuples(ITEMS, FEW, st.integers(0, 3)), max_size=20), st.data())
@FAST
def test_expected_is_always_the_sum_of_the_events(
    moves: list[tuple[str, int, int]], data: st.DataObject
) -> None:
    opened = {item.id: data.draw(FEW) for item in KIT.items}
    events = [count(item, quantity) for item, quantity in opened.items()]
    sums = defaultdict(int, opened)
    for item, quantity, what in moves:
        if what == 0:
            events.append(addition(item, quantity))
            sums[item] += quantity
        elif what == 1:
            events.append(removal(item, quantity, place="off_field"))
            sums[item] -= quantity
        elif what == 2:
            events.append(breakage(item, quantity + 2))
            sums[item] += quantity + 1
        else:  # where things are changes nothing
            events.append(count(item, quantity, place="wound"))
            events.append(removal(item, quantity, place="wound"))
    record = build_record(KIT, events, accept_all(events))
    assert {t.item: t.heard_expected for t in record.totals} == dict(sums)
    assert {t.item: t.confirmed_expected for t in record.totals} == dict(sums)
    assert {t.item: t.heard_last for t in record.totals} == opened


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["field", "mayo_stand", "back_table", "off_field"]), st.integers(0, 9)
        ),
        min_size=1,
        max_size=12,
    )
)
@FAST
def test_the_places_of_a_phase_always_add_up(counted: list[tuple[str, int]]) -> None:
    events = [count("needle", 20), phase(Phase.CLOSING)]
    events += [count("needle", quantity, place=place) for place, quantity in counted]
    record = build_record(KIT, events)
    total = next(t for t in record.totals if t.item == "needle")
    assert total.heard_last == sum(dict(counted).values())
    asked = any(q.code == "not_expected" for q in record.lines[-1].questions)
    assert asked is (total.heard_last != 20)
    assert bool(record.discrepancies) is asked


@given(EVENTS, st.data())
@FAST
def test_lines_may_be_confirmed_in_any_order(events: list[Event], data: st.DataObject) -> None:
    made = one_decision_each(data, len(events))
    order = data.draw(st.permutations(made))
    kept = [each.model_copy(update={"entry": n}) for n, each in enumerate(order, start=1)]

    def without_entry(decisions: list[Decision]) -> object:
        record = build_record(KIT, events, decisions)
        return record.model_dump(exclude={"lines": {"__all__": {"decision": {"entry"}}}})

    assert without_entry(kept) == without_entry(made)


@given(EVENTS, DECISIONS, STEPS, EXCEPTIONS)
@FAST
def test_every_line_and_finding_has_an_event_behind_it(
    events: list[Event], decisions: list[Decision], steps: list, exceptions: list
) -> None:
    record = build_record(KIT, events, decisions, steps=steps, exceptions=exceptions)
    assert [line.event for line in record.lines] == events
    numbers = range(1, len(events) + 1)
    for found in record.discrepancies:
        if found.vanished:
            assert found.steps
            continue
        assert found.line in numbers and found.latest in numbers
        assert record.lines[found.line - 1].event.kind in (EventKind.COUNT, EventKind.CORRECTION)
        assert set(found.since) <= set(numbers)
        assert found.resolved_by is None or found.resolved_by > found.latest
    for each in (*record.packed, *record.broken):
        assert each.line in numbers
    counted = {line.item for line in record.lines} | {line.confirmed_item for line in record.lines}
    assert {total.item for total in record.totals} <= counted | {d.item for d in decisions}
    again = build_record(KIT, events, decisions, steps=steps, exceptions=exceptions)
    assert record == again


@given(EVENTS, DECISIONS, STEPS, EXCEPTIONS)
@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_replaying_the_ledger_gives_the_same_record(
    tmp_path_factory: object,
    events: list[Event],
    decisions: list[Decision],
    steps: list,
    exceptions: list,
) -> None:
    folder: Path = tmp_path_factory.mktemp("ledger")  # type: ignore[attr-defined]
    ledger = open_ledger(folder / "ledger.sqlite3")
    try:
        case = open_case(ledger, KIT, "written words")
        for event in events:
            append_event(ledger, case, event)
        kept = []
        for decision in decisions:
            if 1 <= decision.line <= len(events):
                entry = append_decision(ledger, case, decision)
                kept.append(decision.model_copy(update={"entry": entry}))
        for made in steps:
            append_step(ledger, case, made)
        for made in exceptions:
            append_exception(ledger, case, made)
        replayed = record_of(read_case(ledger, case))
    finally:
        ledger.close()
    direct = build_record(KIT, events, kept, steps=steps, exceptions=exceptions)
    assert replayed == direct
    assert replayed == record_of_again(folder, case)


def record_of_again(folder: Path, case: str) -> CountRecord:
    """Through another opening of the file."""
    ledger = open_ledger(folder / "ledger.sqlite3", create=False)
    try:
        return record_of(read_case(ledger, case))
    finally:
        ledger.close()
