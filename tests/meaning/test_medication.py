"""Medications and solutions: strength, additive, volume, expiry, lot, labels."""

from datetime import date
from decimal import Decimal

import pytest

from countersign.meaning import MedicationDetail, Strength

LIDOCAINE = (
    "lidocaine one percent with epinephrine one to two hundred thousand thirty milliliters "
    "expires march twenty twenty eight lot four five a b"
)


def codes(event) -> list[str]:
    return [str(question.code) for question in event.questions]


def test_a_full_receipt(say) -> None:
    (event,) = say(LIDOCAINE)
    assert event.kind == "receipt"
    assert (event.item, event.quantity, event.unit) == ("lidocaine", Decimal(30), "mL")
    assert event.medication == MedicationDetail(
        name="lidocaine",
        strength=Strength(value=Decimal(1), unit="%"),
        additive="epinephrine",
        additive_strength=Strength(value=Decimal(200_000), unit="ratio"),
        volume_ml=Decimal(30),
        expiry=date(2028, 3, 31),
        lot="45AB",
    )
    assert event.questions == ()


@pytest.mark.parametrize(
    ("said", "value", "unit"),
    [
        ("lidocaine one percent", "1", "%"),
        ("lidocaine 1%", "1", "%"),
        ("lidocaine 1 %", "1", "%"),
        ("one percent lidocaine", "1", "%"),
        ("bupivacaine point two five percent", "0.25", "%"),
        ("bupivacaine zero point two five percent", "0.25", "%"),
        ("bupivacaine 0.25%", "0.25", "%"),
        ("bupivacaine half percent", "0.5", "%"),
        ("bupivacaine half a percent", "0.5", "%"),
        ("bupivacaine point five percent", "0.5", "%"),
        ("half percent bupivacaine", "0.5", "%"),
        ("lidocaine one and a half percent", "1.5", "%"),
        ("lidocaine ten milligrams per milliliter", "10", "mg/mL"),
        ("lidocaine ten milligrams per m l", "10", "mg/mL"),
        ("lidocaine ten milligrams per cc", "10", "mg/mL"),
        ("lidocaine 10 mg/mL", "10", "mg/mL"),
        ("epinephrine ten micrograms per milliliter", "10", "ug/mL"),
        ("epinephrine one to two hundred thousand", "200000", "ratio"),
        ("epinephrine one in one hundred thousand", "100000", "ratio"),
        ("epinephrine one to one thousand", "1000", "ratio"),
        ("epinephrine 1:200,000", "200000", "ratio"),
        ("heparin one thousand units per milliliter", "1000", "[U]/mL"),
        ("heparin five thousand units", "5000", "[U]"),
        ("cefazolin one gram", "1", "g"),
        ("cefazolin five hundred milligrams", "500", "mg"),
    ],
)
def test_strengths(say, said: str, value: str, unit: str) -> None:
    # units are UCUM codes; "ratio" is the second number of 1:n as in USP ratio strength
    (event,) = say(said)
    assert event.kind == "receipt"
    assert event.medication.strength == Strength(value=Decimal(value), unit=unit)
    assert event.questions == ()


@pytest.mark.parametrize(
    ("said", "volume"),
    [
        ("thirty milliliters", 30),
        ("thirty m l", 30),
        ("thirty c c", 30),
        ("thirty ccs", 30),
        ("30 mL", 30),
        ("30mL", 30),
        ("one liter", 1000),
        ("two point five milliliters", Decimal("2.5")),
    ],
)
def test_volumes(say, said: str, volume: Decimal) -> None:
    (event,) = say(f"lidocaine one percent {said}")
    assert event.quantity == volume
    assert event.medication.volume_ml == volume


@pytest.mark.parametrize(
    ("said", "day"),
    [
        ("expires march twenty twenty eight", date(2028, 3, 31)),
        ("expires february twenty twenty eight", date(2028, 2, 29)),
        ("expiration february two thousand twenty seven", date(2027, 2, 28)),
        ("expires march fifth twenty twenty eight", date(2028, 3, 5)),
        ("expires march twenty first twenty twenty eight", date(2028, 3, 21)),
        ("expires december 2027", date(2027, 12, 31)),
        ("exp 03/2028", date(2028, 3, 31)),
        ("expires 2028-03-05", date(2028, 3, 5)),
        ("expiration date is june twenty thirty", date(2030, 6, 30)),
    ],
)
def test_expiries(say, said: str, day: date) -> None:
    (event,) = say(f"lidocaine one percent {said}")
    assert event.medication.expiry == day
    assert event.questions == ()


def test_an_expiry_in_the_past_is_asked_about(say) -> None:
    (event,) = say("lidocaine one percent expires october twenty twenty six")
    assert codes(event) == ["expiry_past"]
    (event,) = say("lidocaine one percent expires november twenty twenty six")
    assert codes(event) == []  # good to the last day of the month


@pytest.mark.parametrize("said", ["expires someday", "expires two thousand", "expires march"])
def test_an_expiry_that_is_not_understood_is_asked_about(say, said: str) -> None:
    (event,) = say(f"lidocaine one percent {said}")
    assert codes(event) == ["expiry_unreadable"]


def test_a_receipt_without_strength_is_asked_about(say) -> None:
    (event,) = say("lidocaine thirty milliliters")
    assert codes(event) == ["strength_missing"]
    (event,) = say("receiving lidocaine")
    assert codes(event) == ["strength_missing"]
    (event,) = say("lidocaine one percent with epinephrine")
    assert codes(event) == ["strength_missing"]


@pytest.mark.parametrize("said", ["normal saline one liter", "sterile water one liter"])
def test_a_diluent_needs_no_strength(say, said: str) -> None:
    (event,) = say(said)
    assert event.quantity == 1000
    assert event.questions == ()


def test_a_receipt_over_several_utterances(say) -> None:
    (event,) = say(
        "lidocaine one percent | with epinephrine one to two hundred thousand | thirty milliliters "
        "| expires march twenty twenty eight"
    )
    assert event.medication.additive == "epinephrine"
    assert event.medication.volume_ml == 30
    assert event.medication.expiry == date(2028, 3, 31)


def test_two_medications_are_two_receipts(say) -> None:
    first, second = say("lidocaine one percent | bupivacaine half percent")
    assert (first.item, second.item) == ("lidocaine", "bupivacaine")
    assert first.medication.additive is None


def test_a_receipt_between_counts(say) -> None:
    events = say("laps five | lidocaine one percent thirty milliliters | raytecs ten")
    assert [(e.kind, e.item, e.quantity) for e in events] == [
        ("count", "lap", 5),
        ("receipt", "lidocaine", 30),
        ("count", "raytec", 10),
    ]


@pytest.mark.parametrize(
    ("said", "missing"),
    [
        ("label cup lidocaine one percent thirty milliliters", None),
        ("label syringe two percent lidocaine ten milliliters", None),
        ("label basin normal saline five hundred milliliters", None),
        ("label cup lidocaine one percent", "amount"),
        ("label cup lidocaine thirty milliliters", "strength"),
        ("label cup lidocaine", "strength and amount"),
        ("label cup one percent thirty milliliters", "name"),
        (
            "label cup lidocaine one percent with epinephrine thirty milliliters",
            "strength of the additive",
        ),
    ],
)
def test_labels(say, said: str, missing: str | None) -> None:
    # The Joint Commission NPSG.03.04.01, from memory: name, strength, amount on every label
    (event,) = say(said)
    assert event.kind == "label"
    assert event.medication.container == said.split()[1]
    sentences = [q.sentence for q in event.questions if q.code == "label_incomplete"]
    assert sentences == ([] if missing is None else [f"The label lacks the {missing}."])


def test_draws(say) -> None:
    (event,) = say("drawing up ten milliliters of lidocaine")
    assert (event.kind, event.item, event.quantity, event.unit) == (
        "draw",
        "lidocaine",
        Decimal(10),
        "mL",
    )
    assert isinstance(event.quantity, Decimal)
    assert event.questions == ()
    (event,) = say("drawing up two point five milliliters of half percent bupivacaine")
    assert event.quantity == Decimal("2.5")
    assert event.medication.strength == Strength(value=Decimal("0.5"), unit="%")
    (event,) = say("drawing up lidocaine")
    assert codes(event) == ["no_quantity"]
    (event,) = say("drawing up ten milliliters")
    assert codes(event) == ["no_item"]


def test_the_same_thing_said_two_ways_is_asked_about(say) -> None:
    (event,) = say("lidocaine one percent two percent")
    assert "other_reading" in codes(event)


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("point two five percent bupivacaine", "0.25"),
        ("zero point two five percent bupivacaine", "0.25"),
        ("one and a half percent lidocaine", "1.5"),
    ],
)
def test_a_strength_of_several_words_before_the_name(say, said: str, value: str) -> None:
    (event,) = say(f"{said} with epinephrine one to two hundred thousand thirty milliliters")
    assert event.medication.strength == Strength(value=Decimal(value), unit="%")
    assert (event.medication.additive, event.quantity) == ("epinephrine", Decimal(30))
    assert event.questions == ()


@pytest.mark.parametrize("said", ["two five percent lidocaine", "lidocaine two five percent"])
def test_a_number_that_does_not_fit_the_strength_is_asked_about(say, said: str) -> None:
    (event,) = say(said)
    assert codes(event)[0] == "other_reading"
    assert set(codes(event)) <= {"other_reading", "no_quantity"}


@pytest.mark.parametrize("unit", ["mils", "mil", "ml", "cc", "milliliters"])
@pytest.mark.parametrize("verb", ["draw", "draw up", "drawing", "drawing up", "drew up"])
def test_ways_to_say_a_draw(say, verb: str, unit: str) -> None:
    (event,) = say(f"{verb} twenty five {unit} of bupivacaine")
    assert (event.kind, event.item, event.quantity) == ("draw", "bupivacaine", Decimal(25))
    (event,) = say(f"{verb} ten {unit}")
    assert (event.kind, event.quantity, codes(event)) == ("draw", Decimal(10), ["no_item"])


@pytest.mark.parametrize("before", ["", "surgeon wants ", "<talk> "])
@pytest.mark.parametrize("context", ["", "laps five | "])
def test_an_amount_of_a_medication_never_vanishes(say, context: str, before: str) -> None:
    event = say(f"{context}{before}twenty five mils of lidocaine")[-1]
    assert (event.kind, event.item, event.quantity) == ("receipt", "lidocaine", Decimal(25))
    assert event.questions


@pytest.mark.parametrize(
    ("said", "kind", "item"),
    [
        ("draw ten", "draw", None),
        ("drawing up ten of lidocaine", "draw", "lidocaine"),
        ("lidocaine ten", "receipt", "lidocaine"),
        ("receiving lidocaine ten", "receipt", "lidocaine"),
    ],
)
def test_a_number_without_a_unit_is_asked_about(say, said: str, kind: str, item: str) -> None:
    (event,) = say(said)
    assert (event.kind, event.item, event.quantity) == (kind, item, None)
    assert "The number 10 was heard, but not its unit." in [q.sentence for q in event.questions]


def test_a_number_before_a_strength_stays_with_its_item(say) -> None:
    laps, lidocaine = say("laps five two percent lidocaine")
    assert (laps.kind, laps.item, laps.quantity) == ("count", "lap", 5)
    assert lidocaine.medication.strength == Strength(value=Decimal(2), unit="%")
    assert codes(lidocaine) == ["other_reading"]


@pytest.mark.parametrize("before", ["surgeon wants", "he used", "can i get"])
def test_a_strength_in_talk_is_no_receipt_without_a_question(say, before: str) -> None:
    events = say(f"{before} one percent lidocaine")
    assert all(event.questions for event in events)
