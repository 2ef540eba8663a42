"""Items: what an item's name does to the count under way."""

from countersign.meaning.event import EventKind
from countersign.meaning.pieces import Piece, numbers_of
from countersign.meaning.questions import doubt
from countersign.meaning.reading.clause import SHORTEST_SEQUENCE, Clause, clause_numbers
from countersign.meaning.reading.closing import close, open_clause
from countersign.meaning.reading.half_heard import is_half_heard
from countersign.meaning.reading.meanwhile import may_be_meanwhile
from countersign.meaning.reading.read_back import disagrees, reads_back
from countersign.meaning.reading.state import State, at_edge, cue_at, kind_at, talk_before
from countersign.meaning.reading.talk import hear_talk, item_in_passing
from countersign.meaning.reading.verdicts import verdict
from countersign.meaning.scene import label, plural
from countersign.number_words import spell


def on_item(state: State, index: int) -> int:
    """The name of an item."""
    piece = state.pieces[index]
    if _is_verdict_about(state, index):
        first = index
        if state.clause is not None and state.clause.item is None:
            # "one needle is missing": the number is of those that are not there
            first = index - (kind_at(state, index - 1) == "run")
            state.taken.update(range(state.clause.start, piece.start))
            state.clause = None
        close(state)
        if not is_asked(state, piece):
            group = state.kit.item(piece.label).group
            verdict(state, state.pieces[index + 1], first, group, item=piece.label)
        return index + 2
    if item_in_passing(state, index):
        hear_talk(state, piece)
        if kind_at(state, index + 1) == "run":
            hear_talk(state, state.pieces[index + 1])
            return index + 2
        return index + 1
    clause = state.clause
    end = reads_back(state, clause, index) if clause is not None else None
    if clause is not None and end is not None:
        clause.end = state.pieces[end - 1].end
        return end
    if clause is not None and _is_of_numbers_before(state, index, clause):
        _name(state, index, clause)
    elif clause is not None and _is_said_again(state, index, clause):
        if not clause.has_numbers or plural(state.scene, piece):
            clause.item = piece
        if clause.talked and clause.verb:
            named = f"{label(state.scene, piece)} was named again after other talk"
            clause.questions.append(doubt(f"{named}; it may be no {clause.kind.value}."))
        # "recount the laps | <talk> laps": it was to be counted, and was named without a number
        clause.tried = clause.tried or clause.soft
        clause.talked = False
        clause.end = piece.end
    else:
        _begin(state, index)
    if piece.label != state.last_item:
        state.last_placed = state.clause is not None and state.clause.place is not None
    state.last_item = piece.label
    return index + 1


def _is_verdict_about(state: State, index: int) -> bool:
    """Whether a verdict follows: "laps are correct"."""
    clause = state.clause
    bare = cue_at(state, index + 1, "BARE")
    whole = cue_at(state, index + 1, "VERDICT") and not cue_at(state, index + 1, "VERDICT recount")
    if not (bare or whole):
        return False
    missing = cue_at(state, index + 1, "BARE not_correct") and kind_at(state, index - 1) == "run"
    loose = clause is None or clause.item is not None or not clause.has_numbers or missing
    return loose or is_asked(state, state.pieces[index])


_BETWEEN = frozenset({"the", "all", "our", "your", "my", "there", "a", "an", "any"})


def is_asked(state: State, piece: Piece) -> bool:
    """Whether "is", "are" before an item makes a question of what follows."""
    at = piece.start - 1
    while at >= 0 and state.doc[at].lower_ in _BETWEEN:
        at -= 1
    if at < 0 or state.doc[at].lower_ not in ("is", "are", "was", "were"):
        return False
    return not at or state.doc[at - 1].lower_ not in ("there", "here", "that", "it", "this")


def _is_of_numbers_before(state: State, index: int, clause: Clause) -> bool:
    """Whether the numbers before an item, or a correction, are about it."""
    if clause.item is not None or clause.talked:
        return False
    if not (clause.has_numbers or clause.kind is EventKind.CORRECTION):
        return False
    if not clause.entries or clause.entries[-1].kind != "pause":
        return True
    # over a pause, only a count that was just counted out belongs to the item after it, and only
    # if the item comes first: "one two | adding laps three", "one | no more laps"
    numbers = [number.value for number in clause_numbers(state.scene, clause)]
    # "one | two | free needle": what "three needles" was heard as
    begun = numbers == [1, 2] and at_edge(state, index + 1)
    return (
        kind_at(state, index - 1) == "pause"
        and kind_at(state, index + 1) != "run"
        and clause.before is None
        and (begun or len(numbers) >= SHORTEST_SEQUENCE)
    )


def _is_said_again(state: State, index: int, clause: Clause) -> bool:
    """Whether an item is only named a second time in its own count."""
    if clause.item is None or clause.item.label != state.pieces[index].label:
        return False
    if not clause.has_numbers:
        if clause.kind is EventKind.CORRECTION and kind_at(state, index - 1) == "pause":
            return False  # "i mean safety pin | safety pins on the mayo two": its number was lost
        # "this kelly is loose | kelly clamps six": named in talk, then counted
        in_talk = "stranger" in (clause.before, clause.after)
        if in_talk and kind_at(state, index - 1) == "pause":
            return False
        return state.verb is None or state.verb.used
    marks = [entry.kind for entry in clause.entries if entry.kind != "pause"]
    if marks[-1:] == ["restart"]:
        return state.verb is None or state.verb.used  # "start over | laps one two three"
    # "laps | one two three four laps"
    behind = kind_at(state, index - 1) == "run" and kind_at(state, index + 1) != "run"
    return behind and not clause.number_first


def _name(state: State, index: int, clause: Clause) -> None:
    """Say of what the open clause is."""
    piece = state.pieces[index]
    clause.item = piece
    clause.start, clause.carry = min(clause.start, piece.start), min(clause.carry, piece.start)
    clause.number_first = clause.has_numbers
    clause.after = None
    clause.end = piece.end
    if clause.number_first and kind_at(state, index - 1) == "pause":
        named = f"{label(state.scene, piece)} was named only after the numbers and a pause."
        clause.questions.append(doubt(named))


def _begin(state: State, index: int) -> None:
    """Begin the count of an item."""
    piece = state.pieces[index]
    clause = state.clause
    one = _lone(state, piece)
    left = _left_alone(state, index)
    before = None
    tried = False
    if clause is not None and clause.item is None and clause.talked and _in_breath(state, index):
        # numbers in talk right before: "five or six needles"; where the talk was not understood,
        # it may stand between the number and its item: "two <talk> needles"
        tried = (
            clause.has_numbers and clause.after == "talk" and kind_at(state, index - 1) == "talk"
        )
        before = "talk" if tried else "stranger"
    from_number = clause.start if tried and clause is not None else None
    if clause is not None and talk_before(state, index) == "stranger":
        _ask_if_it_goes_on(state, index, clause)
    again = disagrees(state, clause, index) if clause is not None else None
    earlier = None
    if may_be_meanwhile(state, index):
        earlier, state.clause = state.clause, None
    close(state)
    clause = open_clause(state, index)
    clause.item, clause.displaced = piece, earlier
    clause.end = piece.end
    if left is not None:
        clause.questions.append(doubt(f"{left} was heard just before and stands alone."))
    clause.questions += [again] if again is not None else []
    if state.doubt is not None:
        clause.questions.append(state.doubt)
        state.doubt = None
    clause.before = clause.before or before
    clause.half = clause.half or is_half_heard(state, index)
    clause.tried = clause.tried or tried
    if from_number is not None:
        clause.start = clause.carry = from_number
    if one is not None:
        clause.entries.append(one)
        clause.number_first = True
        clause.start = min(clause.start, one.start)
        clause.carry = min(clause.carry, one.start)
        # "five laps and a needle" is complete, "five laps | a needle to the field" is not
        if not clause.verb and not cue_at(state, index + 1, "ADD", "REMOVE"):
            close(state)


def _in_breath(state: State, index: int) -> bool:
    """Whether the last number of the open count was said in the same utterance."""
    at = index
    while not at_edge(state, at - 1):
        at -= 1
    start = state.pieces[at].start
    entries = state.clause.entries if state.clause is not None else []
    return any(entry.kind in ("run", "pack") and entry.start >= start for entry in entries)


def _ask_if_it_goes_on(state: State, index: int, clause: Clause) -> None:
    """An item in talk whose numbers go on where the count stood may not have ended the count."""
    counted = clause_numbers(state.scene, clause)
    if not counted or kind_at(state, index + 1) != "run":
        return
    last = counted[-1].value
    if numbers_of(state.doc, state.pieces[index + 1], last)[:1] == [last + 1]:
        named = f"{label(state.scene, state.pieces[index])} was named amid other talk"
        clause.questions.append(doubt(f"{named}, and the numbers went on from {spell(last)}."))


def _left_alone(state: State, index: int) -> str | None:
    """What the clause before an item without a number leaves behind: an item or a number alone."""
    clause = state.clause
    if clause is None or kind_at(state, index + 1) == "run":
        return None
    if clause.item is None:
        return "A number" if clause.has_numbers and clause.inherited is None else None
    if clause.has_numbers or clause.soft or clause.total_next:
        return None
    if clause.kind not in (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL):
        return None
    if clause.place is not None:
        return None  # set up there
    if "stranger" in (clause.before, clause.after):
        return None
    return label(state.scene, clause.item)


def _lone(state: State, piece: Piece) -> Piece | None:
    """The "a" before a single item that is added, removed or listed: it means one."""
    at = piece.start - 1
    one = ("a", "an", "another", "extra")
    if at < 0 or state.doc[at].lower_ not in one or plural(state.scene, piece):
        return None
    if cue_at(state, state.pieces.index(piece) + 1, "PLACE wound"):
        return None  # "there's a lap in the wound"
    clause = state.clause
    listed = clause is not None and clause.item is not None and clause.has_numbers
    verb = state.verb is not None and state.verb.kind is not EventKind.COUNT
    if verb or (listed and clause is not None and not clause.talked):
        return Piece("pack", "one 1", at, piece.start)
    return None
