"""Words that a spoken form cannot consist of, because they already mean something in a count."""

from countersign.number_words import CARDINALS, PART_WORDS, SCALES, SPOKEN_ZERO

NUMBER_WORDS = frozenset(
    [
        *(*CARDINALS, SPOKEN_ZERO, *SCALES, *PART_WORDS),
        *("percent", "and", "a", "an", "pair", "couple"),
    ]
)
"""Words that numbers are said with; hyphens count as blanks (``twenty-one``)."""

COMMAND_WORDS = frozenset(
    [
        *("strike", "scratch", "cancel", "correction", "sorry", "wait", "no", "not", "yes", "that"),
        *("i", "mean", "make", "it", "correct", "incorrect", "recount", "count", "counts", "is"),
        *("are", "the", "of", "on", "in", "to", "add", "adding", "added", "more", "plus", "pass"),
        *("passed", "passing", "off", "bag", "bagged", "bagging", "remove", "removed", "minus"),
        *("initial", "first", "relief", "closing", "close", "cavity", "skin", "final", "total"),
        *("pack", "packs", "label", "labeled", "labelled", "drawing", "draw", "drawn", "received"),
    ]
)
"""Words the two people steer the count with: corrections, phases, verdicts, additions, removals."""


def is_number(form: str) -> bool:
    """Whether a form consists of nothing but number words."""
    words = form.replace("-", " ").split()
    return bool(words) and all(word in NUMBER_WORDS for word in words)


def is_command(form: str) -> bool:
    """Whether a form consists of nothing but words that steer the count."""
    words = form.split()
    return bool(words) and all(word in COMMAND_WORDS | NUMBER_WORDS for word in words)
