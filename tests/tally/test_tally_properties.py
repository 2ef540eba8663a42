"""What holds for every sequence of events and decisions."""

from collections import defaultdict
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st
from tally_scenes import (
    BEGIN,
    KIT,
    accept_all,
    addition,
    correction,
    count,
    phase,
    removal,
    verdict,
)
from tally_strategies import DECISIONS, FEW, ITEMS, one_decision_each

from countersign.meaning.event import EventKind, Phase, Question, QuestionCode, Verdict
from countersign.tally import Act, Decision, LineState, Role, build_record

ANY_ITEM = st.sampled_from([*(item.id for item in KIT.items), "spoon", None])
ASKED = st.sampled_from(
    [(), (), (), (Question(code=QuestionCode.LOW_CONFIDENCE, sentence="Was it that?"),)]
)

EVENTS = st.lists(
    st.one_of(
        st.builds(count, ANY_ITEM, st.one_of(st.none(), FEW), questions=ASKED),
        st.builds(addition, ITEMS, FEW),
        st.builds(removal, ITEMS, FEW),
        st.builds(correction, ANY_ITEM, st.one_of(st.none(), FEW)),
        st.builds(phase, st.sampled_from(Phase)),
        st.builds(
            verdict,
            st.sampled_from(Verdict),
            group=st.sampled_from([None, None, "sponges", "sharps"]),
        ),
    ),
    max_size=12,
)
FAST = settings(max_examples=250, deadline=None)


@given(st.lists(st.tuples(ITEMS, FEW, st.booleans()), max_size=20), st.data())
@FAST
def test_totals_are_the_sum_of_what_was_said(
    moves: list[tuple[str, int, bool]], data: st.DataObject
) -> None:
    opened = {item.id: data.draw(FEW) for item in KIT.items}
    events = [count(item, quantity) for item, quantity in opened.items()]
    sums = defaultdict(int, opened)
    for item, quantity, added in moves:
        events.append(addition(item, quantity) if added else removal(item, quantity))
        sums[item] += quantity if added else -quantity
    record = build_record(KIT, events, accept_all(events))
    assert {t.item: t.heard_expected for t in record.totals} == dict(sums)
    assert {t.item: t.confirmed_expected for t in record.totals} == dict(sums)
    assert {t.item: t.heard_last for t in record.totals} == opened
    nobody = build_record(KIT, events, [])
    assert all(t.confirmed_expected is None for t in nobody.totals)


# Mostly in packs and of one item, so that many of these cases do come out correct.
TIDY = st.lists(
    st.one_of(
        st.builds(count, st.sampled_from(["raytec", "lap"]), st.sampled_from([5, 10, 10, 20])),
        st.builds(addition, st.just("raytec"), st.just(10)),
        st.builds(correction, st.none(), st.sampled_from([None, 10])),
        st.builds(phase, st.sampled_from([Phase.CLOSING, Phase.FINAL])),
        st.builds(verdict, group=st.sampled_from([None, None, "sponges"])),
    ),
    max_size=6,
).map(lambda events: [*events, verdict()])


@given(st.one_of(EVENTS, TIDY), DECISIONS)
@settings(max_examples=500, deadline=None)
def test_correct_is_never_reached_with_anything_open(
    events: list, decisions: list[Decision]
) -> None:
    for made in (decisions, accept_all(events), [*accept_all(events), *decisions]):
        record = build_record(KIT, events, made)
        if record.verdict is Verdict.CORRECT:
            assert record.open_questions == 0
            assert all(
                t.confirmed_last is None or t.confirmed_last == t.confirmed_expected
                for t in record.totals
            )
        if record.confirmed:
            assert record.open_questions == 0
            assert not any(line.is_open for line in record.lines)


@given(EVENTS, st.data())
@FAST
def test_lines_may_be_confirmed_in_any_order(events: list, data: st.DataObject) -> None:
    made = one_decision_each(data, len(events))
    order = data.draw(st.permutations(made))
    timed = [
        decision.model_copy(update={"at": BEGIN + timedelta(seconds=second)})
        for second, decision in enumerate(order)
    ]

    def without_time(decisions: list[Decision]) -> object:
        record = build_record(KIT, events, decisions)
        return record.model_dump(exclude={"lines": {"__all__": {"decision": {"at"}}}})

    assert without_time(timed) == without_time(made)


@given(EVENTS, DECISIONS)
@FAST
def test_the_record_is_a_pure_fold_that_loses_nothing(
    events: list, decisions: list[Decision]
) -> None:
    record = build_record(KIT, events, decisions)
    assert record == build_record(KIT, tuple(events), tuple(decisions))
    assert [line.event for line in record.lines] == events
    assert [line.number for line in record.lines] == list(range(1, len(events) + 1))
    for line in record.lines:
        assert set(line.event.questions) <= set(line.questions)
        done = line.state in (LineState.ACCEPTED, LineState.AMENDED)
        if done and line.acts_as in (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL):
            assert line.confirmed_item is not None and line.confirmed_quantity is not None
        if not done:
            assert line.confirmed_item is None and line.confirmed_quantity is None


@given(EVENTS, DECISIONS)
@FAST
def test_only_a_persons_act_reaches_the_confirmed_side(
    events: list, decisions: list[Decision]
) -> None:
    acted = {d.line for d in decisions if d.act in (Act.ACCEPT, Act.AMEND)}
    record = build_record(KIT, events, decisions)
    assert {
        line.number
        for line in record.lines
        if line.state in (LineState.ACCEPTED, LineState.AMENDED)
    } <= acted
    assert {line.number for line in record.lines if line.confirmed_quantity is not None} <= acted
    untouched = build_record(KIT, events, [d for d in decisions if d.line not in acted])
    assert untouched.verdict is None
    assert all((t.confirmed_last, t.confirmed_expected) == (None, None) for t in untouched.totals)


@given(EVENTS, DECISIONS)
@FAST
def test_undoing_everything_gives_the_record_as_heard(
    events: list, decisions: list[Decision]
) -> None:
    undone = [
        Decision(
            line=line,
            act=Act.UNDO,
            role=Role.SCRUB,
            initials="GH",
            at=BEGIN + timedelta(hours=1),
        )
        for line in {decision.line for decision in decisions}
    ]
    assert build_record(KIT, events, [*decisions, *undone]) == build_record(KIT, events, [])


def test_a_thousand_events_are_one_pass() -> None:
    events = [
        event
        for _ in range(200)
        for event in (
            *(count("needle", 7), correction(quantity=8), correction(), verdict()),
            addition("raytec", 10),
        )
    ]
    record = build_record(KIT, events, [])
    assert len(record.lines) == 1000
    assert all(len(q.sentence) < 300 for line in record.lines for q in line.questions)
