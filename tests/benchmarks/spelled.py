"""Recognised text as the words that were spoken: numerals spelled out, punctuation gone."""

import re

ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen"
    " sixteen seventeen eighteen nineteen"
).split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()


def number_words(value: int) -> list[str]:
    """``value`` (0 to 999,999) in words, as it is said in a count: 105 is one hundred five."""
    if value < 20:
        return [ONES[value]]
    if value < 100:
        tens, ones = divmod(value, 10)
        return [TENS[tens - 2], *([ONES[ones]] if ones else [])]
    size, name = (100, "hundred") if value < 1000 else (1000, "thousand")
    head, rest = divmod(value, size)
    return [*number_words(head), name, *(number_words(rest) if rest else [])]


def year_words(value: int) -> list[str]:
    """A year from 2010 to 2099 in the usual two halves: 2028 is twenty twenty eight."""
    return [*number_words(value // 100), *number_words(value % 100)]


def spoken_words(text: str) -> list[str]:
    """Lower-case words of ``text``: ``10`` is ten, ``1%`` one percent, ``0.25`` point by point.

    ``1:100,000`` is said with "to", ``mL`` as milliliters; runs such as ``1,2,3`` are a sequence.
    """
    text = text.lower().replace("%", " percent ")
    text = re.sub(r"(?<=\d),(?=\d{3}(?!\d))", "", text)
    text = re.sub(r"(?<=\d)\s*ml\b", " milliliters ", text)
    text = re.sub(r"(?<=\d):(?=\d)", " to ", text)
    words: list[str] = []
    for token in re.findall(r"\d+\.\d+|\.\d+|\d+|[a-z][a-z']*", text):
        if not token[0].isdigit() and token[0] != ".":
            words.append(token.strip("'"))
            continue
        whole, _, decimals = token.partition(".")
        if not decimals and re.fullmatch(r"20[1-9]\d", whole):
            words += year_words(int(whole))
            continue
        if whole and int(whole) > 999_999:
            words += [ONES[int(digit)] for digit in whole]
        elif whole and (int(whole) or not decimals):
            words += number_words(int(whole))
        if decimals:
            words += ["point", *(ONES[int(digit)] for digit in decimals)]
    return words
