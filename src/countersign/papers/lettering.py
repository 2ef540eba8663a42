"""Letters on paper: an embedded font, and every character printed, as its number if need be."""

import unicodedata
from functools import cache
from importlib.resources import as_file, files
from xml.sax.saxutils import escape  # nosec B406: nothing is parsed

from reportlab.lib.fonts import addMapping
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR = "DejaVuSansCondensed"
BOLD = "DejaVuSansCondensed-Bold"
LONGEST = 600
"""Texts of people and of speech are cut here on paper; the ledger keeps them whole."""


@cache
def _glyphs() -> frozenset[int]:
    """Registers the fonts once; gives the characters that both faces have."""
    found: list[set[int]] = []
    for name in (REGULAR, BOLD):
        with as_file(files("countersign.papers") / "fonts" / f"{name}.ttf") as path:
            font = TTFont(name, str(path))
        pdfmetrics.registerFont(font)
        found.append(set(font.face.charToGlyph))
    addMapping(REGULAR, 0, 0, REGULAR)
    addMapping(REGULAR, 1, 0, BOLD)
    return frozenset(found[0] & found[1])


def lettered(text: str, most: int = LONGEST) -> str:
    """``text`` as the font can print it, on one line.

    A character that the font lacks, a control, or one of a script written from right to left
    (which would need shaping) stands as its number, ``[U+4E2D]``: nothing is left out unseen.
    """
    glyphs = _glyphs()
    text = " ".join(unicodedata.normalize("NFC", text).split())
    whole = "".join(_letter(char, glyphs) for char in text[:most])
    return whole if len(text) <= most else f"{whole} … (cut; whole in the ledger)"


def _letter(char: str, glyphs: frozenset[int]) -> str:
    steers = unicodedata.category(char).startswith("C")
    right_to_left = unicodedata.bidirectional(char) in ("R", "AL", "AN")
    if steers or right_to_left or ord(char) not in glyphs:
        return f"[U+{ord(char):04X}]"
    return char


def marked_up(text: str, *, bold: bool = False, most: int = LONGEST) -> str:
    """``text`` as a piece of a paragraph's markup: no character of it is taken for a tag."""
    escaped = escape(lettered(text, most))
    return f"<b>{escaped}</b>" if bold and escaped else escaped


def style(size: float, **more: object) -> ParagraphStyle:
    """A paragraph in black, ``size`` points high; long words are broken rather than overflow."""
    _glyphs()
    return ParagraphStyle(
        f"plain-{size}-{sorted(more.items())}",
        fontName=REGULAR,
        fontSize=size,
        leading=size * 1.22,
        splitLongWords=1,
        allowWidows=0,
        allowOrphans=0,
        **more,
    )


def fitted(text: str, size: float, width: float) -> str:
    """``text`` on one line of ``width`` points, cut at its end where it is longer."""
    whole = lettered(text)
    if pdfmetrics.stringWidth(whole, REGULAR, size) <= width:
        return whole
    while whole and pdfmetrics.stringWidth(f"{whole} …", REGULAR, size) > width:
        whole = whole[:-1]
    return f"{whole} …"
