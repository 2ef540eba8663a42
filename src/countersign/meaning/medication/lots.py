"""Lots: single letters, digits and spelled digits."""

from collections.abc import Sequence

from countersign.meaning.medication.amounts import strength_at, volume_at
from countersign.meaning.numbers import ONES, ZEROS, decimal_at


def lot_at(words: Sequence[str], start: int) -> tuple[str, int, bool]:
    """A lot that begins at ``start`` (empty if none does), where it ends, and whether that is sure.

    Letters, digits and spelled digits, or one written word of both. It is not sure where an amount
    of several number words follows a figure: "lot four twenty five milliliters".
    """
    lot = ""
    position = start
    sure = True
    while position < len(words):
        word = words[position]
        amount = volume_at(words, position) or strength_at(words, position)
        if amount is not None:
            number = decimal_at(words, position)
            several = number is not None and number[1] > position + 1
            sure = not (several and lot[-1:].isdigit())
            break
        if word in ONES:
            lot += str(ONES[word])
        elif word in ZEROS:
            lot += "0"
        elif _is_piece(word) and (len(word) == 1 or word.isdigit() or not lot):
            lot += word.upper()
        else:
            number = decimal_at(words, position)
            if number is None or "." in str(number[0]) or number[1] == position:
                break
            lot += str(number[0])
            position = number[1]
            continue
        position += 1
    return lot, position, sure


def _is_piece(word: str) -> bool:
    return word.isalnum() and (len(word) == 1 or any(sign.isdigit() for sign in word))
