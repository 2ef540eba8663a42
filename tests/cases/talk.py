"""Speech in the room that is no part of a count. Invented; common practice, no source."""

import random

PLAIN = (
    "can you turn the lights up a little",
    "i need more suction here",
    "the pathologist will call back in a while",
    "could somebody answer that phone please",
    "how was your vacation",
    "let me see the cord again",
    "bring the table toward me",
    "retract a bit more toward you",
    "that looks much better now",
    "is the next patient here already",
    "we should order lunch after this",
    "the monitor is beeping again",
    "can anesthesia lower the table",
    "who is on call tonight",
    "dry here please",
    "irrigate over there",
)
NUMBERED = (
    "blood pressure is one twenty over eighty",
    "heart rate is seventy two",
    "room three is running twenty minutes late",
    "it is ten thirty already",
    "saturation is ninety eight percent",
    "my daughter turns seven on saturday",
    "the patient weighs eighty kilos",
    "i have been here since six this morning",
    "gloves size seven and a half please",
    "we started at eight fifteen",
)
MENTIONS = (
    "can i have a {one} please",
    "where did that {one} go",
    "i like this {one} better",
    "hand me the {one} again please",
    "this {one} is not holding well",
    "could you wet the {one} for me",
)


def plain(rng: random.Random) -> str:
    """Talk without a number and without an item."""
    return rng.choice(PLAIN)


def numbered(rng: random.Random) -> str:
    """Talk with a number in it."""
    return rng.choice(NUMBERED)


def mention(rng: random.Random, one: str) -> str:
    """Talk that names an item; ``one`` is its singular."""
    return rng.choice(MENTIONS).format(one=one)
