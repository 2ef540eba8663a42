"""The event that a count becomes, with everything that has to be asked about it."""

from collections.abc import Sequence
from dataclasses import replace

from countersign.hearing.utterance import TALK
from countersign.meaning.event import Event, EventKind, Question, QuestionCode, Spoken
from countersign.meaning.numbers import HOMOPHONES, cardinal, split_run, teen_or_ten
from countersign.meaning.pieces import Piece, numbers_of, words_of
from countersign.meaning.questions import ask, doubt, said
from countersign.meaning.reading.clause import (
    MOVED,
    SHORTEST_SEQUENCE,
    Clause,
    Number,
    clause_numbers,
)
from countersign.meaning.reading.count_place import settle_place
from countersign.meaning.reading.names import (
    after_another_name,
    amid_much_talk,
    before_a_bare_name,
    cut_name,
    several_of_one,
    sound_alike,
)
from countersign.meaning.reading.packs import pack_quantity, packs_uncounted
from countersign.meaning.reading.state import REPEAT_S
from countersign.meaning.scene import (
    Scene,
    is_seconded,
    label,
    low_confidence,
    make_event,
    plural,
    two_or_ten,
)
from countersign.meaning.sequence import Counted, check, total_disagrees
from countersign.meaning.words import BREAK
from countersign.number_words import SCALES, spell

_NEEDS_NO_NUMBER = (EventKind.SET_UP, EventKind.CORRECTION)

_SCALES = frozenset(SCALES)


BLADE_SIZES = frozenset({10, 11, 12, 15, 20, 21, 22, 23})
"""Numbers that name scalpel blades (common practice, no source)."""


def count_event(scene: Scene, clause: Clause) -> Event | None:
    """The event of a clause, ``None`` where it was no count but something said in passing."""
    numbers = _without_read_back(scene, clause, clause_numbers(scene, clause))
    totals = [entry for entry in clause.entries if entry.label == "total"]
    if clause.total_next and not numbers and not totals and clause.item is None:
        return None
    numbers = _pack_counted_out(scene, clause, numbers)
    values = [number.value for number in numbers]
    counted = check(values, restart=_restart_at(clause, numbers)) if values else None
    of_place = settle_place(scene, clause)
    if not _plausible(scene, clause, values, bool(totals), counted):
        return None
    questions = [*_unsettled(clause.questions, values), *of_place]
    quantity: int | None = None
    spoken: Spoken | None = None
    sequence: tuple[int, ...] = ()
    matter: list[int] = []
    if clause.item is not None:
        matter += range(clause.item.start, clause.item.end)
    if counted is not None:
        quantity = counted.quantity
        spoken = Spoken.SEQUENCE if len(counted.numbers) > 1 else Spoken.TOTAL
        questions += _about_sequence(clause, counted)
        sequence = counted.numbers if spoken is Spoken.SEQUENCE else ()
        # in an unbroken sequence the order proves every number but the last
        for number in numbers if counted.questions else numbers[-1:]:
            matter += range(number.start, number.end)
        last = numbers[-1]
        if last.piece.kind == "pack" and len(numbers) == 1:
            quantity, spoken, more = pack_quantity(scene, _item_of(clause), last.piece)
            questions += [*more, *packs_uncounted(scene, last.piece)]
    in_one_breath = not any(entry.kind == "pause" for entry in clause.entries)
    twice = len(values) == 2 and values[0] == values[1] and in_one_breath
    joined = twice and scene.doc[numbers[1].start - 1].lower_ == "and"
    if twice and (clause.number_first or clause.place_closes or joined):
        # a second voice would come after a pause; without one, half a name was heard as a number,
        # or it is "ten and ten", two packs
        sentence = f"{said(values[0])} was heard twice in one breath."
        questions.append(ask(QuestionCode.NUMBER_REPEATED, sentence))
    if values and not totals and _restarted_in_vain(clause, numbers):
        sentence = f"The count was started over after {spell(values[-1])}, and no number came."
        questions.append(ask(QuestionCode.SEQUENCE_CUT_OFF, sentence))
    if clause.cut_off and sequence and not totals:
        sentence = f"{said(sequence[-1])} was followed at once by talk; a number may be missing."
        questions.append(ask(QuestionCode.SEQUENCE_CUT_OFF, sentence))
    if sequence and not totals and clause.item is not None and not clause.number_first:
        questions += before_a_bare_name(scene, numbers[-1].end, said(sequence[-1]))
    if quantity is not None and not sequence and _goes_on(scene, clause, quantity):
        sentence = f"{said(quantity)} was followed at once by talk; a number may be missing."
        questions.append(ask(QuestionCode.SEQUENCE_CUT_OFF, sentence))
    if sequence and (_parted_by_talk(scene, numbers) or _after_a_word(scene, numbers[-1])):
        heard = said(numbers[-1].value)
        questions.append(doubt(f"{heard} was heard after other talk; it may correct the others."))
    for entry in totals:
        matter += range(entry.start, entry.end)
        said_total = numbers_of(scene.doc, entry)
        if not said_total:
            continue
        if quantity is None:
            quantity, spoken = said_total[-1], Spoken.TOTAL
        elif said_total[-1] in (quantity, quantity + clause.elsewhere):
            continue
        elif not (scene.heard[entry.start].is_sound and _outcounted(sequence, said_total[-1])):
            questions.append(_other_total(clause, quantity, said_total[-1]))
    questions += _beyond(scene, clause, quantity)
    questions += _homophones(scene, matter)
    questions += _missing(scene, clause, quantity)
    if clause.before == "talk" and clause.number_first and len(values) == 1 and not clause.verb:
        heard = said(quantity or 0)
        questions.append(doubt(f"{heard} was heard amid other talk; it may not be a count."))
    elif clause.before == "talk" and clause.cut_off and not sequence:
        heard = said(quantity or 0)
        questions.append(doubt(f"{heard} was heard between other talk; it may not be a count."))
    if clause.after == "talk" and clause.number_first and clause.kind is EventKind.COUNT:
        # "four markers bagged": the verb, which was not understood, makes a removal of the count
        heard = said(quantity or 0)
        questions.append(
            doubt(f"{heard} was followed by talk that may say what was done with them.")
        )
    if clause.after == "stranger" and not clause.number_first and values and not totals:
        heard = said(values[-1])
        questions.append(doubt(f"{heard} was followed by other talk; it may be part of that."))
    if counted is not None and clause.item is not None:
        questions += _number_in_name(scene, clause, clause.item, counted)
    if clause.item is not None:
        # the talk beside a name is not kept with an open count, so that its questions are
        beside = [
            *cut_name(scene, clause.item),
            *after_another_name(scene, clause.item),
            *amid_much_talk(scene, clause),
            *sound_alike(scene, clause.item),
        ]
        clause.questions += beside
        questions += beside
        if quantity is not None and spoken is Spoken.TOTAL and clause.part is None:
            questions += several_of_one(scene, clause.item, quantity)
    end = max([clause.end, *(position + 1 for position in matter)])
    if not sequence and clause.kind is EventKind.COUNT:
        beside = [
            *_lost_addition(scene, clause.start),
            *_lost_packs(scene, clause.start),
            *_lost_addition_behind(scene, end),
        ]
        clause.questions += beside
        questions += beside
    proved = _proved(scene, numbers, counted, totals, quantity)
    unproved = [position for position in matter if position not in proved]
    questions += [*low_confidence(scene, unproved), *two_or_ten(scene, matter)]
    questions += _opposite_verb(scene, clause.start, end)
    return make_event(
        scene,
        clause.start,
        end,
        kind=clause.kind,
        item=None if clause.half and quantity is None and clause.item is None else clause.item_id,
        quantity=quantity,
        unit="each" if quantity is not None else None,
        spoken=spoken,
        sequence=sequence,
        place=clause.place,
        part=clause.part,
        matter=matter or range(clause.start, end),
        questions=questions,
    )


def _goes_on(scene: Scene, clause: Clause, quantity: int) -> bool:
    """Whether talk right after a number may be more of it: "thirty <talk>", "pins one <talk>"."""
    several = clause.item is not None and quantity == 1 and plural(scene, clause.item)
    several = several and not clause.number_first and scene.counting
    return clause.cut_off and (several or quantity in range(20, 100, 10))


def _parted_by_talk(scene: Scene, numbers: Sequence[Number]) -> bool:
    """Whether there are two numbers with talk between: "one hypo | <talk> two"."""
    if len(numbers) != 2:
        return False
    between = scene.heard[numbers[0].end : numbers[1].start]
    return any(token.text == TALK for token in between)


def _after_a_word(scene: Scene, number: Number) -> bool:
    """Whether a number is all of its utterance but for a short word of talk: "sorry, five"."""
    at = number.start - 1
    if at < 1 or scene.heard[at].text != TALK or scene.heard[at - 1].text != BREAK:
        return False
    ends = number.end == len(scene.heard) or scene.heard[number.end].text == BREAK
    return ends and scene.heard[at].end_s - scene.heard[at].start_s <= SORRY_S


SORRY_S = 0.5
"""The word that leads a correction is no longer than this."""


def _item_of(clause: Clause) -> Piece | None:
    """The item as it was said, or taken over from the line before: then without words."""
    if clause.item is not None or clause.inherited is None:
        return clause.item
    return Piece("item", clause.inherited, clause.start, clause.start)


def _proved(
    scene: Scene,
    numbers: Sequence[Number],
    counted: Counted | None,
    totals: Sequence[Piece],
    quantity: int | None,
) -> frozenset[int]:
    """The words of an unbroken count from one that need no confidence of their own.

    Its last number, where the open decoding, which does not know the order, is sure of it; last
    number and total, where they agree and the open decoding has the same total.
    """
    if counted is None or counted.questions or counted.numbers[:2] != (1, 2):
        return frozenset()
    last = range(numbers[-1].start, numbers[-1].end)
    proved: set[int] = set()
    if len(counted.numbers) >= SHORTEST_SEQUENCE and is_seconded(scene, last):
        proved.update(last)
    for total in totals:
        within = range(total.start, total.end)
        agrees = numbers_of(scene.doc, total)[-1:] == [quantity]
        if agrees and all(scene.heard[position].seconded > 0 for position in within):
            proved.update(last, within)
    return frozenset(proved)


def _unsettled(questions: Sequence[Question], values: Sequence[int]) -> list[Question]:
    """The questions less those about a repeat that turned out to be the next number of a count."""
    unbroken = len(values) >= SHORTEST_SEQUENCE and list(values) == list(range(1, len(values) + 1))
    if not unbroken:
        return list(questions)
    return [q for q in questions if q.code is not QuestionCode.READ_BACK_DISAGREES]


def _without_read_back(scene: Scene, clause: Clause, numbers: Sequence[Number]) -> Sequence[Number]:
    """The numbers less a last one that only repeats the end of a run: "… four five | five".

    Where each number is an utterance of its own, the same one again may be the next thing.
    """
    if len(numbers) < 3 or numbers[-1].value != numbers[-2].value:
        return numbers
    last, before = numbers[-1], numbers[-2]
    values = [number.value for number in numbers[_restart_at(clause, numbers) or 0 : -1]]
    in_run = sum(number.piece == before.piece for number in numbers) > 1
    apart = any(e.kind == "pause" and before.end <= e.start < last.start for e in clause.entries)
    gap = scene.heard[last.start].start_s - scene.heard[before.end - 1].end_s
    ordered = values == list(range(1, len(values) + 1))
    return numbers[:-1] if in_run and apart and ordered and gap <= REPEAT_S else numbers


def _restart_at(clause: Clause, numbers: Sequence[Number]) -> int | None:
    """The first number after the last "start over"."""
    restarts = [entry.start for entry in clause.entries if entry.kind == "restart"]
    if not restarts:
        return None
    return next((i for i, number in enumerate(numbers) if number.start > restarts[-1]), None)


def _pack_counted_out(scene: Scene, clause: Clause, numbers: Sequence[Number]) -> Sequence[Number]:
    """The numbers, a pack before "one two three …" being of as many as the kit says it holds."""
    named = _item_of(clause)
    item = scene.kit.item(named.label) if named is not None else None
    if len(numbers) < 3 or item is None or item.pack is None:
        return numbers
    first, then = numbers[0], [number.value for number in numbers[1:3]]
    if not first.piece.label.startswith("unsized ") or then != [1, 2]:
        return numbers
    return [replace(first, value=first.value * item.pack), *numbers[1:]]


def _outcounted(sequence: Sequence[int], total: int) -> bool:
    """Whether the order of a count shows that its total is the teen that sounds like this ten."""
    in_order = sequence == tuple(range(1, len(sequence) + 1))
    return in_order and bool(sequence) and teen_or_ten(sequence[-1], total)


def _other_total(clause: Clause, quantity: int, total: int) -> Question:
    """What to ask where the total said is not the number: after "adding two" it may be of all."""
    verb = {EventKind.ADDITION: "added", EventKind.REMOVAL: "taken off"}.get(clause.kind)
    if verb is None and clause.elsewhere:
        sentence = (
            f"{said(quantity + clause.elsewhere)} were counted in all places, "
            f"but the total said was {spell(total)}."
        )
        return ask(QuestionCode.TOTAL_DISAGREES, sentence)
    if verb is None:
        return total_disagrees(quantity, total)
    were = "was" if quantity == 1 else "were"
    sentence = (
        f"{said(quantity)} {were} {verb}, and a total of {spell(total)} was said; "
        "is that what there is now?"
    )
    return ask(QuestionCode.TOTAL_DISAGREES, sentence)


def _restarted_in_vain(clause: Clause, numbers: Sequence[Number]) -> bool:
    """Whether nothing came after "start over"; a bare "again" is said of many things."""
    restarts = [entry for entry in clause.entries if entry.kind == "restart"]
    told = any(entry.end - entry.start > 1 for entry in restarts)
    return told and _restart_at(clause, numbers) is None


# Whether it was a count


def _plausible(
    scene: Scene, clause: Clause, values: list[int], totalled: bool, counted: Counted | None
) -> bool:
    """Whether a clause is a count and not something said in passing."""
    ordinary = (clause.before, clause.after)
    from_one = bool(values) and values[0] == 1 and len(values) >= SHORTEST_SEQUENCE
    if clause.kind is EventKind.CORRECTION:
        return bool(values) or clause.item is not None or clause.half
    if clause.item is None:
        if totalled or (clause.inherited is not None and bool(values)):
            return True
        if clause.kind in MOVED and clause.verb and values and clause.after == "talk":
            return True  # "adding five <talk>": the item was not understood
        if clause.kind in MOVED and clause.verb and any(e.kind == "pack" for e in clause.entries):
            return ordinary == (None, None)  # "adding a pack": of what has to be asked
        if values and scene.counting and ordinary == (None, None):
            return True  # "initial count | five": nothing else was said, so it was of something
        rising = values == list(range(2, len(values) + 2)) and len(values) >= SHORTEST_SEQUENCE
        # "one two <talk>": the item was not understood; nobody says so in passing
        begun = values == [1, 2] and "talk" in ordinary
        if not (from_one or rising or begun) or clause.kind is not EventKind.COUNT:
            return False
        if counted is None or counted.numbers[0] > 2:
            return False
        return not (len(values) == SHORTEST_SEQUENCE and "stranger" in ordinary)
    if clause.kind is EventKind.SET_UP:
        return "stranger" not in ordinary
    if not values and not totalled:
        return _attempted(scene, clause, clause.item)
    if from_one or totalled:
        return True
    if clause.verb and clause.before != "stranger":
        # "passing off five laps now doctor": the verb carries it
        return True
    if clause.before == "stranger":
        return False
    if clause.after == "stranger":
        return len(values) > 1 or (
            not clause.number_first and scene.counting and plural(scene, clause.item)
        )
    return True


def _attempted(scene: Scene, clause: Clause, item: Piece) -> bool:
    """Whether an item without a number was a try at counting it."""
    if "stranger" in (clause.before, clause.after):
        return False
    if clause.half:
        return True
    if clause.soft and not clause.tried:
        return False
    if any(entry.kind == "run" for entry in clause.entries):
        return True  # a figure stood beside it that is no number of a count
    if clause.kind in MOVED:
        # talk after a pause is no part of it
        whole = clause.after == "pause" or (clause.after is None and not clause.talked)
        told = (clause.verb or clause.tried) and whole
        # "added cautery tip", "passed off <talk> cautery tip"
        return plural(scene, item) or (told and _begins(scene, clause.start))
    if clause.tried and clause.before != "stranger" and plural(scene, item):
        return True
    if clause.total_next:
        return True
    if clause.kind is EventKind.COUNT and "talk" in (clause.before, clause.after):
        return scene.counting and clause.before is None
    return scene.counting or plural(scene, item)


def _begins(scene: Scene, start: int) -> bool:
    """Whether an utterance begins at a token."""
    return start == 0 or scene.heard[start - 1].text == BREAK


# What has to be asked

_TAKEN_FOR = {"adding": "bagging", "bagging": "adding", "packed": "bagged", "packing": "bagging"}
"""Verbs that the bundled model hears for one of opposite effect, surely and in both decodings: all
seven wrong lines of 3,219 clean ones that nobody was asked about were of these two kinds
(``python -m tests.benchmarks.lines``)."""

_SURELY_TAKEN = frozenset({"packed", "add"})
"""Of these, what the open decoding was sure of as well."""


def _opposite_verb(scene: Scene, start: int, end: int) -> list[Question]:
    """A question about a verb of sound that may have been the opposite one."""
    asked = []
    for position in range(start, end):
        token = scene.heard[position]
        other = _TAKEN_FOR.get(token.text)
        if token.text == "add" and scene.counting and _begins(scene, position):
            other = "and"  # "and two cautery tips": nothing is added while people count
        sure = token.text not in _SURELY_TAKEN and is_seconded(scene, (position,))
        if other is not None and token.is_sound and not sure:
            asked.append(doubt(f"Heard “{token.text}”, which sounds like “{other}”."))
    return asked


def _lost_addition(scene: Scene, start: int) -> list[Question]:
    """A question where an utterance of sound begins with "that is": the bundled model hears it for
    "adding", in both decodings."""
    # "that is five laps", "that is a pack of five laps"
    starts = (start, start - 2, start - 3)
    first = next((at for at in starts if at >= 0 and _begins(scene, at)), None)
    if first is None or [token.text for token in scene.heard[first : first + 2]] != ["that", "is"]:
        return []
    if not scene.heard[first].is_sound:
        return []
    return [doubt("Heard “that is”, which sounds like “adding”.")]


def _lost_packs(scene: Scene, start: int) -> list[Question]:
    """A question where a number is what a pack holds, and the packs were taken for something else:
    "<label …> barrel two packs of | ten sponges"."""
    before = [token.text for token in scene.heard[max(0, start - 2) : start]]
    if before not in (["pack", "of"], ["packs", "of"]):
        return []
    return [doubt("It was heard behind packs; the number may be what one of them holds.")]


def _lost_addition_behind(scene: Scene, end: int) -> list[Question]:
    """A question where an utterance of sound ends with "and": the bundled model hears it for
    "added", in both decodings, and who goes on does so in the same breath."""
    words = [token.text for token in scene.heard[end : end + 3]]
    words = words[: words.index(BREAK)] if BREAK in words else words
    if words not in (["and"], ["that", "is"]) or not scene.heard[end].is_sound:
        return []
    return [doubt(f"Heard “{' '.join(words)}” at the end, which sounds like “added”.")]


def _about_sequence(clause: Clause, counted: Counted) -> list[Question]:
    if clause.kind is not EventKind.CORRECTION:
        return list(counted.questions)
    return [q for q in counted.questions if q.code is not QuestionCode.SEQUENCE_START]


def _homophones(scene: Scene, matter: Sequence[int]) -> list[Question]:
    tokens = [scene.doc[position] for position in matter]
    return [
        doubt(f"“{token.text}” was heard and taken for {spell(HOMOPHONES.get(token.lower_, 0))}.")
        for token in tokens
        if token._.unproven
    ]


def _beyond(scene: Scene, clause: Clause, quantity: int | None) -> list[Question]:
    """ "two thousand laps", "laps one two 4000": part of what was said is in no number read."""
    if quantity is None:
        return []
    for entry in clause.entries:
        if entry.kind != "run":
            continue
        words = [scene.doc[position]._.number for position in range(entry.start, entry.end)]
        read = {at for _, start, end in split_run(words) for at in range(start, end)}
        left = [word for at, word in enumerate(words) if at not in read and word in _SCALES]
        left += [word for word in words if word and word[0].isdecimal() and cardinal(word) is None]
        if left:
            heard = f"{left[0][:10]}…" if len(left[0]) > 10 else left[0]
            sentence = f"“{heard}” was heard beside {spell(quantity)}; no count is that large."
            return [doubt(sentence)]
    return []


def _missing(scene: Scene, clause: Clause, quantity: int | None) -> list[Question]:
    """Questions for what a count lacks: its number or its item."""
    if clause.item is not None:
        lacks = quantity is None and (clause.tried or not clause.soft)
        if lacks and (clause.renumbers or clause.kind not in _NEEDS_NO_NUMBER):
            sentence = f"{label(scene, clause.item)} was heard, but no number."
            return [ask(QuestionCode.NO_QUANTITY, sentence)]
        return []
    unclear = any(q.code is QuestionCode.UNCLEAR_CORRECTION for q in clause.questions)
    cut = clause.half and (clause.talked or quantity is None) and not unclear
    if clause.kind is EventKind.CORRECTION and cut:
        sentence = "A correction was said, but not all of what is now meant was heard."
        return [ask(QuestionCode.UNCLEAR_CORRECTION, sentence)]
    if clause.inherited is not None or clause.kind is EventKind.CORRECTION:
        return []
    what = "A number" if quantity is None else said(quantity)
    return [ask(QuestionCode.NO_ITEM, f"{what} was heard, but not of what.")]


def _number_in_name(scene: Scene, clause: Clause, item: Piece, counted: Counted) -> list[Question]:
    """ "eight nine ten blades": the number may be the last of the count or part of a name."""
    words = words_of(scene.doc, item)
    if words[-1] == "blade" and clause.number_first and counted.quantity in BLADE_SIZES:
        heard = said(counted.quantity)
        return [doubt(f"{heard} may be the blade's size and not how many there are.")]
    values = [value for value, _, _ in split_run([words[0]])]
    if clause.number_first and len(counted.numbers) > 1 and values == [counted.quantity + 1]:
        return [doubt(f"Heard {spell(counted.quantity)}; it could be {spell(values[0])}.")]
    return []
