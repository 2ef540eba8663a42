"""Good inputs made bad, from a seed, so that every try can be made again."""

import random
import struct
from collections.abc import Callable, Sequence

NUMBERS = (0, 1, 2, 3, 7, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF, 0x7FFFFFFF, 0x80000000,
           0xFFFFFFFE, 0xFFFFFFFF)  # fmt: skip
"""Where lengths, rates and counts go wrong."""

ODD_TEXT = ("\x00", "\ufeff", "\u202e", "٣", "½", "1e999", "9" * 5000, "'''", '"""', "[", "]]", "{",
            "\\", "\n", "nan", "-0", "=", "#", "é", "💉", "\ud7ff", "%s", "{{7*7}}")  # fmt: skip


def broken(data: bytes, chance: random.Random) -> bytes:
    """``data`` with one to eight things done to it; half of them near its beginning."""
    made = bytearray(data)
    for _ in range(chance.randint(1, 8)):
        chance.choice(_DEEDS)(made, chance)
    return bytes(made)


def broken_text(text: str, chance: random.Random) -> str:
    """A text with words and lines changed, moved, doubled and lost; still mostly in its shape."""
    lines = text.split("\n")
    for _ in range(chance.randint(1, 6)):
        at = chance.randrange(len(lines))
        match chance.randrange(8):
            case 0:
                del lines[at : at + chance.randint(1, 3)]
            case 1:
                lines.insert(at, chance.choice(lines or [""]))
            case 2:
                lines[at] = _spliced(lines[at], chance.choice(ODD_TEXT), chance)
            case 3:
                lines[at] = _swapped_value(lines[at], chance)
            case 4:
                lines[at] = lines[at][: chance.randint(0, len(lines[at]))]
            case 5:
                lines[at] = _spliced(lines[at], chance.choice(lines), chance)
            case 6:
                chance.shuffle(lines)
            case _:
                lines[at] = lines[at] * chance.choice((2, 3, 200))
        lines = lines or [""]
    return "\n".join(lines)


def _spliced(line: str, piece: str, chance: random.Random) -> str:
    at = chance.randint(0, len(line))
    return line[:at] + piece + line[at:]


def _swapped_value(line: str, chance: random.Random) -> str:
    name, sign, _ = line.partition("=")
    values = ("-1", "0", "1e400", "inf", "nan", "[]", "{}", '""', "true", "1979-05-27", "[[[]]]",
              "9223372036854775808", "9" * 400, '"\\u0000"', '["a", 1, []]')  # fmt: skip
    return f"{name}{sign} {chance.choice(values)}" if sign else line


def _place(made: bytearray, chance: random.Random) -> int:
    near = min(len(made), 200) if chance.random() < 0.5 else len(made)
    return chance.randrange(near) if near else 0


def _flip(made: bytearray, chance: random.Random) -> None:
    if made:
        made[_place(made, chance)] ^= 1 << chance.randrange(8)


def _set(made: bytearray, chance: random.Random) -> None:
    at = _place(made, chance)
    width, order = chance.choice("BHIQ"), chance.choice("<>")
    number = chance.choice(NUMBERS) & ((1 << 8 * struct.calcsize(width)) - 1)
    made[at : at + struct.calcsize(width)] = struct.pack(order + width, number)


def _cut(made: bytearray, chance: random.Random) -> None:
    del made[_place(made, chance) :]


def _lose(made: bytearray, chance: random.Random) -> None:
    at = _place(made, chance)
    del made[at : at + chance.choice((1, 2, 4, 30, 1000))]


def _double(made: bytearray, chance: random.Random) -> None:
    at = _place(made, chance)
    made[at:at] = made[at : at + chance.choice((1, 4, 30, 1000))]


def _noise(made: bytearray, chance: random.Random) -> None:
    at = _place(made, chance)
    made[at : at + 16] = chance.randbytes(16)


def _blank(made: bytearray, chance: random.Random) -> None:
    at, length = _place(made, chance), chance.choice((4, 64, 4096))
    made[at : at + length] = bytes((chance.choice((0, 255)),)) * len(made[at : at + length])


_DEEDS: Sequence[Callable[[bytearray, random.Random], None]] = (
    _flip, _flip, _set, _set, _set, _cut, _lose, _double, _noise, _blank,
)  # fmt: skip
