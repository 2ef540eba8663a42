"""Going through the lines with a person."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from countersign.confirm import Person
from countersign.kit.model import Kit
from countersign.ledger import Ledger, append_decision, append_event, open_case
from countersign.meaning.event import Event, EventKind, MedicationDetail, Phase, Strength
from countersign.medication import Amount
from countersign.tally import Act, Decision, LineState, Role

from .conftest import AB, Sitting, counted


def test_accepting_every_line(sitting: Sitting) -> None:
    record = sitting.go("a", "a", "a")
    assert [(d.line, d.act, d.initials, d.role) for d in sitting.decisions] == [
        (1, Act.ACCEPT, "AB", Role.SCRUB),
        (2, Act.ACCEPT, "AB", Role.SCRUB),
        (3, Act.ACCEPT, "AB", Role.SCRUB),
    ]
    assert record.confirmed
    assert [line.confirmed_quantity for line in record.lines] == [5, 10, 2]
    assert "Kept: line 1 accepted by AB (scrub)." in sitting.text


def test_each_line_shows_what_a_person_needs(sitting: Sitting) -> None:
    sitting.go("n", "n", "n")
    second = next(text for text in sitting.shown if "Line 2 of 3" in text)
    for part in (
        "initial count",
        "x-ray detectable sponge",
        "10",
        "“ten raytecs”",
        "0:04.0 to 0:06.5",
        "91%",
        "The number was hard to hear.",
    ):
        assert part in second
    assert max(len(line) for text in sitting.shown for line in text.splitlines()) <= 80


def test_enter_and_unknown_letters_change_nothing(sitting: Sitting) -> None:
    sitting.go("", "x", "yes", "accept all", "q")
    assert sitting.decisions == ()
    assert sitting.text.count("Type one of the letters") == 4


def test_amending_a_number(sitting: Sitting) -> None:
    record = sitting.go("m", "", "4", "q")
    (decision,) = sitting.decisions
    assert (decision.act, decision.item, decision.quantity) == (Act.AMEND, None, 4)
    assert sitting.record.lines[0].confirmed_quantity == 4
    assert sitting.record.lines[0].event.quantity == 5  # what was heard stays as it was
    assert "Kept: line 1 amended to laparotomy sponge: 4 by AB (scrub)." in sitting.text
    assert not record.confirmed


@pytest.mark.parametrize("typed", ["needle", "Needles", "NEEDLE", "nee"])
def test_amending_an_item(sitting: Sitting, typed: str) -> None:
    sitting.go("m", typed, "", "q")
    assert (sitting.decisions[0].item, sitting.decisions[0].quantity) == ("needle", None)
    assert sitting.record.lines[0].confirmed_item == "needle"
    assert sitting.record.lines[0].confirmed_quantity == 5


@pytest.mark.parametrize("typed", ["five", "-1", "4.5", "1000", "٤", "1e2", "0x4"])
def test_a_number_that_is_none_is_refused(sitting: Sitting, typed: str) -> None:
    sitting.go("m", "", typed, "q")
    assert sitting.decisions == ()
    assert "whole number from 0 to 999" in sitting.text


def test_an_item_the_kit_lacks_is_refused(sitting: Sitting) -> None:
    sitting.go("m", "chainsaw", "q")
    assert sitting.decisions == ()
    assert "The kit has no “chainsaw”." in sitting.text


def test_an_implausible_number_is_typed_twice(sitting: Sitting) -> None:
    sitting.go("m", "", "41", "40", "m", "", "41", "41", "q")
    assert [decision.quantity for decision in sitting.decisions] == [41]
    assert "The numbers differ; nothing was changed." in sitting.text


def test_amending_nothing_is_no_decision(sitting: Sitting) -> None:
    sitting.go("m", "", "", "m", "lap", "5", "q")
    assert sitting.decisions == ()
    assert sitting.text.count("Nothing was changed") == 2


@pytest.mark.parametrize("typed", ["closing", "Closing count", "closing COUNT "])
def test_amending_which_count_was_announced(ledger: Ledger, kit: Kit, typed: str) -> None:
    case = open_case(ledger, kit, "microphone")
    for name in (Phase.INITIAL, Phase.FINAL):
        said = counted(None, None, 1.0, "x", kind=EventKind.PHASE, phase=name, unit=None)
        append_event(ledger, case, said)
        append_event(ledger, case, counted("needle", 2, 4.0, "two needles", phase=None))
    sitting = Sitting(ledger, case)
    sitting.go("a", "a", "m", typed, "", "a")
    third = sitting.decisions[2]
    assert (third.act, third.phase, third.item, third.quantity) == (
        Act.AMEND,
        Phase.CLOSING,
        None,
        None,
    )
    assert [line.phase for line in sitting.record.lines[2:]] == [Phase.CLOSING, Phase.CLOSING]
    assert sitting.record.confirmed
    assert "Kept: line 3 amended to closing count by AB (scrub)." in sitting.text
    assert any("Enter keeps final count" in prompt for prompt in sitting.prompts)


@pytest.mark.parametrize(
    ("heard", "typed", "group", "kept"),
    [
        ("sponges", "sharps", "sharps", "final count, sharps"),
        (None, "Small", "small_items", "final count, small items"),
        ("sponges", "all groups", "", "final count"),
    ],
)
def test_amending_of_what_a_count_was_announced(
    ledger: Ledger, kit: Kit, heard: str | None, typed: str, group: str, kept: str
) -> None:
    case = open_case(ledger, kit, "microphone")
    values = {"kind": EventKind.PHASE, "phase": Phase.FINAL, "group": heard, "unit": None}
    append_event(ledger, case, counted(None, None, 1.0, "x", **values))
    sitting = Sitting(ledger, case)
    sitting.go("m", "", "lunch", "m", "", heard or "all", "m", "", typed)
    (decision,) = sitting.decisions
    assert (decision.act, decision.phase, decision.group) == (Act.AMEND, None, group)
    assert sitting.record.lines[0].group == (group or None)
    assert sitting.text.count("Type one of sponges, sharps, small items, instruments, all.") == 1
    assert sitting.text.count("Nothing was changed") == 1
    assert f"Kept: line 1 amended to {kept} by AB (scrub)." in sitting.text
    assert any(f"Enter keeps {heard or 'all groups'}" in prompt for prompt in sitting.prompts)


def test_a_count_that_there_is_not_is_refused(ledger: Ledger, kit: Kit) -> None:
    case = open_case(ledger, kit, "microphone")
    said = counted(None, None, 1.0, "x", kind=EventKind.PHASE, phase=Phase.FINAL, unit=None)
    append_event(ledger, case, said)
    sitting = Sitting(ledger, case)
    sitting.go("m", "", "", "m", "final", "", "m", "c", "m", "lunch", "q")
    assert sitting.decisions == ()
    assert sitting.text.count("Nothing was changed") == 2
    assert sitting.text.count("Type one of initial, relief, closing cavity") == 2


def test_setting_aside_needs_a_reason(sitting: Sitting) -> None:
    sitting.go("s", "  ", "s", "said twice", "q")
    (decision,) = sitting.decisions
    assert (decision.act, decision.reason) == (Act.SET_ASIDE, "said twice")
    assert sitting.record.lines[0].state is LineState.SET_ASIDE


def test_taking_back_shows_the_line_again(sitting: Sitting) -> None:
    sitting.go("a", "u", "s", "wrong line", "q")
    assert [(d.line, d.act) for d in sitting.decisions] == [
        (1, Act.ACCEPT),
        (1, Act.UNDO),
        (1, Act.SET_ASIDE),
    ]
    assert sitting.record.lines[0].state is LineState.SET_ASIDE


def test_taking_back_several_and_a_named_one(sitting: Sitting) -> None:
    sitting.go("a", "a", "u", "u", "u", "q")
    assert [(d.line, d.act) for d in sitting.decisions][2:] == [(2, Act.UNDO), (1, Act.UNDO)]
    assert "Nothing was decided in this sitting" in sitting.text
    sitting.go("a", "u 1", "u 3", "u 99", "q")
    assert [(d.line, d.act) for d in sitting.decisions][4:] == [(1, Act.ACCEPT), (1, Act.UNDO)]
    assert "no decision on line 3" in sitting.text
    assert "no decision on line 99" in sitting.text


def test_stopping_and_going_on_later(sitting: Sitting) -> None:
    sitting.go("a", "q")
    record = sitting.go("a", "a", person=Person(Role.CIRCULATOR, "CD"))
    assert record.confirmed
    assert [d.initials for d in sitting.decisions] == ["AB", "CD", "CD"]


@pytest.mark.parametrize("answers", [(), ("a",), ("m",), ("m", ""), ("s",), ("m", "", "41")])
def test_the_end_of_the_input_is_a_stop(sitting: Sitting, answers: tuple[str, ...]) -> None:
    sitting.go(*answers)
    assert len(sitting.decisions) == answers.count("a")


def test_playing_the_words(sitting: Sitting) -> None:
    sitting.go("p", "q")
    assert sitting.played == [("microphone", 1.0, 3.5)]
    sitting.fails_to_play = "No program to play sound was found."
    sitting.go("p", "a", "q")
    assert "No program to play sound was found." in sitting.text
    assert len(sitting.decisions) == 1


def test_written_words_have_no_sound(sitting: Sitting, kit: Kit) -> None:
    case = open_case(sitting.ledger, kit, "written words")
    # Read from two lines of text: their numbers stand where a recording has seconds.
    event = counted("lap_sponge", 5, 1.0, "five laps", end_s=2.0)
    append_event(sitting.ledger, case, event)
    other = Sitting(sitting.ledger, case)
    other.go("p", "q")
    assert other.played == []
    assert "no sound to play" in other.text
    assert "0:01" not in other.text and "word confidence" not in other.text


@pytest.mark.parametrize(
    ("item", "quantity", "sentence"),
    [
        (None, 5, "No item was heard"),
        ("lap_sponge", None, "No number was heard"),
        (None, None, "Neither an item nor a number was heard"),
    ],
)
def test_a_line_without_item_or_number_cannot_be_accepted(
    sitting: Sitting, kit: Kit, item: str | None, quantity: int | None, sentence: str
) -> None:
    case = open_case(sitting.ledger, kit, "written words")
    append_event(sitting.ledger, case, counted(item, quantity, 1.0, "laps"))
    other = Sitting(sitting.ledger, case)
    other.go("a", "q")
    assert sentence in other.text
    assert other.decisions == ()
    answers = ["m", "" if item else "laps", "" if quantity else "5"]
    assert other.go(*answers).confirmed
    assert other.record.lines[0].confirmed_quantity == 5


def test_a_volume_is_amended_in_millilitres(sitting: Sitting, kit: Kit) -> None:
    case = open_case(sitting.ledger, kit, "written words")
    event = Event(
        kind=EventKind.RECEIPT,
        item="lidocaine",
        quantity=Decimal("13"),
        unit="mL",
        medication=MedicationDetail(name="lidocaine", volume_ml=Decimal("13")),
        start_s=1,
        end_s=2,
        words="lidocaine thirteen",
    )
    append_event(sitting.ledger, case, event)
    other = Sitting(sitting.ledger, case)
    other.go("m", "laps", "m", "", "none", "m", "", "30.5 mL", "", "", "")
    assert "The kit has no “laps”." in other.text
    assert "such as 30 or 2.5" in other.text
    assert other.record.lines[0].confirmed_quantity == Decimal("30.5")
    assert "amended to lidocaine, 30.5 mL by AB" in other.text


RECEIPT = Event(
    kind=EventKind.RECEIPT,
    item="lidocaine",
    quantity=Decimal("30"),
    unit="mL",
    medication=MedicationDetail(
        name="lidocaine",
        strength=Strength(value=Decimal(2), unit="%"),
        volume_ml=Decimal("30"),
        expiry=date(2099, 12, 31),
        container="bowl",
        lot="A1",
    ),
    start_s=1,
    end_s=2,
    words="lidocaine two percent thirty mils",
)


@pytest.fixture
def received(sitting: Sitting, kit: Kit) -> Sitting:
    lidocaine = kit.medications[0].model_copy(update={"strengths": ("0.5 %", "1 %")})
    kit = kit.model_copy(update={"medications": (lidocaine,)})
    case = open_case(sitting.ledger, kit, "written words")
    append_event(sitting.ledger, case, RECEIPT)
    return Sitting(sitting.ledger, case)


def test_strength_expiry_and_container_are_amended(received: Sitting) -> None:
    record = received.go("m", "", "", "0.5 %", "2098-02", "cup")
    (made,) = received.decisions
    assert (made.item, made.quantity) == (None, None)
    now = record.lines[0].medication
    assert now is not None and made.medication == now
    assert (now.strength, now.volume_ml) == (Strength(value=Decimal("0.5"), unit="%"), 30)
    assert (now.expiry, now.container, now.lot) == (date(2098, 2, 28), "cup", "A1")
    heard = record.lines[0].event.medication
    assert heard is not None and heard.container == "bowl"  # what was heard stays as it was
    (cup,) = record.medications.preparations
    assert (cup.container, cup.strength, cup.confirmed) == ("cup", now.strength, True)
    # 0.5 % is 5 mg/mL (USP General Notices, from memory); 30 mL hold 150 mg.
    assert cup.received == Amount(value=Decimal(150_000), unit="ug")
    assert (
        "amended to lidocaine 0.5 %, 30 mL, expires 2098-02-28, lot A1, in cup by AB"
        in " ".join(received.text.split())
    )


def test_what_was_heard_of_a_medication_is_taken_away(received: Sitting) -> None:
    record = received.go("m", "", "", "1 %", "none", "none")
    now = record.lines[0].medication
    assert now is not None and (now.expiry, now.container, now.lot) == (None, None, "A1")


@pytest.mark.parametrize(
    ("answers", "sentence"),
    [
        (("4 %", "", "", "no"), "The kit has lidocaine as 0.5 % or 1 %"),
        (("1 %", "2020-01", "", "no"), "The expiry 2020-01-31 has passed."),
        (("strong",), "written like 0.5 %"),
        (("1 %", "soon"), "2027-03"),
        (("1 %", "", "bucket"), "one of cup, basin"),
    ],
)
def test_a_medication_that_cannot_be_is_asked_again(
    received: Sitting, answers: tuple[str, ...], sentence: str
) -> None:
    received.go("m", "", "", *answers, "q")
    assert received.decisions == ()
    assert sentence in " ".join(received.text.split() + received.prompts)


def test_what_a_person_insists_on_is_kept(received: Sitting) -> None:
    record = received.go("m", "", "", "4 %", "2020-01", "", "yes", "yes")
    assert [d.act for d in received.decisions] == [Act.AMEND]
    assert record.medications.preparations[0].expired


def test_undoing_gives_the_medication_back_as_heard(received: Sitting) -> None:
    assert received.go("m", "", "", "1 %", "", "").lines[0].medication != RECEIPT.medication
    undo = received.decisions[0].model_copy(update={"act": Act.UNDO, "medication": None})
    append_decision(received.ledger, received.case, undo)
    assert received.record.lines[0].medication == RECEIPT.medication
    assert not received.record.medications.preparations[0].confirmed


def test_a_place_and_a_part_are_amended_where_one_was_heard(sitting: Sitting, kit: Kit) -> None:
    syringe = kit.items[0].model_copy(update={"parts": ("barrel", "bulb"), "pack": None})
    parted = kit.model_copy(update={"items": (syringe,)})
    case = open_case(sitting.ledger, parted, "written words")
    event = counted("lap_sponge", 1, 1.0, "one barrel", place="field", part="barrel")
    append_event(sitting.ledger, case, event)
    other = Sitting(sitting.ledger, case)
    other.go("m", "", "", "moon", "m", "", "", "", "cap", "m", "", "", "field", "barrel", "q")
    assert other.decisions == ()
    assert "Type one of field, wound, mayo stand" in " ".join(other.text.split())
    assert "Type one of barrel, bulb, all." in other.text
    assert "Nothing was changed" in other.text
    other.go("m", "", "", "mayo", "bul")
    (made,) = other.decisions
    assert (made.quantity, made.place, made.part) == (None, "mayo_stand", "bulb")
    assert "amended to laparotomy sponge, bulb, on the Mayo stand: 1" in " ".join(
        other.text.split()
    )


def test_the_whole_is_refused_while_a_question_is_open(sitting: Sitting) -> None:
    sitting.go("w", "q")
    assert sitting.decisions == ()
    assert "cannot be confirmed as a whole" in sitting.text
    assert "Line 2: The number was hard to hear." in sitting.text


def test_the_whole_after_the_questions(sitting: Sitting) -> None:
    record = sitting.go("n", "a", "w", "no", "w", "yes")
    assert record.confirmed
    assert [(d.line, d.act) for d in sitting.decisions] == [
        (2, Act.ACCEPT),
        (1, Act.ACCEPT),
        (3, Act.ACCEPT),
    ]


def test_someone_else_was_faster(sitting: Sitting) -> None:
    """Another person sets the line aside while it is on this screen."""
    real_go = sitting.go
    meanwhile = Decision(
        line=1,
        act=Act.SET_ASIDE,
        role=Role.CIRCULATOR,
        initials="CD",
        at=datetime.now(UTC),
        reason="not ours",
    )
    original = sitting.prompts

    class Faster(list[str]):
        def append(self, prompt: str) -> None:
            if not self:
                append_decision(sitting.ledger, sitting.case, meanwhile)
            super().append(prompt)

    sitting.prompts = Faster(original)
    real_go("a", "q")
    assert [d.model_copy(update={"entry": None}) for d in sitting.decisions] == [meanwhile]
    assert "Someone else decided on line 1 meanwhile" in sitting.text


def test_a_clock_that_was_set_back_does_not_turn_decisions_around(sitting: Sitting) -> None:
    tomorrow = datetime.now(UTC) + timedelta(days=1)
    early = Decision(line=1, act=Act.ACCEPT, role=AB.role, initials="AB", at=tomorrow)
    append_decision(sitting.ledger, sitting.case, early)
    sitting.go("u 1", "q")
    assert sitting.decisions[-1].act is Act.UNDO
    assert sitting.record.lines[0].state is LineState.HEARD
