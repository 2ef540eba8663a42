"""What is on the field, what was drawn and what is left."""

from datetime import date
from decimal import Decimal

import pytest

from countersign.meaning.event import QuestionCode as Code
from countersign.medication import LabelState
from countersign.tally import Act
from countersign.tally.record import Decision

from .scenes import (
    account,
    asked,
    correction,
    decide,
    draw,
    expired,
    label,
    of,
    only,
    receipt,
    relief,
    strength,
)

LIDOCAINE = receipt("lidocaine", "1 %", 30, container="cup")
LIDOCAINE_LABEL = label("lidocaine", "1 %", 30, container="cup")
WITH_EPINEPHRINE = {"additive": "epinephrine", "additive_strength": "ratio 200000"}


def test_nothing_said_is_nothing_on_the_field() -> None:
    found = account([relief()])
    assert found.preparations == found.draws == found.totals == found.questions == ()


def test_received_drawn_and_left() -> None:
    found = account([LIDOCAINE, LIDOCAINE_LABEL, draw("lidocaine", 10), draw("lidocaine", 5)])
    cup, syringe = found.preparations
    assert (cup.container, cup.received_ml, cup.drawn_ml, cup.remaining_ml) == ("cup", 30, 15, 15)
    # 1 % is 10 mg/mL (USP General Notices, from memory).
    assert (of(cup.received), of(cup.drawn), of(cup.remaining)) == (
        (300_000, "ug"),
        (150_000, "ug"),
        (150_000, "ug"),
    )
    assert (syringe.container, syringe.drawn_up, syringe.received_ml) == ("syringe", True, 15)
    assert [of(each.running) for each in found.draws] == [(100_000, "ug"), (150_000, "ug")]
    (total,) = found.totals
    assert (of(total.drawn), of(total.remaining)) == ((150_000, "ug"), (150_000, "ug"))
    assert total.complete and not total.confirmed


def test_an_additive_is_added_up_on_its_own() -> None:
    found = account(
        [
            receipt("lidocaine", "1 %", 20, **WITH_EPINEPHRINE),
            receipt("bupivacaine", "0.5 %", 10, **WITH_EPINEPHRINE),
            draw("lidocaine", 10),
            draw("bupivacaine", 10),
        ]
    )
    # 1:200,000 is 5 micrograms/mL (USP ratio strength): 10 mL hold 50, 20 mL hold 100 micrograms.
    epinephrine = next(each for each in found.totals if each.name == "epinephrine")
    assert epinephrine.as_additive
    assert (of(epinephrine.received), of(epinephrine.drawn)) == ((150, "ug"), (100, "ug"))
    assert [of(each.additive_running) for each in found.draws] == [(50, "ug"), (100, "ug")]


def test_diluted_on_receipt() -> None:
    found = only(
        account([receipt("lidocaine", "2 %", 10, diluent="sodium_chloride", diluent_ml=30)])
    )
    # C1 V1 = C2 V2: 10 mL of 2 % made up to 40 mL are 0.5 %; still 200 mg.
    assert (found.strength, found.received_ml) == (strength("0.5 %"), 40)
    assert of(found.received) == (200_000, "ug")


def test_a_powder_in_its_diluent() -> None:
    found = account(
        [
            receipt("cefazolin", "1 g", None, diluent="sodium_chloride", diluent_ml=500),
            draw("cefazolin", 50, "1 g"),
        ]
    )
    basin = found.preparations[0]
    assert (basin.strength, basin.received_ml) == (strength("2 mg/mL"), 500)
    assert of(found.draws[0].dose) == (100_000, "ug")
    assert (3, Code.STRENGTH_DIFFERS) not in asked(found)


def test_a_powder_without_a_volume_is_still_an_amount() -> None:
    found = account([receipt("cefazolin", "1 g")])
    assert of(only(found).received) == of(only(found).remaining) == (Decimal(1), "g")
    assert of(found.totals[0].received) == (1_000_000, "ug")


def test_a_solution_known_by_its_name_has_volumes_only() -> None:
    found = account([receipt("sodium_chloride", "0.9 %", 1000), draw("sodium_chloride", 60)])
    assert found.preparations[0].remaining_ml == 940
    assert found.preparations[0].received is None
    assert found.totals == ()


def test_units_of_activity() -> None:
    found = account([receipt("heparin", "1000 [U]/mL", 10), draw("heparin", 2.5)])
    assert of(found.totals[0].remaining) == (7500, "[U]")


def test_what_is_not_known_is_not_made_up() -> None:
    found = account([receipt("lidocaine", None, 30), receipt("lidocaine", "1 %", None)])
    assert [each.received for each in found.preparations] == [None, None]
    assert found.totals == ()
    found = account([LIDOCAINE, draw("lidocaine", None)])
    assert found.preparations[0].remaining_ml is None
    assert not found.totals[0].complete


def test_struck_and_set_aside_lines_have_no_effect() -> None:
    struck = account([LIDOCAINE, draw("lidocaine", 10), correction()])
    assert struck.preparations[0].drawn_ml == 0 and struck.draws == ()
    aside = account(
        [LIDOCAINE, draw("lidocaine", 10)], [decide(2, Act.SET_ASIDE, reason="heard twice")]
    )
    assert aside == account([LIDOCAINE])


def test_a_corrected_volume_keeps_the_rest_of_what_was_said() -> None:
    found = account([LIDOCAINE, correction(quantity=Decimal(20), unit="mL")])
    assert (only(found).received_ml, only(found).strength) == (20, strength("1 %"))
    assert only(found).lines == (2,)


def test_an_amended_volume_replaces_what_was_heard() -> None:
    found = account([LIDOCAINE], [decide(1, Act.AMEND, quantity=Decimal(20))])
    assert (only(found).received_ml, only(found).confirmed) == (20, True)


def test_both_sides_of_a_total() -> None:
    events = [LIDOCAINE, draw("lidocaine", 10), draw("lidocaine", 5)]
    nobody = account(events).totals[0]
    assert nobody.confirmed_received is nobody.confirmed_drawn is None
    some = account(events, [decide(1), decide(2)]).totals[0]
    assert of(some.drawn) == (150_000, "ug")
    assert of(some.confirmed_drawn) == (100_000, "ug")
    assert not some.confirmed
    everything = account(events, [decide(1), decide(2), decide(3)])
    assert everything.totals[0].confirmed
    assert all(each.confirmed for each in everything.preparations + everything.draws)


def test_expiry_lot_and_who() -> None:
    # date(2028, 2, 29): the last day of a February in a leap year, as `calendar` has it.
    found = only(
        account(
            [
                receipt(
                    "lidocaine",
                    "1 %",
                    30,
                    expiry=date(2028, 2, 29),
                    lot="A12",
                    received_by="scrub",
                    received_from="circulator",
                    read_back=True,
                )
            ]
        )
    )
    assert (found.expiry, found.lots, found.expired) == (date(2028, 2, 29), ("A12",), False)
    assert (found.received_by, found.received_from, found.read_back) == (
        "scrub",
        "circulator",
        True,
    )


# What a label must say


def test_a_complete_label() -> None:
    found = only(account([LIDOCAINE, LIDOCAINE_LABEL]))
    assert (found.label, found.missing) == (LabelState.COMPLETE, ())
    assert only(account([LIDOCAINE])).label is LabelState.NONE


@pytest.mark.parametrize(
    ("received", "said", "missing"),
    [
        # The Joint Commission NPSG.03.04.01 (from memory): name, strength, amount, diluent and
        # volume, expiry time when under 24 hours.
        (LIDOCAINE, label("lidocaine", None, None, container="cup"), ("strength", "amount")),
        (
            receipt("lidocaine", "1 %", 30, **WITH_EPINEPHRINE),
            label("lidocaine", "1 %", 30),
            ("additive", "strength of the additive"),
        ),
        (
            receipt("lidocaine", "2 %", 10, diluent="sodium_chloride", diluent_ml=10),
            label("lidocaine", "1 %", 20),
            ("diluent", "volume of the diluent"),
        ),
        (
            receipt("cefazolin", "1 g", 10),
            label("cefazolin", "1 g"),
            ("diluent", "volume of the diluent"),
        ),
        (
            receipt("thrombin", "1000 [U]/mL", 5),
            label("thrombin", "1000 [U]/mL", 5),
            ("time of expiry",),
        ),
        (receipt("sodium_chloride", None, 500), label("sodium_chloride", None, 500), ()),
    ],
)
def test_what_a_label_lacks(received: object, said: object, missing: tuple[str, ...]) -> None:
    found = account([received, said])  # type: ignore[list-item]
    assert only(found).missing == missing
    assert ((2, Code.LABEL_INCOMPLETE) in asked(found)) is bool(missing)
    assert only(found).label is (LabelState.INCOMPLETE if missing else LabelState.COMPLETE)


def test_a_label_may_give_the_strength_before_dilution_beside_its_diluent() -> None:
    mixed = {"diluent": "sodium_chloride", "diluent_ml": 10}
    found = account(
        [receipt("lidocaine", "2 %", 10, **mixed), label("lidocaine", "2 %", 10, **mixed)]
    )
    assert asked(found) == []
    plain = account([receipt("lidocaine", "2 %", 10, **mixed), label("lidocaine", "2 %", 20)])
    assert (2, Code.STRENGTH_DIFFERS) in asked(plain)


# Questions


@pytest.mark.parametrize(
    ("events", "expected"),
    [
        ([LIDOCAINE, LIDOCAINE_LABEL], []),
        (
            [LIDOCAINE, LIDOCAINE_LABEL, draw("lidocaine", 31, read_back=True)],
            [(3, Code.MORE_DRAWN)],
        ),
        (
            [
                LIDOCAINE,
                LIDOCAINE_LABEL,
                draw("lidocaine", 20, read_back=True),
                draw("lidocaine", 11, read_back=True),
            ],
            [(4, Code.MORE_DRAWN)],
        ),
        ([LIDOCAINE, draw("lidocaine", 5, read_back=True)], [(2, Code.CONTAINER_UNLABELLED)]),
        ([draw("lidocaine", 5)], [(1, Code.CONTAINER_UNKNOWN)]),
        (
            [LIDOCAINE, LIDOCAINE_LABEL, draw("bupivacaine", 5)],
            [(3, Code.CONTAINER_UNKNOWN)],
        ),
        (
            [LIDOCAINE, LIDOCAINE_LABEL, draw("lidocaine", 5, container="basin", read_back=True)],
            [(3, Code.CONTAINER_UNKNOWN)],
        ),
        (
            [LIDOCAINE, label("lidocaine", "2 %", 30, container="cup")],
            [(2, Code.STRENGTH_DIFFERS)],
        ),
        ([LIDOCAINE, label("lidocaine", "10 mg/mL", 30, container="cup")], []),
        (
            [LIDOCAINE, LIDOCAINE_LABEL, draw("lidocaine", 5, "2 %", read_back=True)],
            [(3, Code.STRENGTH_DIFFERS)],
        ),
        (
            [
                receipt("lidocaine", "1 %", 30, **WITH_EPINEPHRINE),
                label(
                    "lidocaine",
                    "1 %",
                    30,
                    additive="epinephrine",
                    additive_strength="ratio 100000",
                ),
            ],
            [(2, Code.STRENGTH_DIFFERS)],
        ),
        (
            [LIDOCAINE, label("lidocaine", "1 %", 30, container="cup", **WITH_EPINEPHRINE)],
            [(2, Code.MEDICATION_DIFFERS)],
        ),
        (
            [LIDOCAINE, label("lidocaine", "1 %", 13, container="cup")],
            [(2, Code.MEDICATION_DIFFERS)],
        ),
        (
            [
                receipt("lidocaine", "1 %", 30, expiry=date(2027, 6, 30)),
                label("lidocaine", "1 %", 30, expiry=date(2027, 7, 31)),
            ],
            [(2, Code.MEDICATION_DIFFERS)],
        ),
        ([label("lidocaine", "1 %", 30)], [(1, Code.CONTAINER_UNKNOWN)]),
        (
            [LIDOCAINE, label("lidocaine", "1 %", 30, container="basin")],
            [(2, Code.CONTAINER_UNKNOWN)],
        ),
        (
            [
                receipt("lidocaine", "1 %", 30, questions=expired()),
                LIDOCAINE_LABEL,
                draw("lidocaine", 5, read_back=True),
            ],
            [(3, Code.EXPIRY_PAST)],
        ),
        (
            [LIDOCAINE, receipt("bupivacaine", "0.25 %", 30, container="basin")],
            [],
        ),
        (
            [LIDOCAINE, receipt("bupivacaine", "0.25 %", 30, container="cup")],
            [(2, Code.LIKE_CONTAINERS)],
        ),
        (
            [
                LIDOCAINE,
                LIDOCAINE_LABEL,
                receipt("bupivacaine", "0.25 %", 30, container="cup"),
                label("bupivacaine", "0.25 %", 30, container="cup"),
            ],
            [],
        ),
        (
            [LIDOCAINE, receipt("lidocaine", "2 %", 30, container="basin"), draw("lidocaine", 5)],
            [(3, Code.CONTAINER_UNKNOWN)],
        ),
        ([LIDOCAINE, LIDOCAINE], [(2, Code.OTHER_READING)]),
        (
            [receipt("lidocaine", "2 %", None, diluent="sodium_chloride", diluent_ml=10)],
            [(1, Code.NO_QUANTITY)],
        ),
    ],
)
def test_questions(events: list, expected: list[tuple[int, Code]]) -> None:
    found = account(events)
    assert asked(found) == expected
    for question in found.questions:
        assert question.sentence.endswith((".", "?")) and not question.sentence[0].islower()
        assert question.sentence.count(". ") == 0


def test_a_volume_that_could_come_from_either_is_taken_from_neither() -> None:
    found = account(
        [LIDOCAINE, receipt("lidocaine", "2 %", 30, container="basin"), draw("lidocaine", 5)]
    )
    assert [each.remaining_ml for each in found.preparations] == [None, None]
    assert not found.totals[0].complete
    by_strength = account(
        [
            LIDOCAINE,
            receipt("lidocaine", "2 %", 30, container="basin"),
            draw("lidocaine", 5, "20 mg/mL"),
        ]
    )
    assert [each.remaining_ml for each in by_strength.preparations[:2]] == [30, 25]


def test_the_second_voice_adds_nothing() -> None:
    again = receipt("lidocaine", "1 %", 30, read_back=True)
    found = account([LIDOCAINE, again])
    assert (only(found).received_ml, only(found).read_back) == (30, True)
    assert asked(found) == []


# Changing hands


def test_a_draw_changes_hands_until_its_label_is_heard() -> None:
    drawn = [LIDOCAINE, LIDOCAINE_LABEL, draw("lidocaine", 10)]
    assert asked(account(drawn)) == [(3, Code.VERIFICATION_DUE)]
    assert account(drawn).preparations[1].verification_due
    labelled = [*drawn, label("lidocaine", "1 %", 10, container="syringe")]
    assert asked(account(labelled)) == []


@pytest.mark.parametrize("answered", ["nothing", "label", "decision", "undone"])
def test_a_relief_asks_for_every_label_again(answered: str) -> None:
    # The Joint Commission NPSG.03.04.01 (from memory): labels are reviewed by entering and leaving
    # staff.
    events = [LIDOCAINE, LIDOCAINE_LABEL, relief()]
    decisions: list[Decision] = []
    if answered == "label":
        events.append(LIDOCAINE_LABEL)
    if answered in ("decision", "undone"):
        decisions.append(decide(3))
    if answered == "undone":
        decisions.append(decide(3, Act.UNDO, 1))
    found = account(events, decisions)
    waiting = [q for q in found.questions if q.code is Code.VERIFICATION_DUE and q.open]
    assert bool(waiting) is (answered in ("nothing", "undone"))
    assert only(found).verification_due is bool(waiting)


def test_more_in_a_labelled_cup_asks_for_its_label_again() -> None:
    found = account([LIDOCAINE, LIDOCAINE_LABEL, receipt("lidocaine", "1 %", 20, container="cup")])
    assert asked(found) == [(3, Code.VERIFICATION_DUE)]
    assert only(found).received_ml == 50


def test_what_is_used_up_is_not_asked_about_at_relief() -> None:
    events = [
        LIDOCAINE,
        LIDOCAINE_LABEL,
        draw("lidocaine", 30, read_back=True),
        relief(),
        label("lidocaine", "1 %", 30, container="syringe"),
    ]
    assert asked(account(events)) == []
