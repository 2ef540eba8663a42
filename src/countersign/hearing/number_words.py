"""The number words of English, as they are spoken in a count."""

_ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen"
    " sixteen seventeen eighteen nineteen"
).split()
_TENS = "_ _ twenty thirty forty fifty sixty seventy eighty ninety".split()

UNITS = tuple(_ONES[1:10])
TEENS = tuple(_ONES[10:20])
TENS = tuple(_TENS[2:])
DIGITS = (*_ONES[:10], "oh")


def spoken_number(value: int) -> str:
    """The words for 0..99 (``twenty one``); ``ValueError`` outside that range."""
    if not 0 <= value <= 99:
        raise ValueError(f"{value} is not between 0 and 99")
    if value < 20:
        return _ONES[value]
    tens, ones = divmod(value, 10)
    return _TENS[tens] if ones == 0 else f"{_TENS[tens]} {_ONES[ones]}"
