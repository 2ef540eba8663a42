"""Words around a medication that belong to nothing that is said about it."""

from collections.abc import Collection, Iterator, Sequence
from decimal import Decimal

from countersign.hearing.utterance import TALK
from countersign.meaning.cues import FILLERS
from countersign.meaning.medication.amounts import is_unit, unit_at
from countersign.meaning.numbers import decimal_at
from countersign.meaning.words import BREAK

_HARMLESS = frozenset(
    """
    plain total volume amount strength concentration dose lot number expires expired expiration
    expiry exp date time cup cups medicine med basin bowl pitcher syringe vial bottle bag ampule
    ampul jar sterile field table back to from by in into on at for with plus per percent please
    thanks thank you received receiving given giving handed passed label labeled labelled labels no
    not solution irrigation local additive diluent diluted mixed dissolved reconstituted good
    correct
    """.split()
)
"""Words of the trade that are said with a medication and change nothing (common practice)."""


def is_harmless(word: str) -> bool:
    """Whether a word may stand beside a medication without making it talk."""
    return word in FILLERS or word in _HARMLESS


def _utterances(words: Sequence[str]) -> Iterator[range]:
    start = 0
    for at in range(len(words) + 1):
        if at == len(words) or words[at] == BREAK:
            yield range(start, at)
            start = at + 1


def word_of_talk(words: Sequence[str], known: Collection[int]) -> str | None:
    """The first word that is none of ours, in an utterance that says something of a medication.

    ``known`` are the positions that were understood. An utterance of talk alone is passed over.
    """
    for utterance in _utterances(words):
        if not any(at in known for at in utterance):
            continue
        for at in utterance:
            word = words[at]
            if at in known or is_harmless(word):
                continue
            if decimal_at(words, at) is None:
                return word
    return None


def is_led_by_talk(words: Sequence[str], known: Collection[int]) -> bool:
    """Whether a later utterance begins with talk before it says something of a medication.

    "Sterile water five hundred mils expires may | <talk> ninety eight percent" may be of anything.
    """
    return any(
        words[utterance.start : utterance.start + 1] == [TALK]
        and any(at in known for at in utterance)
        for utterance in list(_utterances(words))[1:]
    )


def unplaced_number(words: Sequence[str], known: Collection[int]) -> Decimal | None:
    """A number that belongs to no amount, in an utterance about a medication or of nothing else.

    Talk behind a number that begins its utterance may be the unit.
    """
    for utterance in _utterances(words):
        about = any(at in known or is_unit(words, at) for at in utterance)
        for at in utterance:
            number = decimal_at(words, at) if at not in known else None
            if number is None:
                continue
            rest = [i for i in utterance if not at <= i < number[1]]
            others = {words[i] for i in rest} - FILLERS
            if about or not others or (at == utterance.start and others == {TALK}):
                return number[0]
    return None


def volume_unit_alone(words: Sequence[str], known: Collection[int]) -> bool:
    """Whether a unit of volume stands there that was not understood as part of an amount."""
    return any(at not in known and unit_at(words, at) is not None for at in range(len(words)))
