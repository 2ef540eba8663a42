"""Counts announced out of their order: one of their names may be heard for another.

The order (initial, cavity, closing of the wound, skin) is that of AORN and AST guidance (from
memory).
"""

from itertools import product

import pytest
from tally_scenes import KIT, codes, count, decide, event, phase, verdict

from countersign.kit import Group
from countersign.meaning.event import Event, EventKind, Phase
from countersign.meaning.event import QuestionCode as Q
from countersign.tally import Act, build_record

CASES = [
    (Phase.INITIAL, Phase.CLOSING_CAVITY, Phase.CLOSING, Phase.FINAL),
    (Phase.INITIAL, Phase.CLOSING, Phase.FINAL),
    (Phase.INITIAL, Phase.RELIEF, Phase.CLOSING, Phase.REQUESTED, Phase.FINAL),
]
SPOKEN = (Phase.INITIAL, Phase.CLOSING_CAVITY, Phase.CLOSING, Phase.FINAL)


def told(phases: tuple[Phase, ...]) -> list[Event]:
    """A count of the same two items under every announced name."""
    items = (count("lap", 5), count("needle", 7))
    return [each for name in phases for each in (phase(name), *items)]


def asked(events: list[Event], *decisions) -> list[str]:
    lines = build_record(KIT, events, decisions).lines
    return [
        question.sentence
        for line in lines
        if line.event.kind is EventKind.PHASE and line.is_open
        for question in line.questions
    ]


@pytest.mark.parametrize("phases", CASES)
def test_a_case_in_the_usual_order_asks_nothing(phases: tuple[Phase, ...]) -> None:
    assert build_record(KIT, told(phases)).open_questions == 0


@pytest.mark.parametrize("phases", CASES)
def test_any_one_name_heard_for_another_asks(phases: tuple[Phase, ...]) -> None:
    for at, other in product(range(1, len(phases)), SPOKEN):
        if phases[at] in (other, Phase.RELIEF, Phase.REQUESTED):
            continue
        heard = (*phases[:at], other, *phases[at + 1 :])
        assert asked(told(heard)), heard


def test_a_misheard_name_is_amended_and_all_that_follows_belongs_to_it() -> None:
    initial, _, closing, final = SPOKEN
    events = told((initial, final))
    right = told((initial, closing))
    amended = build_record(KIT, events, [decide(4, Act.AMEND, phase=closing)])
    assert asked(events) and asked(events, decide(4, Act.AMEND, phase=closing)) == []
    meant = build_record(KIT, right, [decide(4)])
    assert [line.phase for line in amended.lines] == [line.phase for line in meant.lines]
    assert (amended.phases, amended.totals) == (meant.phases, meant.totals)
    assert amended.lines[3].event.phase is final  # what was heard stays as it was
    undone = [decide(4, Act.AMEND, phase=closing), decide(4, Act.UNDO, second=1)]
    assert build_record(KIT, events, undone) == build_record(KIT, events)


@pytest.mark.parametrize("phases", CASES)
def test_any_one_name_heard_for_another_is_mended_by_amending_it(
    phases: tuple[Phase, ...],
) -> None:
    meant = build_record(KIT, told(phases))
    for at, other in product(range(1, len(phases)), SPOKEN):
        heard = told((*phases[:at], other, *phases[at + 1 :]))
        record = build_record(KIT, heard, [decide(3 * at + 1, Act.AMEND, phase=phases[at])])
        assert record.totals == meant.totals
        assert (record.phases, record.notices) == (meant.phases, meant.notices)


def test_a_misheard_group_is_amended_and_nothing_of_another_is_left_out() -> None:
    items = (count("lap", 5), count("needle", 7))
    start = [phase(Phase.INITIAL), *items]
    sharps, sponges = Group.SHARPS.value, Group.SPONGES.value
    events = [*start, phase(Phase.CLOSING, group=sponges), count("needle", 7)]
    meant = build_record(KIT, [*start, phase(Phase.CLOSING, group=sharps), count("needle", 7)])
    heard = build_record(KIT, events)
    assert (heard.phases[1].groups, heard.phases[1].left_out) == ((Group.SPONGES,), ("lap",))
    amended = build_record(KIT, events, [decide(4, Act.AMEND, group=Group.SHARPS)])
    assert (amended.phases, amended.notices) == (meant.phases, meant.notices)
    assert amended.phases[1].left_out == ()
    line = amended.lines[3]
    assert (line.phase, line.group, line.event.group) == (Phase.CLOSING, sharps, sponges)
    everything = build_record(KIT, events, [decide(4, Act.AMEND, group="")])
    assert (everything.phases[1].groups, everything.phases[1].left_out) == ((), ("lap",))
    both = [decide(4, Act.AMEND, phase=Phase.FINAL, group=Group.SHARPS)]
    changed = build_record(KIT, events, both)
    assert [line.phase for line in changed.lines[3:]] == [Phase.FINAL, Phase.FINAL]
    assert changed.phases[1].groups == (Group.SHARPS,)
    undone = [decide(4, Act.AMEND, group=Group.SHARPS), decide(4, Act.UNDO, second=1)]
    assert build_record(KIT, events, undone) == heard


def test_only_a_line_that_announced_a_count_takes_a_phase() -> None:
    events = told((Phase.INITIAL,))
    record = build_record(
        KIT, events, [decide(2, Act.AMEND, quantity=4, phase=Phase.FINAL, group="")]
    )
    assert {line.phase for line in record.lines} == {Phase.INITIAL}
    assert record.phases == build_record(KIT, events).phases


def test_the_sentences_say_what_does_not_fit() -> None:
    initial, cavity, closing, final = SPOKEN
    skipped = "The final count was announced, but no closing count before it; "
    assert asked(told((initial, final))) == [
        f"{skipped}was that left out, or was another count meant?"
    ]
    assert asked(told((initial, closing, cavity))) == [
        "The closing count of the cavity was announced after the closing count of line 4; "
        "was another count meant?"
    ]
    assert asked(told((initial, closing, closing))) == [
        "The closing count was already made (line 4); is it made again, or was another count meant?"
    ]


def test_a_count_that_goes_on_under_its_name_asks_nothing() -> None:
    closing = phase(Phase.CLOSING)
    opened = told((Phase.INITIAL,))
    assert asked([*opened, closing, count("lap", 5), closing, count("needle", 7)]) == []
    groups = [phase(Phase.CLOSING, group="sponges"), phase(Phase.CLOSING, group="sharps")]
    assert asked([*opened, groups[0], count("lap", 5), groups[1], count("needle", 7)]) == []


def test_cavities_of_other_names_are_other_counts() -> None:
    uterus, peritoneum = (
        event(EventKind.PHASE, phase=Phase.CLOSING_CAVITY, words=words)
        for words in ("closing the uterus", "closing the peritoneum")
    )
    laps = count("lap", 5)
    assert asked([*told((Phase.INITIAL,)), uterus, laps, peritoneum, laps]) == []
    assert asked([*told((Phase.INITIAL,)), peritoneum, laps, peritoneum, laps])


def test_the_first_name_heard_in_a_record_fits() -> None:
    assert asked(told((Phase.FINAL,))) == []
    assert asked([count("lap", 5), *told((Phase.FINAL,))])


def test_a_name_that_a_person_set_aside_is_no_count() -> None:
    events = told((Phase.INITIAL, Phase.FINAL, Phase.CLOSING, Phase.FINAL))
    assert len(asked(events)) == 3
    assert asked(events, decide(4, Act.SET_ASIDE)) == []


def test_correct_waits_for_the_name_of_the_count() -> None:
    events = [*told((Phase.INITIAL, Phase.FINAL)), verdict()]
    record = build_record(KIT, events)
    assert codes(record.lines[3]) == [Q.NOT_EXPECTED]
    assert codes(record.lines[-1]) == [Q.VERDICT_CONFLICT]
    assert "line 4 still has an open question" in record.lines[-1].questions[0].sentence
