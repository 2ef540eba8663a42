"""Utterances that go on with the one before, as in a count spoken slowly.

The decoder starts every utterance afresh. A lone "five" after a pause is then often heard as talk
or as another number, though after "four" nothing else is likely. Where an utterance after an item
or a number does not go on as a count would, it is heard once more together with the words before
it.
"""

from collections.abc import Mapping, Sequence

from countersign.hearing.number_words import spoken_number
from countersign.hearing.tuning import CONTEXT_S, LONGEST_GAP_S, MARGIN_S
from countersign.hearing.utterance import TALK, Word

_LAST = 99
_NUMBERS = {spoken_number(value): value for value in range(_LAST + 1)}


def context_start(
    before: Sequence[Word], words: Sequence[Word], items: Mapping[str, str]
) -> float | None:
    """From which second the sound should be heard again, ``None`` if there is no need.

    ``before`` are the words of the last utterances in order of time, ``words`` those of the new
    one, both with at least one word where they count; ``items`` holds the kit's spoken forms.
    """
    if not before or not words or words[0].start_s - before[-1].end_s > LONGEST_GAP_S:
        return None
    texts = [word.text for word in before]
    if not _breaks_off(_next_words(texts, items), words):
        return None
    earliest = words[-1].end_s - CONTEXT_S
    kept = [word for word in before if word.start_s >= earliest]
    if not any(word.text != TALK for word in kept):
        return None
    return max(0.0, kept[0].start_s - MARGIN_S)


def may_end_line(words: Sequence[str], items: Mapping[str, str]) -> bool:
    """Whether a line may end with these words: a number or an item."""
    return bool(words) and (words[-1] in _NUMBERS or _ends_in_item(words, items))


def _ends_in_item(words: Sequence[str], items: Mapping[str, str]) -> bool:
    longest = max((len(form.split()) for form in items), default=0)
    return any(" ".join(words[-length:]) in items for length in range(1, longest + 1))


def _next_words(texts: Sequence[str], items: Mapping[str, str]) -> list[str] | None:
    """How a count would go on after these words, ``None`` if they do not end inside a count."""
    for length in (2, 1):
        number = _NUMBERS.get(" ".join(texts[-length:])) if len(texts) >= length else None
        if number is not None:
            return spoken_number(number + 1).split() if number < _LAST else None
    return [spoken_number(1)] if _ends_in_item(texts, items) else None


def _breaks_off(expected: Sequence[str] | None, words: Sequence[Word]) -> bool:
    """Whether talk or a number stands where another number was to be expected."""
    if expected is None:
        return False
    texts = [word.text for word in words]
    if texts[: len(expected)] == list(expected):
        return False
    return texts[0] == TALK or texts[0] in _NUMBERS
