"""Words that a recogniser made of talk, so unlikely that to ask about them would only distract."""

from countersign.hearing.utterance import TALK, Utterance

LIKELY = 0.7
"""A word of this confidence may have been said."""


def without_unlikely(utterance: Utterance) -> Utterance:
    """The utterance, or only its talk where that is most of it (by time) and no word is likely.

    The bundled model makes a few words of talk in loud noise; where something was said to the
    count, some word is nearly always likely.
    """
    words = [word for word in utterance.words if word.text != TALK]
    talk = [word for word in utterance.words if word.text == TALK]
    if not words or max(word.confidence for word in words) >= LIKELY:
        return utterance
    whole = utterance.words[-1].end_s - utterance.words[0].start_s
    if sum(word.end_s - word.start_s for word in talk) <= whole / 2:
        return utterance
    only = tuple(word.model_copy(update={"text": TALK}) for word in utterance.words)
    return utterance.model_copy(update={"words": only, "alternatives": ()})
