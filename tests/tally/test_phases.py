"""Phases: what was counted in which order, what was left out, and what a relief asks for.

When counts are made, and sponges before sharps before small items before instruments: AORN and AST
guidance (from memory).
"""

from decimal import Decimal

from tally_scenes import KIT, accept_all, addition, codes, count, event, phase, verdict

from countersign.kit import Group, Medication
from countersign.meaning.event import EventKind, MedicationDetail, Phase, Verdict
from countersign.meaning.event import QuestionCode as Q
from countersign.tally import NoticeCode, build_record

INITIAL = phase(Phase.INITIAL)
CLOSING = phase(Phase.CLOSING)
OPENED = [INITIAL, count("raytec", 10), count("lap", 5), count("needle", 7), count("kelly", 6)]


def notices(events: list, code: NoticeCode) -> list[tuple[str, ...]]:
    return [n.items for n in build_record(KIT, events).notices if n.code is code]


def test_what_was_left_out_is_listed_and_bars_nothing() -> None:
    events = [*OPENED, CLOSING, count("raytec", 10), phase(Phase.FINAL), count("raytec", 10)]
    assert notices(events, NoticeCode.LEFT_OUT) == [("lap", "needle")]
    assert notices(events, NoticeCode.NOT_COUNTED_YET) == [("lap", "needle")]
    record = build_record(KIT, events)
    assert record.open_questions == 0
    (sentence,) = [n.sentence for n in record.notices if n.code is NoticeCode.LEFT_OUT]
    assert sentence == "Not counted in the closing count of line 6: laps and needles."
    assert [p.counted for p in record.phases][1:] == [("raytec",), ("raytec",)]


def test_a_phase_of_one_group_leaves_out_only_of_that_group() -> None:
    events = [*OPENED, phase(Phase.CLOSING, group="sponges"), count("raytec", 10)]
    assert notices(events, NoticeCode.NOT_COUNTED_YET) == [("lap",)]
    events += [phase(Phase.CLOSING, group="sharps"), count("needle", 7)]
    going_on = build_record(KIT, events).phases[-1]
    assert going_on.groups == (Group.SPONGES, Group.SHARPS)
    assert going_on.left_out == ("lap",)
    events += [phase(Phase.CLOSING, group="sponges"), count("lap", 5)]
    first, second = build_record(KIT, events).phases[1:]
    assert (first.left_out, second.groups, second.left_out) == (
        ("lap",),
        (Group.SPONGES,),
        ("raytec",),
    )


def test_the_initial_count_is_held_against_the_kit_as_its_list() -> None:
    events = [INITIAL, count("raytec", 10), CLOSING]
    assert notices(events, NoticeCode.LEFT_OUT)[0] == ("lap",)  # the kit expects five
    assert notices([INITIAL, count("needle", 1), CLOSING], NoticeCode.LEFT_OUT) == []


def test_a_group_out_of_order_is_a_notice() -> None:
    late = [INITIAL, count("needle", 7), count("raytec", 10), count("kelly", 6)]
    assert notices(late, NoticeCode.GROUP_ORDER) == [("raytec",)]
    assert build_record(KIT, late).open_questions == 0
    assert notices(OPENED, NoticeCode.GROUP_ORDER) == []


def test_places_out_of_order_are_a_notice() -> None:
    usual = [count("lap", 1, place=place) for place in ("field", "mayo_stand", "back_table")]
    assert notices([*OPENED, CLOSING, *usual], NoticeCode.PLACE_ORDER) == []
    events = [*OPENED, CLOSING, *reversed(usual)]
    assert len(notices(events, NoticeCode.PLACE_ORDER)) == 2


def test_a_count_that_someone_asks_for_is_held_against_what_is_expected() -> None:
    asked = phase(Phase.REQUESTED)
    events = [*OPENED, addition("needle", 2), asked, count("needle", 9)]
    record = build_record(KIT, events)
    assert record.open_questions == 0 and record.phases[-1].phase is Phase.REQUESTED
    assert notices(events, NoticeCode.NOT_COUNTED_YET) == []  # nobody asked for the others
    short = build_record(KIT, [*events[:-1], count("needle", 8)])
    assert codes(short.lines[-1]) == [Q.NOT_EXPECTED]


def test_a_relief_asks_for_everything_again_and_for_every_label() -> None:
    lidocaine = Medication(id="lidocaine", label="Lidocaine", spoken=("lidocaine",))
    kit = KIT.model_copy(update={"medications": (lidocaine,)})
    said = MedicationDetail(name="lidocaine", container="cup", volume_ml=Decimal(30))
    receipt = event(EventKind.RECEIPT, item="lidocaine", medication=said)
    events = [*OPENED, receipt, phase(Phase.RELIEF), count("raytec", 10)]
    record = build_record(kit, events)
    relief = record.lines[6]
    assert Q.VERIFICATION_DUE in codes(relief)
    (notice,) = [n for n in record.notices if n.code is NoticeCode.RELIEF]
    assert notice.line == 7
    assert notice.sentence.endswith("every label is read again: lidocaine (cup).")
    assert notices(events, NoticeCode.NOT_COUNTED_YET) == [("lap", "needle", "kelly")]
    asked = build_record(KIT, [*events, verdict()]).lines[-1]
    assert Q.VERDICT_CONFLICT in codes(asked)
    assert "laps, needles and kellys were not counted" in asked.questions[-1].sentence
    full = [*OPENED, phase(Phase.RELIEF), count("raytec", 10)]
    full += [count("lap", 5), count("needle", 7), count("kelly", 6), verdict()]
    record = build_record(KIT, full, accept_all(full))
    assert codes(record.lines[-1]) == []
    assert record.verdict is Verdict.CORRECT


def test_a_recount_is_asked_for_until_it_comes() -> None:
    recount = verdict(Verdict.RECOUNT, item="needle", group="sharps")
    events = [*OPENED, CLOSING, count("raytec", 10), count("lap", 5), count("needle", 7), recount]
    said = build_record(KIT, [*events, verdict(group="sharps")])
    assert codes(said.lines[-1]) == [Q.VERDICT_CONFLICT]
    assert "no count came after the recount of needles (line 10)" in (
        said.lines[-1].questions[0].sentence
    )
    again = build_record(KIT, [*events, count("needle", 7), verdict()])
    assert codes(again.lines[-1]) == []
    other = build_record(KIT, [*events, count("needle", 6)])
    assert set(codes(other.lines[-1])) == {Q.NOT_EXPECTED, Q.COUNT_DISAGREES}


def test_a_recount_begins_the_places_anew() -> None:
    places = [count("needle", 4, place="field"), count("needle", 3, place="mayo_stand")]
    events = [*OPENED, CLOSING, *places, verdict(Verdict.RECOUNT, item="needle", group="sharps")]
    record = build_record(KIT, [*events, count("needle", 7, place="field")])
    assert codes(record.lines[-1]) == []
    assert record.totals[2].heard_last == 7
