"""The number words of English, as they are said in a count: the one list for all rooms."""

_ONES = "one two three four five six seven eight nine"
_TEENS = "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen"
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety"

ONES = {word: value for value, word in enumerate(_ONES.split(), start=1)}
TEENS = {word: value for value, word in enumerate(_TEENS.split(), start=10)}
TENS = {word: value * 10 for value, word in enumerate(_TENS.split(), start=2)}
ZERO = "zero"
SPOKEN_ZERO = "oh"
"""Zero inside a number that is said digit by digit ("one oh five")."""
SCALES = ("hundred", "thousand")
PART_WORDS = ("dozen", "half", "point")
"""Words that are said in numbers and that stand for no cardinal below a hundred."""

CARDINALS = {ZERO: 0} | ONES | TEENS | TENS
"""Every cardinal of one word below a hundred."""

LARGEST = 999
"""The largest number that is spelled; nothing in one case is counted into the thousands."""

_WORDS = {value: word for word, value in CARDINALS.items()}


def spell(number: int) -> str:
    """The words for 0..999, as people in the United States say them; digits beyond that."""
    if not 0 <= number <= LARGEST:
        return str(number)
    hundreds, rest = divmod(number, 100)
    words = [f"{_WORDS[hundreds]} hundred"] if hundreds else []
    if rest in _WORDS and (rest or not hundreds):
        words.append(_WORDS[rest])
    elif rest:
        words.append(f"{_WORDS[rest // 10 * 10]} {_WORDS[rest % 10]}")
    return " ".join(words)
