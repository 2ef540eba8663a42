"""What must hold for every sequence of lines about medications."""

from collections.abc import Sequence
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from countersign.meaning.event import Event
from countersign.medication import MedicationAccount
from countersign.medication.units import converted
from countersign.tally import Act, Decision

from .scenes import KIT, account, correction, decide, draw, label, receipt, relief

NAMES = st.sampled_from([medication.id for medication in KIT.medications])
STRENGTHS = st.sampled_from(
    [None, "1 %", "2 %", "ratio 1000", "ratio 3000", "10 mg/mL", "1000 [U]/mL", "1 g", "0 %"]
)
VOLUMES = st.none() | st.decimals("0.1", "500", places=1)
CONTAINERS = st.sampled_from([None, "cup", "basin", "syringe"])


@st.composite
def _medicated(draw_one: st.DrawFn) -> Event:
    make = draw_one(st.sampled_from([receipt, label]))
    more: dict[str, object] = {"container": draw_one(CONTAINERS)}
    if draw_one(st.booleans()):
        more |= {"additive": "epinephrine", "additive_strength": draw_one(STRENGTHS)}
    if draw_one(st.booleans()):
        more |= {"diluent": "sodium_chloride", "diluent_ml": draw_one(VOLUMES)}
    more["read_back"] = draw_one(st.booleans())
    return make(draw_one(st.none() | NAMES), draw_one(STRENGTHS), draw_one(VOLUMES), **more)


@st.composite
def _drawn(draw_one: st.DrawFn) -> Event:
    return draw(
        draw_one(st.none() | NAMES),
        draw_one(VOLUMES),
        draw_one(STRENGTHS),
        container=draw_one(CONTAINERS),
        diluent_ml=draw_one(st.none() | VOLUMES),
    )


EVENTS = st.lists(
    _medicated()
    | _drawn()
    | st.builds(relief)
    | st.builds(correction)
    | st.builds(lambda ml: correction(quantity=ml, unit="mL"), st.decimals("1", "50", places=0)),
    min_size=1,
    max_size=9,
)


@st.composite
def _decided(draw_one: st.DrawFn, count: int) -> list[Decision]:
    lines = draw_one(st.lists(st.integers(1, count), unique=True, max_size=count))
    decisions = []
    for second, line in enumerate(lines):
        act = draw_one(st.sampled_from([Act.ACCEPT, Act.AMEND, Act.SET_ASIDE, Act.UNDO]))
        amended = {"quantity": Decimal(7)} if act is Act.AMEND else {}
        decisions.append(decide(line, act, second, **amended))
    return decisions


def _holds(found: MedicationAccount) -> None:
    for each in found.preparations:
        if None not in (each.received_ml, each.drawn_ml):
            assert each.remaining_ml == each.received_ml - each.drawn_ml
    for total in found.totals:
        if total.received and total.drawn and total.remaining:
            unit = total.received.unit
            drawn = converted(total.drawn.value, total.drawn.unit, unit)
            left = converted(total.remaining.value, total.remaining.unit, unit)
            assert abs(left - (total.received.value - drawn)) < Decimal("1e-18")


@given(EVENTS)
def test_what_remains_is_what_was_received_less_what_was_drawn(events: Sequence[Event]) -> None:
    found = account(events)
    _holds(found)
    known = [d for d in found.draws if d.volume_ml is not None]
    from_cups = sum((p.drawn_ml or Decimal(0) for p in found.preparations), Decimal(0))
    assert from_cups <= sum((d.volume_ml or Decimal(0) for d in known), Decimal(0))


@given(EVENTS, st.data())
def test_the_order_of_confirmation_changes_nothing(
    events: Sequence[Event], data: st.DataObject
) -> None:
    decisions = data.draw(_decided(len(events)))
    moments = sorted(decision.at for decision in decisions)
    shuffled = [
        decision.model_copy(update={"at": at})
        for decision, at in zip(data.draw(st.permutations(decisions)), moments, strict=True)
    ]
    found = account(events, decisions)
    assert account(events, shuffled) == found
    _holds(found)


@given(EVENTS)
def test_nothing_is_confirmed_that_nobody_confirmed(events: Sequence[Event]) -> None:
    found = account(events)
    assert not any(each.confirmed for each in (*found.preparations, *found.draws, *found.totals))
    assert all(total.confirmed_drawn is None for total in found.totals)
    lines = {line for each in found.preparations for line in each.lines}
    assert lines <= set(range(1, len(events) + 1))
    assert {q.line for q in found.questions} <= set(range(1, len(events) + 1))


@given(EVENTS)
def test_accepting_everything_leaves_nothing_due(events: Sequence[Event]) -> None:
    found = account(events, [decide(n, second=n) for n in range(1, len(events) + 1)])
    assert not any(question.open for question in found.questions)
    assert not any(each.verification_due for each in found.preparations)
