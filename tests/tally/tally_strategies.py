"""What hypothesis draws for the tally: decisions, on a few lines or on every line."""

from datetime import timedelta

from hypothesis import strategies as st
from tally_scenes import BEGIN, KIT

from countersign.kit import Group
from countersign.meaning.event import Phase
from countersign.tally import Act, Decision, Role

ITEMS = st.sampled_from([item.id for item in KIT.items])
FEW = st.integers(0, 22)
PHASES = st.sampled_from([None, *Phase])
GROUPS = st.sampled_from([None, "", *Group])

DECISIONS = st.lists(
    st.builds(
        Decision,
        line=st.integers(0, 13),
        act=st.sampled_from(Act),
        role=st.sampled_from(Role),
        initials=st.just("CD"),
        at=st.integers(0, 30).map(lambda s: BEGIN + timedelta(seconds=s)),
        item=st.one_of(st.none(), ITEMS),
        quantity=st.one_of(st.none(), FEW),
        phase=PHASES,
        group=GROUPS,
    ),
    max_size=16,
)
"""Some of them on lines that there are not."""


def one_decision_each(data: st.DataObject, lines: int) -> list[Decision]:
    """A decision on every line, in the order of the lines."""
    acts = st.sampled_from([Act.ACCEPT, Act.ACCEPT, Act.AMEND, Act.SET_ASIDE])
    return [
        Decision(
            line=line,
            act=data.draw(acts),
            role=Role.SCRUB,
            initials="EF",
            at=BEGIN,
            quantity=data.draw(st.one_of(st.none(), FEW)),
            phase=data.draw(PHASES),
            group=data.draw(GROUPS),
        )
        for line in range(1, lines + 1)
    ]
