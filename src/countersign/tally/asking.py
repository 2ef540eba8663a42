"""Questions about a line that need the numbers before it."""

from dataclasses import dataclass, field

from countersign.kit import Item
from countersign.meaning.event import EventKind, Question, QuestionCode, Spoken
from countersign.tally import sentences
from countersign.tally.drafts import Draft
from countersign.tally.places import OFF_FIELD, WHOLE, WOUND
from countersign.tally.running import Running, Step, opens

_BAGS = (5, 10)
"""Pockets of a counter bag (common practice, no source)."""


@dataclass
class Passing:
    """Questions that a later count of the same sitting does away with, by item: "so far" ones.

    The line that asks them is always the last of those that add up.
    """

    asked: dict[str, tuple[Draft, list[Question]]] = field(default_factory=dict)

    def hand_on(self, item: str) -> Draft | None:
        """Take the questions back from the line before; gives that line."""
        draft, questions = self.asked.pop(item, (None, []))
        if draft is not None:
            for question in questions:
                draft.questions.remove(question)
        return draft

    def keep(self, item: str, draft: Draft, questions: list[Question]) -> None:
        """Remember what a line asks for the time being."""
        self.asked[item] = (draft, questions)


def ask_about_step(
    draft: Draft, item: Item, step: Step, before: Running, after: Running, number: int | None
) -> list[Question]:
    """Ask what the line as heard gives reason to; gives the questions that are only "so far".

    ``after`` are the item's numbers with the step applied, ``number`` what it was counted as.
    """
    passing: list[Question] = []
    if draft.has(QuestionCode.SAID_AGAIN) and step.kind is not EventKind.ADDITION:
        # mostly the second voice. What should be there errs on the side of more: a repeat counted
        # as added shows a difference that is none, one left out could hide what is missing
        draft.waits = True
    match step.kind:
        case EventKind.COUNT:
            passing = _ask_about_count(draft, item, step, before, after, number)
        case EventKind.REMOVAL:
            _ask_about_removal(draft, item, step, before)
        case EventKind.BREAKAGE:
            if not before.expected:
                draft.ask(QuestionCode.IMPLAUSIBLE, sentences.none_to_break(item))
    there = number if step.kind is EventKind.COUNT else after.expected
    _ask_about_size(draft, item, step, there)
    return passing


def _ask_about_count(
    draft: Draft, item: Item, step: Step, before: Running, after: Running, number: int | None
) -> list[Question]:
    if before.is_another_pack(step):
        draft.waits = True
        draft.ask(QuestionCode.COUNT_DISAGREES, sentences.pack_again(item))
        return []
    passing: list[Question] = []
    if number is not None:
        expected = after.expected_now
        if expected is not None and number != expected:
            sentence = (
                sentences.so_far(item, number, expected)
                if step.by_pieces
                else sentences.not_expected(item, number, expected)
            )
            asked = draft.ask(QuestionCode.NOT_EXPECTED, sentence)
            passing += [asked] if step.by_pieces else []
        if after.missing_parts:
            passing.append(
                draft.ask(
                    QuestionCode.COUNT_DISAGREES,
                    sentences.parts_missing(item, after.missing_parts),
                )
            )
        if step.by_pieces and opens(step.phase) and item.pack and number % item.pack:
            passing.append(
                draft.ask(QuestionCode.PACK_SHORT, sentences.packed_so_far(item, number))
            )
    if step.cell != WHOLE:
        there = before.earlier_there(step)
        if there is not None and there != step.quantity:
            where = sentences.where(step.place, step.part)
            draft.ask(
                QuestionCode.COUNT_DISAGREES,
                sentences.there_disagrees(item, step.quantity, there, where),
            )
        elif there is not None and step.part is not None:
            draft.ask(QuestionCode.SAID_AGAIN, sentences.part_again(item, step.part))
        elif there is None and before.may_be_among(step):
            draft.ask(
                QuestionCode.COUNT_DISAGREES,
                sentences.among_these(item, step.quantity, before.last or 0),
            )
    elif not step.by_pieces:
        earlier = before.earlier(step.phase)
        # Whoever asks for a recount knows that the number before may not hold.
        recounted = before.recount_line is not None and number == after.expected_now
        if earlier is not None and earlier != step.quantity and not recounted:
            draft.ask(
                QuestionCode.COUNT_DISAGREES, sentences.disagrees(item, step.quantity, earlier)
            )
    return passing


def _ask_about_removal(draft: Draft, item: Item, step: Step, before: Running) -> None:
    if step.place == WOUND:
        if step.quantity > before.packed:
            draft.ask(
                QuestionCode.IMPLAUSIBLE,
                sentences.not_in_wound(item, step.quantity, before.packed),
            )
    elif before.expected is None:
        draft.ask(QuestionCode.IMPLAUSIBLE, sentences.never_counted(item))
    elif step.quantity > before.expected:
        draft.ask(
            QuestionCode.IMPLAUSIBLE,
            sentences.more_than_there(item, step.quantity, max(before.expected, 0)),
        )


def _ask_about_size(draft: Draft, item: Item, step: Step, there: int | None) -> None:
    added = step.kind is EventKind.ADDITION
    counted = step.kind is EventKind.COUNT
    if there is not None and there > item.most and (added or counted):
        draft.ask(QuestionCode.IMPLAUSIBLE, sentences.more_than_plausible(item, there))
    if step.quantity == 0 and not counted:
        verb = "added" if added else "taken off"
        draft.ask(QuestionCode.IMPLAUSIBLE, f"No {sentences.several(item)} were {verb}?")
    if step.kind is EventKind.BREAKAGE:
        return
    if step.place == OFF_FIELD and step.spoken is Spoken.PACK:
        _ask_about_bag(draft, item, step.quantity)
        return
    _ask_about_pack(draft, item, step)
    opening = added or (counted and opens(step.phase))
    if item.parts and opening and step.cell == WHOLE and step.quantity % len(item.parts):
        draft.ask(QuestionCode.COUNT_DISAGREES, sentences.no_whole_ones(item, step.quantity))


def _ask_about_pack(draft: Draft, item: Item, step: Step) -> None:
    # Only whole packs are opened: a pack, an addition and what the case opens with must fit. Later
    # counts follow additions and removals and are checked against the expected number instead.
    in_packs = (
        step.spoken is Spoken.PACK
        or step.kind is EventKind.ADDITION
        or (step.kind is EventKind.COUNT and opens(step.phase) and not step.by_pieces)
    )
    if item.pack is None or not in_packs or step.quantity % item.pack == 0:
        return
    over = step.quantity > item.pack and step.quantity % item.pack * 2 < item.pack
    draft.waits = True
    draft.ask(
        QuestionCode.PACK_OVER if over else QuestionCode.PACK_SHORT,
        sentences.packed(item, step.quantity),
    )


def _ask_about_bag(draft: Draft, item: Item, quantity: int) -> None:
    size = item.pack if item.pack in _BAGS else min(_BAGS)
    if quantity and quantity % size == 0:
        return
    draft.waits = True
    over = quantity > size and quantity % size * 2 < size
    draft.ask(
        QuestionCode.PACK_OVER if over else QuestionCode.PACK_SHORT,
        sentences.bag(item, quantity, size),
    )
