"""An item named while another is counted: did it end that count?"""

from countersign.meaning.event import EventKind
from countersign.meaning.pieces import Piece, numbers_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import Clause, clause_numbers
from countersign.meaning.reading.closing import finish
from countersign.meaning.reading.state import State, kind_at
from countersign.meaning.scene import label, plural
from countersign.number_words import spell


def may_be_meanwhile(state: State, index: int) -> bool:
    """Whether an item without a number may have been named while another was counted."""
    clause = state.clause
    if clause is None or clause.item is None or clause.displaced is not None:
        return False
    if clause.kind is EventKind.CORRECTION or state.verb is not None:
        return False
    return kind_at(state, index + 1) in ("pause", "talk", "end") and clause.has_numbers


def settle(state: State, clause: Clause, piece: Piece) -> Clause:
    """Decide by the number that follows: the clause that it belongs to.

    ``clause`` is that of the item named, with the count before it in ``displaced``.
    """
    earlier = clause.displaced
    clause.displaced = None
    if earlier is None or clause.item is None:
        return clause
    counted = [number.value for number in clause_numbers(state.scene, earlier)]
    last = counted[-1] if counted else None
    numbers = numbers_of(state.doc, piece, last) if piece.kind == "run" else []
    goes_on = last is not None and numbers[:1] == [last + 1]
    if earlier.item is not None and earlier.item.label == clause.item.label:
        if goes_on:
            state.clause = earlier  # said again in the middle of its own count
            return earlier
        finish(state, earlier)
        return clause
    # after a lone number a new item's own number often is one more: "kellys one, mixters two"
    if len(counted) == 1 and plural(state.scene, clause.item):
        goes_on = False
    question = doubt(
        f"{label(state.scene, clause.item)} was named while something else was counted up to "
        f"{spell(last or 0)}, and the numbers went on."
    )
    if goes_on and len(numbers) > 1 and len(counted) > 1:
        earlier.questions.append(question)
        earlier.entries.append(Piece("pause", "", piece.start, piece.start))
        earlier.talked = False
        state.clause = earlier
        return earlier
    if goes_on:
        earlier.questions.append(question)
        clause.questions.append(question)
    finish(state, earlier)
    return clause
