"""Entering steps and exceptions with a person."""

import pytest
from rich.console import Console, RenderableType

from countersign.confirm import Person, search
from countersign.kit.model import Kit
from countersign.ledger import Ledger, append_event, open_case, open_ledger, read_case, record_of
from countersign.meaning.event import EventKind, Phase
from countersign.policy import Policy, PolicyStep, read_policy
from countersign.tally import CountRecord, Role, StepDone

from .conftest import counted

SCRUB = Person(Role.SCRUB, "AB")
CIRCULATOR = Person(Role.CIRCULATOR, "CD")
POLICY = Policy(
    title="Ours",
    steps=(
        PolicyStep(id="recount", say="Count again."),
        PolicyStep(id="floor", say="Search the floor.", by=("circulator",), when="missing"),
    ),
)


@pytest.fixture
def short(ledger: Ledger, kit: Kit) -> str:
    """One lap missing and one needle over at closing."""
    name = open_case(ledger, kit, "microphone")
    closing = {"phase": Phase.CLOSING}
    for event in (
        counted("lap_sponge", 5, 1.0, "five laps"),
        counted("needle", 2, 8.0, "two needles"),
        counted(None, None, 20.0, "closing count", kind=EventKind.PHASE, **closing),
        counted("lap_sponge", 4, 24.0, "four laps", **closing),
        counted("needle", 3, 28.0, "three needles", **closing),
    ):
        append_event(ledger, name, event)
    return name


class Sitting:
    def __init__(self, ledger: Ledger, case: str, policy: Policy = POLICY) -> None:
        self.ledger, self.case, self.policy = ledger, case, policy
        self.text = ""

    def go(self, *answers: str, person: Person = CIRCULATOR) -> CountRecord:
        waiting = list(answers)
        console = Console(width=80, force_terminal=False)

        def ask(_: str) -> str | None:
            return waiting.pop(0) if waiting else None

        def show(what: RenderableType) -> None:
            with console.capture() as captured:
                console.print(what)
            text = captured.get()
            if text.startswith("Kept"):
                self.must_be_on_disk()
            self.text += text

        record = search(self.ledger, self.case, person, self.policy, ask=ask, show=show)
        assert not waiting, f"never asked for: {waiting}"
        return record

    def must_be_on_disk(self) -> None:
        other = open_ledger(self.ledger.path, create=False)
        history = read_case(other, self.case)
        kept = len(history.steps) + len(history.exceptions)
        assert kept == self.text.count("Kept") + 1
        other.close()

    @property
    def steps(self) -> tuple[StepDone, ...]:
        return read_case(self.ledger, self.case).steps


def test_each_discrepancy_is_shown_with_what_a_person_needs(ledger: Ledger, short: str) -> None:
    sitting = Sitting(ledger, short)
    sitting.go("n", "n")
    text = " ".join(sitting.text.split())
    assert "laparotomy sponge: 1 missing (4 counted, 5 expected, line 4, NOT CONFIRMED)." in text
    assert "Last right at line 1 at 0:03.5." in text
    assert "4 laparotomy sponge: 4 at 0:24.0; not confirmed" in text
    assert "needle: 1 over (3 counted, 2 expected, line 5, NOT CONFIRMED)." in text
    assert "Your facility's policy decides" in text
    assert text.count("Search the floor.") == 1  # nothing is missing of what is over
    assert max(len(line) for line in sitting.text.splitlines()) <= 80


def test_steps_are_kept_with_role_time_and_remark(ledger: Ledger, short: str) -> None:
    sitting = Sitting(ledger, short)
    record = sitting.go("1", "", "2", " under the table ", "n", "n")
    assert [(s.item, s.line, s.step, s.initials, s.role, s.remark) for s in sitting.steps] == [
        ("lap_sponge", 4, "recount", "CD", Role.CIRCULATOR, None),
        ("lap_sponge", 4, "floor", "CD", Role.CIRCULATOR, "under the table"),
    ]
    assert sitting.steps[0].text == "Count again."
    assert [s.step for s in record.discrepancies[0].steps] == ["recount", "floor"]
    assert record.discrepancies[1].steps == ()
    assert "Kept: step floor for laparotomy sponge done by CD (circulator)." in sitting.text


def test_the_policy_is_kept_with_the_first_step_and_again_when_it_changes(
    ledger: Ledger, short: str
) -> None:
    sitting = Sitting(ledger, short)
    sitting.go("n", "n")
    assert read_case(ledger, short).policy is None
    sitting.go("1", "", "2", "", "q")
    assert read_case(ledger, short).policy == POLICY
    stricter = POLICY.model_copy(update={"title": "Ours, from May on"})
    later = Sitting(ledger, short, stricter)
    later.text = sitting.text
    later.go("n", "1", "", "q")
    history = read_case(ledger, short)
    assert [note.topic for note in history.notes] == [
        *("policy", "step_done", "step_done"),
        *("policy", "step_done"),
    ]
    assert history.policy == stricter
    assert [s.step for s in record_of(history).discrepancies[0].steps] == ["recount", "floor"]


def test_a_step_is_taken_back_and_only_if_it_was_entered(ledger: Ledger, short: str) -> None:
    sitting = Sitting(ledger, short)
    record = sitting.go("t 1", "1", "", "t 1", "q")
    assert "cannot be taken back" in " ".join(sitting.text.split())
    assert [s.done for s in sitting.steps] == [True, False]
    assert record.discrepancies[0].steps == ()


def test_a_step_of_another_role_is_refused(ledger: Ledger, short: str) -> None:
    sitting = Sitting(ledger, short)
    sitting.go("2", "", "q", person=SCRUB)
    assert "is entered by circulator" in sitting.text and sitting.steps == ()


@pytest.mark.parametrize("typed", ["", "9", "0", "x", "t", "t x", "-1", "1 2"])
def test_anything_else_keeps_nothing(ledger: Ledger, short: str, typed: str) -> None:
    sitting = Sitting(ledger, short)
    sitting.go(typed, "q")
    assert "Type the number of a step" in sitting.text and sitting.steps == ()


def test_an_exception_needs_a_reason_and_two_people(ledger: Ledger, short: str) -> None:
    sitting = Sitting(ledger, short)
    sitting.go("e", "", "ab", "cd", "e", "image clear", "ab", "AB", "e", "image", "ab", "1", "q")
    assert read_case(ledger, short).exceptions == ()
    assert "initials of two different people" in " ".join(sitting.text.split())
    record = sitting.go("e", "image clear", "ab", "cd", "n")
    (made,) = read_case(ledger, short).exceptions
    assert (made.item, made.line, made.difference) == ("lap_sponge", 4, -1)
    assert (made.reason, made.scrub, made.circulator) == ("image clear", "AB", "CD")
    assert record.discrepancies[0].exception == made


@pytest.mark.parametrize("answers", [(), ("1",), ("e",), ("e", "why"), ("e", "why", "ab")])
def test_the_end_of_the_input_is_a_stop(
    ledger: Ledger, short: str, answers: tuple[str, ...]
) -> None:
    Sitting(ledger, short).go(*answers)
    assert read_case(ledger, short).notes == ()


def test_a_later_count_ends_it(ledger: Ledger, short: str) -> None:
    for number, item in ((5, "lap_sponge"), (2, "needle")):
        event = counted(item, number, 40.0, "again", phase=Phase.CLOSING)
        append_event(ledger, short, event)
    sitting = Sitting(ledger, short)
    record = sitting.go()
    assert sitting.text == ""
    assert [d.resolved_by for d in record.discrepancies] == [6, 7]


def test_the_shipped_policy_can_be_gone_through(ledger: Ledger, short: str) -> None:
    policy = read_policy()
    answers = [part for number in range(1, len(policy.steps) + 1) for part in (str(number), "")]
    sitting = Sitting(ledger, short, policy)
    sitting.go(*answers, "n", "n", person=SCRUB)
    assert [s.step for s in sitting.steps] == [step.id for step in policy.steps]
    record = record_of(read_case(ledger, short))
    assert record.discrepancies[0].is_open  # no step makes a number right
