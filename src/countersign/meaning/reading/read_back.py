"""A second voice that repeats what was counted: one count, not two.

One person counts aloud, the other repeats it (common practice, no source). A repeat in an utterance
of its own, right after a complete count, adds nothing where it agrees and is asked about where it
does not.
"""

from countersign.meaning.event import EventKind, Question, QuestionCode
from countersign.meaning.pieces import numbers_of
from countersign.meaning.questions import ask, said
from countersign.meaning.reading.clause import Clause, clause_numbers
from countersign.meaning.reading.state import REPEAT_S, State, kind_at
from countersign.number_words import spell

_ENDS = ("pause", "end")
_REPEATED = (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL)


def reads_back(state: State, clause: Clause, index: int) -> bool:
    """Whether the pieces at ``index`` only repeat the open count.

    They are a number with the item after it, or the item with a number after it, and nothing else
    in the utterance. A number alone stays with the count: more numbers may follow.
    """
    if kind_at(state, index) == "run" and kind_at(state, index + 1) in _ENDS:
        return False
    number = _repeated(state, clause, index)
    return number is not None and number == _quantity(state, clause)


def disagrees(state: State, clause: Clause, index: int) -> Question | None:
    """What to ask where the pieces repeat the open count with another number."""
    number, quantity = _repeated(state, clause, index), _quantity(state, clause)
    if number is None or quantity is None or number == quantity:
        return None
    several = len(clause_numbers(state.scene, clause)) > 1 or quantity == 1
    goes_on = number > quantity and several
    if goes_on and kind_at(state, index) == "run" and kind_at(state, index + 1) in _ENDS:
        return None  # the next number of a count spoken slowly, or one was skipped
    sentence = f"{said(quantity)} was counted, then {spell(number)} was said of the same."
    return ask(QuestionCode.READ_BACK_DISAGREES, sentence)


def _repeated(state: State, clause: Clause, index: int) -> int | None:
    """The single number that is said again, of the open count's item."""
    if kind_at(state, index - 1) != "pause" or state.verb is not None:
        return None
    if clause.item is None or not clause.has_numbers or clause.talked or clause.total_next:
        return None
    if clause.kind not in _REPEATED:
        return None
    if clause.place is not None or clause.part is not None:
        return None
    if any(entry.kind in ("pack", "restart") for entry in clause.entries):
        return None  # a second pack is another pack
    run, last = index, index
    if kind_at(state, index) == "item":
        if state.pieces[index].label != clause.item.label or kind_at(state, index + 1) != "run":
            return None
        run = last = index + 1
    elif kind_at(state, index + 1) == "item":
        if state.pieces[index + 1].label != clause.item.label:
            return None
        last = index + 1
    if kind_at(state, run) != "run" or kind_at(state, last + 1) not in _ENDS:
        return None
    heard = state.scene.heard
    gap = heard[state.pieces[index].start].start_s - heard[clause.end - 1].end_s
    numbers = numbers_of(state.doc, state.pieces[run])
    return numbers[0] if len(numbers) == 1 and gap <= REPEAT_S else None


def _quantity(state: State, clause: Clause) -> int | None:
    totals = [entry for entry in clause.entries if entry.label == "total"]
    if totals:
        return numbers_of(state.doc, totals[-1])[-1]
    numbers = clause_numbers(state.scene, clause)
    return numbers[-1].value if numbers else None
