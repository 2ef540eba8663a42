"""Which line a correction strikes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Question,
    QuestionCode,
    Spoken,
)
from countersign.tally.running import TALLIED

_MEDICATION = frozenset({EventKind.RECEIPT, EventKind.LABEL, EventKind.DRAW})
_EFFECTIVE = TALLIED | _MEDICATION | {EventKind.SET_UP, EventKind.VERDICT}


@dataclass
class Heard:
    """What a line does to the record, as heard.

    ``strikes`` and ``struck_by`` are line numbers. ``passed_over`` is the number of a later line
    that the correction may have meant instead. ``repeats`` marks a correction of a line that may
    only repeat the one before it, ``in_vain`` one that found nothing.
    ``questions`` were asked about the line struck, and about what a correction takes over from it.
    """

    kind: EventKind | None
    item: str | None
    quantity: int | Decimal | None
    spoken: Spoken | None
    place: str | None = None
    part: str | None = None
    strikes: int | None = None
    struck_by: int | None = None
    passed_over: int | None = None
    repeats: bool = False
    in_vain: bool = False
    questions: tuple[Question, ...] = ()


@dataclass
class _Stacks:
    """Effective lines by what a correction can name, latest last."""

    every: list[int] = field(default_factory=list)
    by_item: dict[str, list[int]] = field(default_factory=dict)
    by_kind: dict[EventKind, list[int]] = field(default_factory=dict)
    phase: int = 0
    """The last line that announced a count, which no correction strikes."""

    def push(self, number: int, line: Heard, *, again: bool = False) -> None:
        """Add a line; ``again`` if it may only repeat one before, which is then the one meant."""
        self.every.append(number)
        if again and line.kind is EventKind.RECEIPT and self._has(line):
            return
        if line.item is not None:
            self.by_item.setdefault(line.item, []).append(number)
        if line.kind is not None:
            self.by_kind.setdefault(line.kind, []).append(number)

    def _has(self, line: Heard) -> bool:
        return line.item is None or bool(self.by_item.get(line.item))


def follow_corrections(events: Sequence[Event], set_aside: frozenset[int]) -> list[Heard]:
    """What every line does, with corrections carried out.

    ``set_aside`` are the numbers of lines that a person set aside. Corrections among them never
    happened, and lines that only said again what was said before are passed over: the line that
    they repeat is then the one meant.

    A correction that names an item strikes the last line of that item, at the place and of the part
    that it names if there is one, or the last line where there is none and the number is the same;
    one with only a quantity strikes the last count, addition, removal or breakage; one about a
    medication (a strength, a volume, a date) the last line about that medication, or about any; a
    bare one strikes the last line that has any effect. With a quantity or something said of a
    medication it then stands in for the line it strikes, and takes over what it does not say
    itself. Struck lines are passed over, so that "strike that" said twice goes back two lines.
    """
    lines: list[Heard] = []
    stacks = _Stacks()

    def latest(stack: list[int]) -> int | None:
        while stack and lines[stack[-1] - 1].struck_by is not None:
            stack.pop()
        return stack[-1] if stack else None

    for number, event in enumerate(events, start=1):
        line = Heard(event.kind, event.item, event.quantity, event.spoken, event.place, event.part)
        lines.append(line)
        if event.kind is EventKind.CORRECTION:
            line.kind = None
            if number in set_aside:
                continue
            _correct(number, events, lines, stacks, latest)
        if line.kind is EventKind.PHASE and number not in set_aside:
            stacks.phase = number
        if line.kind in _EFFECTIVE and not (number in set_aside and _said_again(event)):
            again = event.medication is not None and event.medication.read_back
            stacks.push(number, line, again=again)
    return lines


def _said_again(event: Event) -> bool:
    return any(question.code is QuestionCode.SAID_AGAIN for question in event.questions)


def _correct(
    number: int,
    events: Sequence[Event],
    lines: list[Heard],
    stacks: _Stacks,
    latest: Callable[[list[int]], int | None],
) -> None:
    event, line = events[number - 1], lines[number - 1]
    last = latest(stacks.every)
    if event.item is not None:
        stack = stacks.by_item.get(event.item, [])
        target = latest(stack)
        if target is None and event.medication is not None:
            target = _latest_medication(stacks, latest)
        if target is not None and (event.place is not None or event.part is not None):
            target = _latest_there(event, stack, lines) or target
        if target is None and event.medication is None:
            target = _misnamed(event, last, lines)
    elif event.verdict is not None:
        target = latest(stacks.by_kind.get(EventKind.VERDICT, []))
    elif event.medication is not None or (
        event.quantity is not None and event.unit not in (None, "each")
    ):
        target = _latest_medication(stacks, latest)
    elif event.quantity is not None:
        found = (latest(stacks.by_kind.get(kind, [])) for kind in TALLIED)
        target = max((at for at in found if at is not None), default=None)
        if event.place is not None or event.part is not None:
            tallied = [at for at in stacks.every if lines[at - 1].kind in TALLIED]
            target = _latest_there(event, tallied, lines) or target
    else:
        target = last
    if target is None:
        line.in_vain = True
        if event.item is not None and event.quantity is not None and event.medication is None:
            line.kind = EventKind.COUNT
        return
    struck = lines[target - 1]
    struck.struck_by = number
    line.strikes = target
    line.repeats = _said_again(events[target - 1])
    if target != last:
        line.passed_over = last
    elif event.item is None and stacks.phase > target:
        line.passed_over = stacks.phase
    if event.medication is not None and struck.kind in _MEDICATION:
        line.quantity = event.quantity if event.quantity is not None else struck.quantity
        line.questions = _still_asked(
            event.medication, (*events[target - 1].questions, *struck.questions)
        )
    if event.quantity is not None or event.verdict is not None or event.medication is not None:
        line.kind = struck.kind
        line.item = event.item or struck.item
        line.spoken = event.spoken or struck.spoken
        line.place = event.place or struck.place
        line.part = event.part or struck.part


def _misnamed(event: Event, last: int | None, lines: list[Heard]) -> int | None:
    """The last line, where a correction gives it another item: "five laps", "I mean five raytecs".

    Without a number it may only strike ("cancel the raytecs"), and another number is a line anew.
    """
    if last is None or lines[last - 1].kind not in TALLIED or event.quantity is None:
        return None
    return last if event.quantity == lines[last - 1].quantity else None


def _latest_medication(stacks: _Stacks, latest: Callable[[list[int]], int | None]) -> int | None:
    found = (latest(stacks.by_kind.get(kind, [])) for kind in _MEDICATION)
    return max((at for at in found if at is not None), default=None)


_ANSWERED = {
    QuestionCode.STRENGTH_MISSING: "strength",
    QuestionCode.TEEN_OR_TEN: "volume_ml",
    QuestionCode.NO_QUANTITY: "volume_ml",
    QuestionCode.EXPIRY_PAST: "expiry",
    QuestionCode.EXPIRY_UNREADABLE: "expiry",
    QuestionCode.NO_ITEM: "name",
}
"""What a correction has to say of a medication so that a question is answered."""


def _still_asked(said: MedicationDetail, questions: Sequence[Question]) -> tuple[Question, ...]:
    """The questions about the line struck that what is said now does not answer.

    What a label lacks is asked again by the medication account.
    """
    return tuple(
        question
        for question in dict.fromkeys(questions)
        if question.code is not QuestionCode.LABEL_INCOMPLETE
        and (question.code not in _ANSWERED or getattr(said, _ANSWERED[question.code]) is None)
    )


def _latest_there(event: Event, stack: list[int], lines: list[Heard]) -> int | None:
    """The last line of an item, not struck, at the place and of the part that was said."""
    for number in reversed(stack):
        line = lines[number - 1]
        if (
            line.struck_by is None
            and event.place in (None, line.place)
            and event.part in (None, line.part)
        ):
            return number
    return None
