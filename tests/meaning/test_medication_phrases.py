"""Dilution, expiry, people, read-backs, containers and corrections of medications."""

import calendar
import random
from datetime import date, time
from decimal import Decimal

import pytest

from countersign.hearing.utterance import written
from countersign.meaning import Event, EventKind, MedicationDetail, Strength, understand
from countersign.tally import build_record

from .conftest import KIT, TODAY
from .medication_lines import line, restarted, utterances
from .test_talk import TALK


def codes(event: Event) -> list[str]:
    return [question.code.value for question in event.questions]


def shown(event: Event) -> dict[str, object]:
    """The fields that were said, strengths as text."""
    assert event.medication is not None
    found: dict[str, object] = {}
    for name in MedicationDetail.model_fields:
        value = getattr(event.medication, name)
        if isinstance(value, Strength):
            value = f"{value.value} {value.unit}"
        if value not in (None, False):
            found[name] = value
    return found


LIDOCAINE = {"name": "lidocaine", "strength": "1 %", "volume_ml": Decimal(30)}


@pytest.mark.parametrize(
    ("said", "strength", "volume", "diluent"),
    [
        ("lidocaine two percent ten mL diluted with thirty mL saline", "2 %", 10, 30),
        ("lidocaine two percent ten mL diluted in thirty mL of saline", "2 %", 10, 30),
        ("lidocaine two percent ten mL with thirty mL saline", "2 %", 10, 30),
        ("lidocaine two percent ten mL in saline thirty mL", "2 %", 10, 30),
        # C1 V1 = C2 V2: forty in all are ten and thirty
        ("lidocaine two percent ten mL diluted to forty mL with saline", "2 %", 10, 30),
        ("cefazolin one gram in five hundred mL saline", "1 g", None, 500),
        ("saline five hundred mL with one gram cefazolin", "1 g", None, 500),
        ("one gram cefazolin in one liter of normal saline", "1 g", None, 1000),
        ("cefazolin one gram in five hundred mL of 0.9 % saline", "1 g", None, 500),
    ],
)
def test_dilutions(say, said: str, strength: str, volume: int | None, diluent: int) -> None:
    (event,) = say(said)
    assert event.medication.strength is not None
    assert shown(event)["strength"] == strength
    assert (event.medication.volume_ml, event.medication.diluent_volume_ml) == (volume, diluent)
    assert event.medication.diluent == "sodium_chloride"
    assert event.questions == ()


@pytest.mark.parametrize(
    "said",
    [
        "lidocaine two percent ten mL diluted with thirty mL",
        "lidocaine two percent ten mL diluted to five mL with saline",
        "lidocaine one percent twenty mL with bupivacaine half percent twenty mL",
        "lidocaine one percent with <talk> thirty milliliters",
        "lidocaine two percent ten mL in <talk> twenty mL saline",
        "cefazolin one gram in three percent saline",
    ],
)
def test_a_mixture_that_is_not_clear_is_asked_about(say, said: str) -> None:
    assert codes(say(said)[0])


def test_without_an_additive(say) -> None:
    (event,) = say("lidocaine one percent without epinephrine thirty mL")
    assert (shown(event), event.questions) == (LIDOCAINE, ())


@pytest.mark.parametrize("month", range(1, 13))
@pytest.mark.parametrize("year", [2027, 2028])
def test_a_month_and_year_mean_the_last_day(say, month: int, year: int) -> None:
    # outside reference: the calendar of the Python standard library
    last = date(year, month, calendar.monthrange(year, month)[1])
    tail = {2027: "twenty seven", 2028: "twenty eight"}[year]
    (event,) = say(f"lidocaine one percent expires {calendar.month_name[month]} twenty {tail}")
    assert (event.medication.expiry, event.questions) == (last, ())


@pytest.mark.parametrize(
    ("said", "day"),
    [
        ("oh three twenty seven", date(2027, 3, 31)),
        ("oh three fifteen twenty twenty seven", date(2027, 3, 15)),
        ("oh three fifteen twenty seven", date(2027, 3, 15)),
        ("oh three twenty twenty seven", date(2027, 3, 31)),
        ("march twenty one twenty twenty eight", date(2028, 3, 21)),
        ("march twenty twenty twenty eight", date(2028, 3, 20)),
        ("march fifteenth twenty seven", date(2027, 3, 15)),
        ("ten twenty twenty eight", date(2028, 10, 31)),
    ],
)
def test_dates_in_figures(say, said: str, day: date) -> None:
    (event,) = say(f"lidocaine one percent thirty mL expires {said}")
    assert (event.medication.expiry, event.questions) == (day, ())
    assert event.medication.volume_ml == 30


@pytest.mark.parametrize(
    ("said", "clock"),
    [
        # twelve-hour clock: twelve p m is noon, twelve a m midnight (common practice, no source)
        ("at fourteen hundred", time(14)),
        ("at oh eight hundred", time(8)),
        ("at oh eight thirty", time(8, 30)),
        ("at twenty three fifty nine", time(23, 59)),
        ("at two p m", time(14)),
        ("at two thirty pm", time(14, 30)),
        ("at twelve p m", time(12)),
        ("at twelve a m", time(0)),
        ("fourteen hundred hours", time(14)),
        ("at 14:00", time(14)),
    ],
)
def test_times_of_expiry(say, said: str, clock: time) -> None:
    (event,) = say(f"lidocaine one percent thirty mL expires {said}")
    assert (event.medication.expiry_time, event.questions) == (clock, ())


@pytest.mark.parametrize(
    "said",
    [
        "two thirty",
        "at two",
        "at twenty four hundred",
        "at fourteen ninety",
        "twenty twenty seven",
        "march twenty seven",
        "three twenty seven",
        "in four hours",
        "march twenty thirty five mL",
        "february thirtieth twenty twenty eight",
    ],
)
def test_an_expiry_that_could_be_two_things_is_asked_about(say, said: str) -> None:
    (event,) = say(f"lidocaine one percent thirty mL expires {said}")
    assert "expiry_unreadable" in codes(event)
    assert (event.medication.expiry, event.medication.expiry_time) == (None, None)


@pytest.mark.parametrize(
    ("said", "taken", "given"),
    [
        (
            "lidocaine one percent thirty mL received by the scrub from the circulator",
            "scrub",
            "circulator",
        ),
        (
            "lidocaine one percent thirty mL | received by the scrub from the circulator",
            "scrub",
            "circulator",
        ),
        ("receiving lidocaine one percent thirty mL from anesthesia", None, "anesthesia"),
        ("from pharmacy lidocaine one percent thirty mL", None, "pharmacy"),
        ("lidocaine one percent thirty mL handed to the scrub tech", "scrub", None),
    ],
)
def test_who_gave_and_who_took(say, said: str, taken: str | None, given: str | None) -> None:
    (event,) = say(said)
    assert (event.medication.received_by, event.medication.received_from) == (taken, given)
    assert event.questions == ()


def test_a_lot(say) -> None:
    (event,) = say("lidocaine one percent thirty mL lot A B four two")
    assert (event.medication.lot, event.questions) == ("AB42", ())
    (event,) = say("lidocaine one percent lot four twenty five mL")
    assert codes(event) == ["other_reading"]


@pytest.mark.parametrize(
    "lead", ["read back", "reading back", "confirming", "verifying", "confirmed", "verified"]
)
def test_a_read_back_says_the_same(say, lead: str) -> None:
    first, second = say(f"lidocaine one percent thirty mL | {lead} lidocaine one percent thirty mL")
    assert (first.medication.read_back, second.medication.read_back) == (False, True)
    assert first.questions == second.questions == ()
    record = build_record(KIT, [first, second])
    (preparation,) = record.medications.preparations
    assert (preparation.received_ml, preparation.read_back) == (30, True)


@pytest.mark.parametrize(
    ("again", "code"),
    [
        ("lidocaine two percent thirty mL", "read_back_disagrees"),
        ("lidocaine one percent fifty mL", "read_back_disagrees"),
        ("lidocaine two percent ten mL", None),  # another preparation
        ("bupivacaine half percent thirty mL", None),
    ],
)
def test_the_same_with_one_thing_else_may_be_a_wrong_repeat(say, again: str, code) -> None:
    events = say(f"lidocaine one percent thirty mL | {again}")
    assert [codes(event) for event in events] == [[], [code] if code else []]


def test_read_back_at_the_end(say) -> None:
    (event,) = say("lidocaine one percent thirty mL from the circulator read back by the scrub")
    assert (event.medication.read_back, event.medication.received_by) == (True, None)
    assert event.questions == ()
    (event,) = say("lidocaine one percent thirty mL | read back and verified")
    assert event.medication.read_back


@pytest.mark.parametrize(
    "said",
    ["no expiration date", "no expiry", "expiration date is smudged", "can't read the expiration"],
)
def test_an_expiry_that_cannot_be_read_is_asked_about_at_once(say, said: str) -> None:
    (event,) = say(f"lidocaine one percent thirty mL {said}")
    assert "expiry_unreadable" in codes(event)


@pytest.mark.parametrize(
    ("said", "expiry"),
    [
        ("good until march twenty twenty eight", date(2028, 3, 31)),
        ("use by the end of march twenty twenty eight", date(2028, 3, 31)),
        ("expires tomorrow", date(2026, 11, 26)),
    ],
)
def test_an_expiry_in_other_words(say, said: str, expiry: date) -> None:
    (event,) = say(f"lidocaine one percent thirty mL {said}")
    assert (event.medication.expiry, event.questions) == (expiry, ())


def test_what_was_given_is_no_receipt_without_a_question(say) -> None:
    for said in ("ten mL of lidocaine one percent given", "lidocaine one percent ten mL wasted"):
        (event,) = say(said)
        assert "other_reading" in codes(event)
    (event,) = say("lidocaine one percent ten mL given to the scrub")
    assert codes(event) == []


def test_a_draw_that_does_not_say_of_what(say) -> None:
    *_, draw = say("lidocaine one percent thirty mL | drawing up ten mL")
    assert (draw.item, draw.medication.volume_ml, codes(draw)) == (
        "lidocaine",
        10,
        ["other_reading"],
    )
    two = "lidocaine one percent thirty mL | bupivacaine half percent ten mL | drawing up ten mL"
    *_, draw = say(two)
    assert (draw.item, codes(draw)) == (None, ["no_item"])


def test_a_container_that_is_said_to_hold_something_is_labelled(say) -> None:
    *_, label = say("lidocaine one percent thirty mL | this cup is lidocaine one percent thirty mL")
    assert (label.kind, label.medication.container, codes(label)) == ("label", "cup", [])
    assert say("the cup is full") == []


def test_a_strength_in_a_volume_is_of_a_medication_though_its_name_was_not_heard(say) -> None:
    (event,) = say("marcaine five milligrams per milliliter")
    assert codes(event) == ["no_item"]


def test_a_relief_right_after_a_medication_is_heard(say) -> None:
    events = say("lidocaine one percent thirty mL | i'm taking over for you")
    assert [event.kind for event in events] == ["receipt", "phase"]


def test_never_mind_after_a_medication(say) -> None:
    *_, correction = say("lidocaine one percent thirty mL | never mind")
    assert (correction.kind, codes(correction)) == ("correction", ["unclear_correction"])


def test_read_back_alone(say) -> None:
    (event,) = say("lidocaine one percent thirty mL | read back")
    assert event.medication.read_back
    (event,) = say("lidocaine one percent thirty mL | read back please")
    assert not event.medication.read_back
    assert say("can you read back the count") == []


@pytest.mark.parametrize(
    "again",
    [
        "lidocaine two percent thirty mL",
        "lidocaine one percent fifty mL",
        "bupivacaine one percent thirty mL",
        "lidocaine one percent thirty mL expires march twenty twenty nine",
        "lidocaine one percent",
    ],
)
def test_a_read_back_that_differs_is_asked_about(say, again: str) -> None:
    first, second = say(
        f"lidocaine one percent thirty mL expires march twenty twenty eight | read back {again}"
    )
    assert codes(first) == []
    assert "read_back_disagrees" in codes(second)
    same = [p for p in build_record(KIT, [first, second]).medications.preparations
            if p.name == "lidocaine"]  # fmt: skip
    assert [p.received_ml for p in same] == [30]


def test_a_second_voice_reads_back(hear, utter) -> None:
    said = "lidocaine one percent thirty milliliters"
    first, second = hear([utter(said, 0.0, speaker="a"), utter(said, 4.0, speaker="b")])
    assert (first.medication.read_back, second.medication.read_back) == (False, True)
    first, second = hear([utter(said, 0.0, speaker="a"), utter(said, 4.0, speaker="a")])
    assert not second.medication.read_back


@pytest.mark.parametrize(
    ("said", "container"),
    [
        ("drawing ten mL of lidocaine from the cup", "cup"),
        ("drawing up ten mL of lidocaine into a syringe", "syringe"),
        ("drawing up ten mL of lidocaine from the cup into a syringe", "cup"),
        ("drawing up ten mL of lidocaine into a syringe from the basin", "basin"),
        ("ten mL of lidocaine drawn up", None),
    ],
)
def test_where_a_draw_comes_from(say, said: str, container: str | None) -> None:
    (event,) = say(said)
    assert (event.kind, event.item, event.quantity) == ("draw", "lidocaine", 10)
    assert (event.medication.container, event.questions) == (container, ())


@pytest.mark.parametrize("lead", ["syringe label", "label on the syringe", "label syringe"])
def test_labels_name_their_container(say, lead: str) -> None:
    (event,) = say(f"{lead} lidocaine one percent ten mL")
    assert (event.kind, event.medication.container, event.questions) == ("label", "syringe", ())
    draw, label = say(f"drawing ten mL of lidocaine | {lead} lidocaine one percent ten mL")
    assert (draw.medication.container, label.medication.container) == (None, "syringe")


def test_a_label_of_a_powder_needs_no_amount(say) -> None:
    (event,) = say("label basin cefazolin one gram in five hundred mL saline")
    assert event.questions == ()


@pytest.mark.parametrize(
    ("said", "value"),
    [("quarter percent", "0.25"), ("a quarter percent", "0.25"), ("half percent", "0.5"),
     ("point five percent", "0.5"), ("three quarters percent", "0.75")],
)  # fmt: skip
def test_parts_of_a_percent(say, said: str, value: str) -> None:
    (event,) = say(f"bupivacaine {said} nine hundred ninety nine mL")
    assert shown(event)["strength"] == f"{value} %"
    assert (event.quantity, event.questions) == (999, ())


@pytest.mark.parametrize(
    "said",
    [
        "bupivacaine one half percent",
        "bupivacaine one quarter percent thirty mL",
        "bupivacaine point five thirty mL",
        "lidocaine one percent ten",
        "lidocaine one percent | ten",
        "lidocaine fifteen fifty mL one percent",
        "lidocaine ten micrograms per <talk> milliliter",
        "lidocaine ten milligrams per five mL",
        "label cup one and a doctor half percent lidocaine twenty mL",
        "fifteen hundred mL saline",
        "two fifty mL lidocaine one percent",
        "<talk> one percent lidocaine",
        "lidocaine one percent thirty mL is what he wants",
        "lidocaine one percent | the surgeon used ten mL",
        "he wants you to draw up ten mL lidocaine",
        "did you label the cup lidocaine one percent thirty mL",
        "lidocaine one percent or two percent",
        "receiving ten milligrams",
        "bupivacaine half percent ten mL lidocaine one percent",
    ],
)
def test_what_is_not_sure_is_asked_about(say, said: str) -> None:
    for event in say(said):
        assert event.questions, event


@pytest.mark.parametrize(
    ("correction", "strength", "volume"),
    [
        ("no two percent", "2 %", 30),
        ("make that half percent", "0.5 %", 30),
        ("I mean fifty mL", "1 %", 50),
        ("correction two percent fifty mL", "2 %", 50),
        ("strike that two percent", "2 %", 30),
    ],
)
def test_a_correction_of_a_strength_or_volume(
    say, correction: str, strength: str, volume: int
) -> None:
    events = say(f"lidocaine one percent thirty mL lot A four | {correction}")
    assert [event.kind.value for event in events] == ["receipt", "correction"]
    assert codes(events[1]) == []
    record = build_record(KIT, events)
    (made,) = record.medications.preparations
    value, unit = strength.split()
    assert made.strength == Strength(value=Decimal(value), unit=unit)
    assert (made.received_ml, made.lots) == (volume, ("A4",))
    assert (record.lines[0].struck_by, record.lines[1].quantity) == (2, volume)


def test_a_number_without_a_unit_corrects_no_count(say) -> None:
    events = say("laps five | lidocaine one percent fifteen mL | make that fifty")
    assert [e.kind.value for e in events] == ["count", "receipt", "correction"]
    assert codes(events[2]) == ["no_quantity"]
    assert build_record(KIT, events).lines[0].struck_by is None


@pytest.mark.parametrize(
    ("field", "heard", "other"),
    [
        ("volume", "lidocaine one percent fifteen mils", "lidocaine one percent fifty mils"),
        ("strength", "lidocaine one percent ten mils", "lidocaine two percent ten mils"),
        ("name", "bupivacaine half percent ten mils", "lidocaine half percent ten mils"),
        ("diluent", "lidocaine two percent ten mils with fifteen mils saline",
         "lidocaine two percent ten mils with fifty mils saline"),
        ("time", "lidocaine one percent expires at thirteen hundred",
         "lidocaine one percent expires at fourteen hundred"),
    ],
)  # fmt: skip
def test_another_reading_is_asked_about(hear, utter, field: str, heard: str, other: str) -> None:
    (event,) = hear([utter(heard, others=((other, 0.2, "grammar"),))])
    assert event.questions, field


# Random lines: every strength, volume, expiry and name is exact, or there is a question


@pytest.mark.parametrize("seed", range(60))
def test_clean_lines_are_read_exactly(seed: int) -> None:
    rng = random.Random(seed)
    made = line(rng)
    said = utterances(rng, made)
    (event,) = understand([written(text, n) for n, text in enumerate(said, 1)], KIT, TODAY)
    assert (event.kind, event.medication, event.questions) == (made.kind, made.detail, ()), said


@pytest.mark.parametrize("seed", range(120))
def test_talk_and_restarts_make_no_silent_error(seed: int) -> None:
    rng = random.Random(1000 + seed)
    made = [line(rng) for _ in range(rng.randint(1, 3))]
    said: list[str] = []
    for each in made:
        again = restarted(rng, each) if rng.random() < 0.3 else each
        for text in utterances(rng, again):
            if rng.random() < 0.3:
                said.append(rng.choice([*TALK, "<talk> <talk>"]))
            words = text.split()
            if rng.random() < 0.2:
                words.insert(rng.randint(0, len(words)), rng.choice(["<talk>", "maybe", "um"]))
            said.append(" ".join(words))
    events = list(understand([written(t, n) for n, t in enumerate(said, 1)], KIT, TODAY))
    lines = build_record(KIT, events).lines
    for event, recorded in zip(events, lines, strict=True):
        detail = event.medication
        not_stocked = any(q.code.value == "strength_not_stocked" for q in recorded.questions)
        if detail is None or event.questions or not_stocked:
            continue
        # what was understood is what was said, though some of it may have been left out
        assert any(
            all(
                value in (None, False) or value == getattr(each.detail, name)
                for name, value in dict(detail).items()
            )
            for each in made
        ), (said, detail)


@pytest.mark.parametrize(
    "said",
    [
        f"lidocaine {'9' * 400}%",
        f"lidocaine 1:{'9' * 400}",
        "received lidocaine point " + "five " * 80 + "percent",
        f"received lidocaine 0.{'0' * 13}1 mg per 7 mL",
        f"received lidocaine 0.{'0' * 13}1 mg per {'9' * 15} mL",
        f"draw {'9' * 400} mL",
        "draw point " + "three " * 90 + "milliliters",
        f"received lidocaine {'9' * 15} thousand units",
        f"received lidocaine one percent {'9' * 15} liters",
    ],
)
def test_amounts_that_nobody_says_end_in_no_error(say, said: str) -> None:
    """Found by fuzzing: more figures than any value keeps."""
    for event in say(said):
        assert Event.model_validate_json(event.model_dump_json()) == event
        strength = event.medication.strength if event.medication is not None else None
        assert strength is None or strength.value <= 1


@pytest.mark.parametrize("verb", ["dropped", "broke", "removed", "off the field"])
def test_a_receipt_behind_the_verb_of_an_item_is_asked_about(hear, verb: str) -> None:
    (event,) = hear([written(f"{verb} ten milliliters of saline", 1)])
    assert event.kind is EventKind.RECEIPT
    assert any(f"“{verb}” was heard before it" in q.sentence for q in event.questions)


def test_a_verb_that_has_its_item_says_nothing_of_the_receipt_after_it(hear) -> None:
    *_, receipt = hear([written("two laps off the field ten milliliters of saline", 1)])
    assert receipt.kind is EventKind.RECEIPT and not receipt.questions


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("saline two mils", True),
        ("saline two milliliters", True),
        ("saline twenty two mils", False),
        ("saline ten mils", False),
    ],
)
def test_two_before_an_m_may_be_ten(hear, utter, line: str, asks: bool) -> None:
    (event,) = hear([utter(line)])
    told = [q.sentence for q in event.questions if "sounds like ten" in q.sentence]
    assert bool(told) is asks
    (event,) = hear([written(line, 1)])
    assert not any("sounds like ten" in q.sentence for q in event.questions)


def test_a_volume_whose_number_was_heard_as_talk_is_asked_about(hear, utter) -> None:
    (event,) = hear([utter("lidocaine one percent <talk> m l expires may twenty twenty eight")])
    assert "An amount was heard, but not how much." in [q.sentence for q in event.questions]


@pytest.mark.parametrize("rest", [["twelve <talk>"], ["twelve <talk> <talk>", "expires may 2030"]])
def test_a_number_whose_unit_was_heard_as_talk_is_asked_about(hear, utter, rest) -> None:
    lines = ["saline", "lidocaine one percent", *rest]
    heard = [utter(text, at=3.0 * number) for number, text in enumerate(lines)]
    event = hear(heard)[-1]
    assert event.item == "lidocaine" and event.quantity is None
    assert any(q.sentence == "The number 12 was heard, but not its unit." for q in event.questions)


@pytest.mark.parametrize(
    ("said", "asks"),
    [("twenty twenty nine", True), ("twenty twenty nine hours", False), ("fourteen ten", False)],
)
def test_a_time_that_could_be_a_year_is_asked_about(hear, utter, said: str, asks: bool) -> None:
    (event,) = hear([utter(f"lidocaine two percent two cc expires at {said}")])
    assert event.medication.expiry_time is not None
    assert any("could be a year" in q.sentence for q in event.questions) is asks


def test_a_label_that_broke_off_in_talk_is_asked_about(hear, utter) -> None:
    strength = "point five percent bupivacaine"
    *_, event = hear([utter("label <talk>"), utter(strength, at=2.0)])
    assert any(q.sentence.startswith("“label” was heard before it") for q in event.questions)
    *_, alone = hear([utter("okay <talk>"), utter(strength, at=2.0)])
    assert not any("was heard before it" in q.sentence for q in alone.questions)


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("label the cup lidocaine one percent two hundred fifty mils", True),
        ("label the cup lidocaine one percent fifty mils", False),
        ("label the pitcher saline two hundred fifty mils", False),
        ("label the syringe lidocaine one percent one hundred mils", True),
    ],
)
def test_more_than_a_container_holds_is_asked_about(say, line: str, asks: bool) -> None:
    questions = [q.sentence for event in say(line) for q in event.questions]
    assert any("more than a" in sentence for sentence in questions) is asks


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("label <talk> syringe lidocaine one percent ten mils", False),
        ("label <talk> syringe one percent lidocaine ten mils", False),
        ("label syringe <talk> lidocaine one percent ten mils", True),
        ("label syringe lidocaine one percent <talk> ten mils", True),
        ("label <talk> lidocaine one percent ten mils", True),
    ],
)
def test_talk_before_the_container_of_a_label_hides_nothing(say, line: str, asks: bool) -> None:
    questions = [q.sentence for event in say(line) for q in event.questions]
    assert any("may not be meant" in sentence for sentence in questions) is asks
