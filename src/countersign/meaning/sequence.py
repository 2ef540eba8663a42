"""Checks a spoken sequence: counting one by one carries its own redundancy."""

from collections.abc import Sequence
from dataclasses import dataclass

from countersign.meaning.event import Question, QuestionCode
from countersign.meaning.numbers import teen_or_ten
from countersign.meaning.questions import ask, said
from countersign.number_words import spell


@dataclass(frozen=True)
class Counted:
    """What a run of spoken numbers comes to.

    ``quantity`` is the last number; ``numbers`` are those that count (after a restart only the new
    ones, after a read back each number once).
    """

    quantity: int
    numbers: tuple[int, ...]
    questions: tuple[Question, ...] = ()


def _listed(numbers: Sequence[int]) -> str:
    words = [spell(number) for number in numbers]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _skipped(before: int, after: int) -> Question:
    missing = range(before + 1, after)
    if len(missing) > 4:
        names, verb = f"{spell(missing[0])} to {spell(missing[-1])}", "were"
    else:
        names, verb = _listed(missing), "was" if len(missing) == 1 else "were"
    sentence = f"{names} {verb} not heard between {spell(before)} and {spell(after)}."
    return Question(code=QuestionCode.NUMBER_SKIPPED, sentence=sentence[0].upper() + sentence[1:])


def read_back(numbers: Sequence[int]) -> tuple[int, ...] | None:
    """The numbers once each if a second voice repeated every single one, else ``None``.

    A lone "one one" is not taken for a read back: it may be two things counted one at a time.
    """
    half, odd = divmod(len(numbers), 2)
    if odd or not half or list(numbers) == [1, 1]:
        return None
    doubled = all(numbers[i * 2] == numbers[i * 2 + 1] for i in range(half))
    if doubled:
        return tuple(numbers[::2])
    return None


def _read_back_differs(numbers: Sequence[int]) -> Counted | None:
    """The count of the first voice where a second one repeated most numbers, but not all."""
    first, second = numbers[::2], numbers[1::2]
    agree = sum(a == b for a, b in zip(first, second, strict=False))
    if len(first) != len(second) or list(first) != list(range(1, len(first) + 1)):
        return None
    if agree < 2 or agree <= len(first) - agree:
        return None
    questions = [
        ask(
            QuestionCode.READ_BACK_DISAGREES,
            f"{said(counted)} was counted and {spell(repeated)} repeated.",
        )
        for counted, repeated in zip(first, second, strict=True)
        if counted != repeated
    ]
    return Counted(first[-1], tuple(first), tuple(questions))


def check(numbers: Sequence[int], *, restart: int | None = None) -> Counted:
    """Check numbers spoken one after another, in the order heard (at least one).

    ``restart`` is the position where the speaker said to start over; everything before it is
    dropped without a question.
    """
    if restart is not None and restart < len(numbers):
        numbers = numbers[restart:]
    once = read_back(numbers)
    if once is not None:
        numbers = once
    numbers = list(numbers)
    if len(numbers) == 1:
        return Counted(numbers[0], tuple(numbers))
    differs = _read_back_differs(numbers)
    if differs is not None:
        return differs
    questions: list[Question] = []
    if len(numbers) == 2 and teen_or_ten(*numbers):
        first, second = numbers
        return Counted(
            second,
            (second,),
            (
                ask(
                    QuestionCode.TEEN_OR_TEN,
                    f"Both {spell(first)} and {spell(second)} were heard.",
                ),
            ),
        )
    # announced, then counted out: "ten. one two three … ten"
    if numbers[0] != 1 and numbers[1:3] == [1, 2]:
        announced, rest = numbers[0], check(numbers[1:])
        if announced != rest.quantity:
            questions.append(total_disagrees(rest.quantity, announced))
        return Counted(rest.quantity, rest.numbers, (*questions, *rest.questions))
    # started again from one without saying so
    starts = [i for i in range(1, len(numbers)) if numbers[i] == 1 and numbers[i - 1] != 1]
    swapped_start = numbers[:2] == [2, 1] and 1 not in numbers[2:]
    if starts and not swapped_start:
        dropped, kept = numbers[: starts[-1]], numbers[starts[-1] :]
        rest = check(kept)
        questions.append(
            ask(
                QuestionCode.NUMBER_REPEATED,
                f"The count started again at one after {spell(dropped[-1])}; "
                f"{spell(rest.quantity)} was taken.",
            )
        )
        return Counted(rest.quantity, rest.numbers, (*questions, *rest.questions))
    highest, position = numbers[0], 1
    if swapped_start:
        questions.append(ask(QuestionCode.NUMBER_SWAPPED, "Two was heard before one."))
        highest, position = 2, 2
    elif numbers[0] != 1:
        questions.append(
            ask(
                QuestionCode.SEQUENCE_START,
                f"The count was first heard at {spell(numbers[0])}, not at one.",
            )
        )
    seen = set(numbers[:position])
    while position < len(numbers):
        before, now = numbers[position - 1], numbers[position]
        after = numbers[position + 1] if position + 1 < len(numbers) else None
        if now == highest + 1:
            pass
        elif now in seen:
            questions.append(
                ask(QuestionCode.NUMBER_REPEATED, f"{said(now)} was heard more than once.")
            )
        elif after is not None and now == highest + 2 and after == highest + 1:
            questions.append(
                ask(
                    QuestionCode.NUMBER_SWAPPED,
                    f"{said(now)} was heard before {spell(after)}.",
                )
            )
            seen |= {now, after}
            highest = now
            position += 2
            continue
        elif now > highest:
            questions.append(_skipped(highest, now))
        else:
            questions.append(
                ask(
                    QuestionCode.NUMBER_SWAPPED,
                    f"{said(now)} was heard after {spell(before)}, out of order.",
                )
            )
        seen.add(now)
        highest = max(highest, now)
        position += 1
    if numbers[-1] != highest:
        questions.append(
            ask(
                QuestionCode.NUMBER_SWAPPED,
                f"The last number heard is {spell(numbers[-1])}, but {spell(highest)} was heard.",
            )
        )
    return Counted(numbers[-1], tuple(numbers), tuple(dict.fromkeys(questions)))


def total_disagrees(counted: int, total: int) -> Question:
    """The question for a closing total that differs from the numbers counted."""
    return ask(
        QuestionCode.TOTAL_DISAGREES,
        f"Counted up to {spell(counted)}, but the total said was {spell(total)}.",
    )
