"""Numbers: which count a number belongs to, and when it begins a new one."""

from dataclasses import replace

from countersign.meaning.event import EventKind, Question, QuestionCode
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import ask, doubt, said
from countersign.meaning.reading.clause import SHORTEST_SEQUENCE, Clause, clause_numbers
from countersign.meaning.reading.closing import close, open_clause
from countersign.meaning.reading.count_place import OFF_FIELD
from countersign.meaning.reading.groups import group_total
from countersign.meaning.reading.meanwhile import settle
from countersign.meaning.reading.packs import pack_at, pack_is_said
from countersign.meaning.reading.places import inherit_item
from countersign.meaning.reading.read_back import disagrees, reads_back
from countersign.meaning.reading.state import State, Verb, at_edge, cue_at, kind_at, talk_before
from countersign.meaning.reading.talk import hear_talk, number_in_passing
from countersign.meaning.reading.totals import closes_count, counted_elsewhere
from countersign.meaning.scene import label, plural
from countersign.number_words import spell


def on_number(state: State, index: int) -> int:
    """A run of numbers, or a pack."""
    after = group_total(state, index)
    if after is not None:
        return after
    piece, following = pack_at(state, index) or (state.pieces[index], index + 1)
    clause = state.clause
    end = closes_count(state, index)
    if clause is not None and end is not None:
        clause.total_next = True
        _take(state, clause, piece)
        clause.end = state.pieces[end - 1].end
        return end
    if clause is not None and clause.half and _names_its_own(state, index, following):
        close(state)  # "make that <talk> | one marker"
        clause = None
    if clause is not None and clause.kind is EventKind.CORRECTION and not clause.has_numbers:
        clause.entries.append(piece)
        clause.end = piece.end
        return following
    if clause is not None and piece.kind == "run":
        end = reads_back(state, clause, index)
        if end is not None:
            clause.end = state.pieces[end - 1].end
            return end
        again = disagrees(state, clause, index)
        if again is not None and not at_edge(state, following):
            state.doubt = again
        elif again is not None:
            clause.questions.append(again)
    if number_in_passing(state, index, piece, following):
        state.pieces[index] = replace(state.pieces[index], kind="stranger")
        hear_talk(state, piece)
        return following
    if cue_at(state, following, "MORE") and kind_at(state, following + 1) in ("item", "run"):
        # "ten more laps": the word between makes it an addition
        close(state)
        clause = open_clause(state, index)
        clause.kind, clause.verb, clause.more = EventKind.ADDITION, True, True
        clause.entries.append(piece)
        clause.end = piece.end
        return following + 1
    if clause is not None and clause.displaced is not None:
        clause = settle(state, clause, piece)
    if clause is not None and _starts_anew(state, clause, index, piece, following):
        close(state)
        clause = None
    if clause is None:
        clause = open_clause(state, index)
        if state.doubt is not None:
            clause.questions.append(state.doubt)
            state.doubt = None
    _take(state, clause, piece)
    if piece.kind == "run" and cue_at(state, following, "BAG"):
        sentence = f"“{state.doc[piece.start : state.pieces[following].end].text}” was heard, but "
        clause.questions.append(ask(QuestionCode.NO_QUANTITY, f"{sentence}not how many are in it."))
    if piece.label.startswith("bag "):
        if kind_at(state, following) != "item":
            inherit_item(state, clause)
        clause.place, clause.place_closes = clause.place or OFF_FIELD, True
        state.last_placed = True
    elif clause.place is not None and clause.item is None and kind_at(state, following) != "item":
        inherit_item(state, clause)  # "laps on the field two, on the Mayo three"
    return following


def _names_its_own(state: State, index: int, following: int) -> bool:
    """Whether a number at the beginning of an utterance has its item behind it."""
    return at_edge(state, index - 1) and kind_at(state, following) == "item"


def on_pack(state: State, index: int) -> int:
    """A pack without a number before it."""
    if _is_pack_of_last(state, index):
        return on_number(state, index)
    if _is_pack_in_passing(state, index):
        return index + 1
    if pack_is_said(state, index):
        return on_number(state, index)
    if cue_at(state, index, "BAG one") and kind_at(state, index + 1) == "item":
        # "bag of laps, five"
        close(state)
        before = talk_before(state, index)
        start = state.pieces[index].start
        state.verb = Verb(EventKind.COUNT, start, before, place=OFF_FIELD)
    if cue_at(state, index, "BAG many") and kind_at(state, index + 1) == "item":
        sentence = "Bags were heard, but not how many are in one."
        state.doubt = ask(QuestionCode.NO_QUANTITY, sentence)  # "bags of laps, two"
    return index + 1


def _is_pack_in_passing(state: State, index: int) -> bool:
    """Whether a pack is only spoken of after its count ("laps four | the pack is short"): asks."""
    clause, packed = state.clause, pack_at(state, index)
    if clause is None or clause.item is None or not clause.has_numbers or packed is None:
        return False
    piece, following = packed
    if not piece.label.startswith("unsized ") or kind_at(state, following) == "item":
        return False
    heard = " ".join(words_of(state.doc, state.pieces[index]))
    clause.questions.append(doubt(f"“{heard}” was heard after the count; is it right?"))
    return True


def _is_pack_of_last(state: State, index: int) -> bool:
    """Whether a pack is all that was added or passed off: "laps five | adding a pack"."""
    verb = state.verb
    moved = verb is not None and verb.kind is not EventKind.COUNT and not verb.used
    first = index
    while cue_at(state, first - 1, "ADD", "REMOVE", "MORE"):
        first -= 1
    packed = pack_at(state, index)
    whole = at_edge(state, first - 1) and packed is not None and at_edge(state, packed[1])
    return moved and first < index and whole


def _take(state: State, clause: Clause, piece: Piece) -> None:
    """Add a number to a clause."""
    if clause.total_next:
        piece = replace(piece, label="total") if piece.kind == "run" else piece
        clause.total_next = False
        clause.elsewhere = counted_elsewhere(state, clause)
    named_in_talk = "stranger" in (clause.before, clause.after) and not clause.verb
    if clause.item is not None and not clause.has_numbers and named_in_talk:
        named = f"{label(state.scene, clause.item)} was named in talk"
        clause.questions.append(doubt(f"{named}; the numbers may be of something else."))
    clause.entries.append(piece)
    clause.after, clause.cut_off, clause.talked = None, False, False
    clause.end = piece.end


def _behind_a_group(state: State, clause: Clause) -> bool:
    """Whether a number stands behind the name of a group: "<talk> sponges five"."""
    if clause.start <= state.pieces[0].start:
        return state.before.carried.named
    return any(piece.kind == "group" and piece.end == clause.start for piece in state.pieces)


def _starts_anew(state: State, clause: Clause, index: int, piece: Piece, following: int) -> bool:
    """Whether a number belongs to a new clause and not to the open one."""
    if clause.total_next:
        return False
    if piece.label.startswith("bag ") and clause.has_numbers and clause.place == OFF_FIELD:
        return not _counts_out(state, clause, piece, following)
    if clause.place_closes:
        return not _counts_out(state, clause, piece, following)
    if _is_elsewhere(state, clause, index, following):
        return True
    counted = clause_numbers(state.scene, clause)
    last = counted[-1].value if counted else None
    first = (numbers_of(state.doc, piece, last) or [0])[0] if piece.kind == "run" else 0
    continues = last is not None and first == last + 1
    length = len(numbers_of(state.doc, piece))
    next_item = kind_at(state, following) in ("item", "part")
    item_counts_on = next_item and kind_at(state, following + 1) == "run"
    if clause.talked:
        if continues and next_item and length == 1 and not item_counts_on:
            several = last != 1 or (clause.item is not None and plural(state.scene, clause.item))
            if several and _may_go_on(state, clause, piece):
                return _belongs_to_either(state, clause, first)
            return True
        alone = kind_at(state, index - 1) == "pause" and kind_at(state, following) in (
            "pause",
            "end",
        )
        hidden = clause.after == "talk" and clause.item is not None and not next_item
        if last is not None and first > last + 1 and (alone or hidden):
            sentence = f"{said(first)} was heard after other talk, and {spell(last)} before it."
            clause.questions.append(doubt(sentence))
        if _says_last_again(last, numbers_of(state.doc, piece, last), next_item=next_item):
            sentence = f"{said(first)} was heard again after other talk, and the numbers went on."
            clause.questions.append(doubt(sentence))
            return False
        if _goes_on_after_talk(clause, last, numbers_of(state.doc, piece), next_item=next_item):
            if length == 1 or first == 1:  # several that begin at two ask by themselves
                clause.questions.append(_talk_before_numbers(state, clause))
            return False
        return not continues and _starts_after_talk(state, clause, first, length, next_item)
    if clause.item is None:
        # "no eleven | twelve kellys"
        corrects = clause.kind is EventKind.CORRECTION and clause.has_numbers
        # "<talk> one two total two | two hypos": its total closed the count of what was not heard
        totalled = clause.before == "talk" and any(e.label == "total" for e in clause.entries)
        # "<talk> five | five safety pins": the number of what was not heard
        led = clause.before == "talk" or _behind_a_group(state, clause)
        other = led and len(counted) == length == 1 and not continues
        paused = kind_at(state, index - 1) == "pause"
        return (corrects or totalled or other) and next_item and paused
    if clause.number_first:
        return next_item
    paused = kind_at(state, index - 1) == "pause"
    if not clause.has_numbers:
        in_talk = "stranger" in (clause.before, clause.after)
        again = next_item and state.pieces[following].label == clause.item.label and not in_talk
        return next_item and paused and not (item_counts_on or again)
    if not (next_item and paused) or item_counts_on:
        return False
    if length == 1 and not (continues and len(counted) > 1 and _may_go_on(state, clause, piece)):
        return True
    if continues and length == 1:
        return _belongs_to_either(state, clause, first)
    return not continues


def _may_go_on(state: State, clause: Clause, piece: Piece) -> bool:
    """Whether a number before another item's name may be the next of the count before it.

    It is not where that count was closed by its total or a repeat, gave its number first or only
    one that is not one, or where the number is led by "I have".
    """
    values = [number.value for number in clause_numbers(state.scene, clause)]
    closed = any(entry.label == "total" for entry in clause.entries) or clause.number_first
    repeated = len(values) > 1 and values[-1] == values[-2]
    led = piece.start > 0 and state.doc[piece.start - 1].lower_ in ("have", "got")
    return (values[:1] == [1] or len(values) > 1) and not (closed or repeated or led)


def _is_elsewhere(state: State, clause: Clause, index: int, following: int) -> bool:
    """Whether a number begins an utterance and has a place of its own: "and two in the wound"."""
    if clause.item is None or not clause.has_numbers or kind_at(state, index - 1) != "pause":
        return False
    if not cue_at(state, following, "PLACE") or kind_at(state, following + 1) not in (
        "pause",
        "end",
    ):
        return False
    return state.pieces[following].label != f"PLACE {clause.place}"


def _counts_out(state: State, clause: Clause, piece: Piece, following: int) -> bool:
    """Whether what was said to be in a bag is now counted one by one."""
    if clause.entries[-1].kind != "pause" or not any(e.kind == "pack" for e in clause.entries):
        return False
    numbers = numbers_of(state.doc, piece)
    return numbers[:2] == [1, 2] and kind_at(state, following) != "item"


def _belongs_to_either(state: State, clause: Clause, first: int) -> bool:
    """ "… six seven | eight laps": one more of the first, or eight of the second."""
    question = doubt(f"{said(first)} may belong to the item before it or after it.")
    clause.questions.append(question)
    state.doubt = question
    return True


def _talk_before_numbers(state: State, clause: Clause) -> Question:
    named = label(state.scene, clause.item) if clause.item is not None else "the item"
    return doubt(f"Talk was heard between {named} and its numbers.")


def _says_last_again(last: int | None, numbers: list[int], *, next_item: bool) -> bool:
    """Whether a count goes on from its last number: "… two three <talk> three four five"."""
    if last is None or next_item or len(numbers) < 2:
        return False
    return last > 1 and numbers == list(range(last, last + len(numbers)))


def _goes_on_after_talk(
    clause: Clause, last: int | None, numbers: list[int], *, next_item: bool
) -> bool:
    """Whether rising numbers after talk belong to the count before it: the talk hides the others.

    "blade one <talk> three four five", "hypo <talk> two three", "hypo <talk> one two".
    """
    if clause.after != "talk" or clause.item is None or next_item:
        return False
    if last is None:
        return numbers[:1] in ([1], [2])
    rising = numbers == list(range(numbers[0], numbers[0] + len(numbers))) if numbers else False
    return rising and len(numbers) > 1 and numbers[0] > last + 1


def _starts_after_talk(
    state: State, clause: Clause, first: int, length: int, next_item: bool
) -> bool:
    """Whether numbers that do not go on after talk begin a new clause."""
    from_one = first == 1 and length >= SHORTEST_SEQUENCE
    if clause.item is not None and not clause.has_numbers:
        if from_one and not next_item:
            clause.questions.append(_talk_before_numbers(state, clause))
            return False
        clause.tried = clause.tried or not (clause.soft and next_item)
    elif clause.has_numbers and from_one:
        if not next_item and len(clause_numbers(state.scene, clause)) == 1:
            # "peanuts five | <talk> one two three": no sequence that was interrupted
            clause.questions.append(_talk_before_numbers(state, clause))
        return next_item  # started again after an interruption
    return True
