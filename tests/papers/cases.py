"""Invented cases for the papers: a short, a long, an awkward and a wholly confirmed one."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from countersign.hearing.utterance import written
from countersign.kit import Group, Item, Kit, Medication, demo_kit_path, read_kit
from countersign.ledger import (
    Ledger,
    Note,
    append_decision,
    append_event,
    append_exception,
    append_note,
    append_step,
    open_case,
)
from countersign.meaning import understand
from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Question,
    QuestionCode,
    Strength,
    Verdict,
)
from countersign.tally.record import Act, Decision, Role, SignedException, StepDone

Make = Callable[[Ledger], str]
BEGIN = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)
KIT = read_kit(demo_kit_path())
ODD = "Ω ±½ “éß” <b>&amp;</b> 纱布 🧽 مسحة \u202etrick\u0007"


class Shelf:
    """A ledger with each case made once, for tests that only read: keeping a long one is slow."""

    def __init__(self, ledger: Ledger) -> None:
        self.ledger = ledger
        self._made: dict[Make, str] = {}

    def case(self, make: Make) -> str:
        """The name of the case; its ledger is for reading."""
        if make not in self._made:
            self._made[make] = make(self.ledger)
        return self._made[make]


def said(kind: EventKind, at: float, **fields: Any) -> Event:
    words = fields.pop("words", kind.value)
    return Event(kind=kind, start_s=at, end_s=at + 2, words=words, **fields)


def count(item: str | None, quantity: int | None, phase: Phase, at: float, **more: Any) -> Event:
    return said(EventKind.COUNT, at, item=item, quantity=quantity, unit="each", phase=phase, **more)


def asked(sentence: str = "It was hard to hear.") -> tuple[Question, ...]:
    return (Question(code=QuestionCode.LOW_CONFIDENCE, sentence=sentence),)


def decided(line: int, act: Act = Act.ACCEPT, **fields: Any) -> Decision:
    return Decision(
        **{
            "line": line,
            "act": act,
            "role": Role.CIRCULATOR if line % 2 else Role.SCRUB,
            "initials": "CD" if line % 2 else "AB",
            "at": BEGIN + timedelta(minutes=line),
            **fields,
        }
    )


def kept(
    ledger: Ledger,
    events: Sequence[Event],
    decisions: Sequence[Decision] = (),
    kit: Kit = KIT,
    *,
    ended: bool = True,
    source: str = "/recordings/theatre 2/opening.wav",
) -> str:
    case = open_case(ledger, kit, source)
    for event in events:
        append_event(ledger, case, event)
    for decision in decisions:
        append_decision(ledger, case, decision)
    if ended:
        append_note(
            ledger, case, Note(topic="listening_ended", duration_s=3725.5, model="counting-en")
        )
    return case


def medicine(kind: EventKind, at: float, ml: str | None, **detail: Any) -> Event:
    volume = None if ml is None else Decimal(ml)
    made = MedicationDetail(
        **{
            "name": "lidocaine",
            "strength": Strength(value=Decimal(1), unit="%"),
            "additive": "epinephrine",
            "additive_strength": Strength(value=Decimal(100000), unit="ratio"),
            "volume_ml": volume,
            **detail,
        }
    )
    unit = None if volume is None else "mL"
    return said(kind, at, item=made.name, quantity=volume, unit=unit, medication=made)


def opening() -> list[Event]:
    return [
        said(EventKind.PHASE, 1, phase=Phase.INITIAL),
        count("raytec", 10, Phase.INITIAL, 4, words="raytecs ten"),
        count("lap_sponge", 5, Phase.INITIAL, 8, words="laps five"),
        count("suture_needle", 4, Phase.INITIAL, 12, words="sutures four"),
        medicine(EventKind.RECEIPT, 20, "30", expiry="2027-04-30", lot="AB12"),
        medicine(EventKind.LABEL, 25, "30", expiry="2027-04-30", container="cup", read_back=True),
        medicine(EventKind.DRAW, 30, "10"),
        said(
            EventKind.ADDITION,
            60,
            item="raytec",
            quantity=10,
            unit="each",
            phase=Phase.INITIAL,
            words="adding raytecs ten",
        ),
    ]


def plain_case(ledger: Ledger) -> str:
    """Everything agrees and everything is confirmed."""
    events = [
        *opening(),
        said(EventKind.PHASE, 3000, phase=Phase.CLOSING),
        count("raytec", 20, Phase.CLOSING, 3004, words="raytecs twenty"),
        count("lap_sponge", 5, Phase.CLOSING, 3008, words="laps five"),
        count("suture_needle", 4, Phase.CLOSING, 3012, words="sutures four"),
        said(EventKind.VERDICT, 3020, verdict=Verdict.CORRECT, phase=Phase.CLOSING),
    ]
    return kept(ledger, events, [decided(line) for line in range(1, len(events) + 1)])


def exception_case(ledger: Ledger) -> str:
    """Everything is confirmed and a sponge is missing; "correct" stands by exception."""
    events = [
        count("raytec", 10, Phase.INITIAL, 4, words="raytecs ten"),
        said(EventKind.PHASE, 3000, phase=Phase.CLOSING),
        count("raytec", 9, Phase.CLOSING, 3004, words="raytecs nine"),
        said(EventKind.VERDICT, 3020, verdict=Verdict.CORRECT, phase=Phase.CLOSING),
    ]
    case = kept(ledger, events)
    signed = SignedException(
        item="raytec",
        line=3,
        difference=-1,
        reason="image clear, read by radiology",
        scrub="AB",
        circulator="CD",
        at=BEGIN + timedelta(minutes=5),
    )
    append_exception(ledger, case, signed)
    for line in range(1, len(events) + 1):
        append_decision(ledger, case, decided(line))
    return case


def short_case(ledger: Ledger) -> str:
    """A sponge is missing and stands by exception; one line waits, one is amended, one struck."""
    events = [
        *opening(),
        said(EventKind.PHASE, 3000, phase=Phase.CLOSING),
        count("raytec", 19, Phase.CLOSING, 3004, words="raytecs nineteen"),
        count("lap_sponge", 4, Phase.CLOSING, 3008, words="laps four"),
        count("suture_needle", 4, Phase.CLOSING, 3012, words="sutures four"),
        said(EventKind.VERDICT, 3020, verdict=Verdict.CORRECT, phase=Phase.CLOSING),
        count("peanut", 5, Phase.CLOSING, 3050, words="peanuts five", questions=asked()),
        count("vessel_loop", 2, Phase.CLOSING, 3054, words="vessel loops two"),
    ]
    decisions = [decided(line) for line in range(1, 14) if line != 11]
    decisions += [
        decided(11, Act.AMEND, quantity=5, reason="one lay under the drape"),
        decided(15, Act.SET_ASIDE, reason="said of another table"),
    ]
    case = kept(ledger, events, decisions)
    for name in ("recount", "search_field"):
        append_step(
            ledger,
            case,
            StepDone(
                item="raytec",
                line=10,
                step=name,
                text=f"{name.replace('_', ' ').capitalize()} by both people",
                role=Role.CIRCULATOR,
                initials="CD",
                at=BEGIN + timedelta(minutes=50),
                remark="nothing found",
            ),
        )
    append_exception(
        ledger,
        case,
        SignedException(
            item="raytec",
            line=10,
            difference=-1,
            reason="image clear, read by radiology",
            scrub="AB",
            circulator="CD",
            at=BEGIN + timedelta(minutes=55),
        ),
    )
    return case


def set_up_case(ledger: Ledger) -> str:
    """Mayo stand and back table: as heard, struck, amended, undone and set aside, then a count."""
    words = (
        "two kellys on the mayo stand",
        "needle holder on the mayo tip up",
        "kellys on the back table",
        "strike that",
        "five laps on the back table",
        "back table five laps",
        "handle to the right",
    )
    spoken = [written(text, number) for number, text in enumerate(words, start=1)]
    events = [
        *understand(spoken, KIT),
        said(EventKind.SET_UP, 20, item="kelly_clamp", place="mayo_stand", words="kelly there"),
        said(EventKind.SET_UP, 22, item="bulb_syringe", part="bulb", place="back_table"),
        said(EventKind.SET_UP, 24, item=None, place="mayo_stand", questions=asked()),
        said(EventKind.SET_UP, 26, item="knife_blade", quantity=2, unit="each", place=None),
        count("lap_sponge", 5, Phase.INITIAL, 30, words="laps five"),
    ]
    last = len(events) - 1
    decisions = [
        decided(1),
        decided(last - 3, Act.AMEND, item="needle_holder", place="back_table", quantity=3),
        decided(last - 2),
        decided(last - 2, Act.UNDO, reason="it was never opened"),
        decided(last - 1, Act.SET_ASIDE, reason="said of another table"),
        decided(last),
        decided(last + 1),
    ]
    return kept(ledger, events, decisions)


def long_case(ledger: Ledger, lines: int = 420) -> str:
    """Hundreds of lines in many counts; two thirds are confirmed."""
    items = [item.id for item in KIT.items]
    events: list[Event] = [said(EventKind.PHASE, 1, phase=Phase.INITIAL)]
    order = [Phase.INITIAL, Phase.RELIEF, Phase.REQUESTED, Phase.CLOSING_CAVITY, Phase.CLOSING]
    order += [Phase.REQUESTED, Phase.RELIEF, Phase.CLOSING, Phase.FINAL]
    phase, at = Phase.INITIAL, 5.0
    each = max(1, lines // len(order))
    while len(events) < lines:
        number = len(events)
        if number % each == 0 and number // each < len(order):
            phase = order[number // each]
            events.append(said(EventKind.PHASE, at, phase=phase))
        elif number % 7 == 3:
            kind = EventKind.ADDITION if number % 14 == 3 else EventKind.REMOVAL
            words = "one more raytec"
            events.append(
                said(kind, at, item="raytec", quantity=1, unit="each", phase=phase, words=words)
            )
        else:
            item = items[number % len(items)]
            words = f"{item.replace('_', ' ')} {number % 9 + 1}"
            events.append(count(item, number % 9 + 1, phase, at, words=words))
        at += 8
    decisions = [decided(line) for line in range(1, len(events) + 1) if line % 3]
    return kept(ledger, events, decisions)


def awkward_kit() -> Kit:
    return Kit(
        title=f"Kit {ODD} " + "very long title " * 12,
        procedure=f"Procedure {ODD} " + "with a long name " * 12,
        items=(
            Item(
                id="odd",
                label=f"Sponge {ODD} " + "long " * 30 + "W" * 90,
                group=Group.SPONGES,
                spoken=("odd",),
                expected=3,
            ),
            Item(
                id="parts",
                label="Bulb syringe",
                group=Group.SMALL_ITEMS,
                spoken=("bulb",),
                parts=("barrel with a rather long name of a part", "bulb"),
            ),
        ),
        medications=(
            Medication(id="med", label=f"Drug {ODD} " + "n" * 60, spoken=("drug",)),
            Medication(id="salt", label="Sodium chloride 0.9 %", spoken=("saline",)),
        ),
    )


def awkward_case(ledger: Ledger) -> str:
    """Long labels, many questions, odd characters, no end, nothing but one line confirmed."""
    many = tuple(
        Question(code=QuestionCode.OTHER_READING, sentence=f"Question {n}: {ODD} " + "why " * 40)
        for n in range(25)
    )
    events = [
        count("odd", 3, Phase.INITIAL, 1, words=f"{ODD} " + "words " * 400, questions=many),
        *(
            count("odd", 3 + n % 2, Phase.CLOSING, 10 + n, words="again and again")
            for n in range(60)
        ),
        count("parts", 1, Phase.CLOSING, 90, place="back_table", part="bulb", words="one bulb"),
        count(None, 4, Phase.CLOSING, 95, words="four of something"),
        count("odd", None, Phase.CLOSING, 99, words="how many"),
        said(EventKind.CORRECTION, 101, words="strike that"),
        medicine(
            EventKind.RECEIPT,
            110,
            None,
            name="med",
            strength=None,
            additive=None,
            additive_strength=None,
            diluent="salt",
            lot="L" * 80,
            received_by="scrub",
        ),
        said(EventKind.REMARK, 120, words="x" * 5000),
    ]
    decisions = [
        decided(2),
        decided(2, Act.UNDO, reason=f"{ODD} " + "because " * 120),
        decided(3, initials="WXYZ", at=BEGIN + timedelta(days=400)),
    ]
    return kept(ledger, events, decisions, awkward_kit(), ended=False, source=f"/a/{ODD}.wav")
