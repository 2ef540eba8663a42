"""Words that a recogniser made of talk, so unlikely that to ask about them would only distract."""

from collections.abc import Sequence

from countersign.hearing.utterance import TALK, Utterance
from countersign.meaning.cues import FILLERS
from countersign.meaning.numbers import is_number_word

LIKELY = 0.7
"""A word of this confidence may have been said."""


SHORT_S = 1.5
"""A line of the count may be as short; talk of others mostly is longer."""

MOST_TALK = 3
"""Words of talk beside a number in a line of the count of which the name was not understood."""


def without_unlikely(utterance: Utterance, *, counting: bool = False) -> Utterance:
    """The utterance, or only its talk where that is most of it (by time) and no word is likely.

    The bundled model makes a few words of talk in loud noise; where something was said to the
    count, some word is nearly always likely. While a count goes on (``counting``), a little talk
    that a number begins or ends stays as it is: "two <talk>" is what is left of a short line. So
    does what is no longer than a short line, and talk that "one" ends: more numbers may follow.
    """
    words = [word for word in utterance.words if word.text != TALK]
    talk = [word for word in utterance.words if word.text == TALK]
    if not words or max(word.confidence for word in words) >= LIKELY:
        return utterance
    whole = utterance.words[-1].end_s - utterance.words[0].start_s
    if sum(word.end_s - word.start_s for word in talk) <= whole / 2:
        return utterance
    if counting and whole <= SHORT_S:
        return utterance
    begins = utterance.words[-1].text == "one"
    if (counting or begins) and _is_of_a_line([word.text for word in utterance.words]):
        return utterance
    only = tuple(word.model_copy(update={"text": TALK}) for word in utterance.words)
    return utterance.model_copy(update={"words": only, "alternatives": ()})


def _is_of_a_line(words: Sequence[str]) -> bool:
    """Whether there is a little talk, with nothing but numbers before it or after it, led by an
    "okay" or not.
    """
    if words[0] in FILLERS and is_number_word(words[-1]):
        words = words[1:]
    talk = [at for at, word in enumerate(words) if word == TALK]
    if len(talk) > MOST_TALK or talk[-1] - talk[0] != len(talk) - 1:
        return False
    before, after = words[: talk[0]], words[talk[-1] + 1 :]
    return not (before and after) and all(is_number_word(word) for word in (*before, *after))
