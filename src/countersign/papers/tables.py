"""Tables, headings and boxes of a paper, in black on white."""

from collections.abc import Sequence
from typing import Any, Protocol

from reportlab.lib.colors import Color, black
from reportlab.platypus import CondPageBreak, Flowable, LongTable, Spacer, TableStyle

from countersign.papers.lettering import LONGEST, marked_up, style
from countersign.papers.page import MARGIN, PAGES, Mark, Said
from countersign.papers.printing import Size

CELL, SMALL = 8.0, 7.0
_HEADING_NEEDS = 96.0
"""Points: a heading with less than this below it goes to the next page."""
_MOST_TOGETHER = 400.0
"""Points: first rows taller than this are not kept with their heading."""
_SHADE = Color(0.9, 0.9, 0.9)


class Sized(Protocol):
    """Something that is printed on paper of a size."""

    @property
    def size(self) -> Size:
        """The paper."""
        ...


def inner_width(made: Sized) -> float:
    """The width that content has, in points."""
    return float(PAGES[made.size][0]) - 2 * MARGIN


def heading(words: str) -> list[Flowable]:
    """A heading that is never left alone at the foot of a page."""
    return [
        CondPageBreak(_HEADING_NEEDS),
        Spacer(1, 9),
        Said(marked_up(words, bold=True), style(10.5)),
        Spacer(1, 3),
    ]


def headed(made: Sized, words: str, below: LongTable) -> list[Flowable]:
    """A table under its heading, which stays with its head and its first row or two."""
    below.wrap(inner_width(made), 1e6)
    first = sum(below._rowHeights[:3])
    return [CondPageBreak(min(first + 40, _MOST_TOGETHER)), *heading(words)[1:], below]


def sentence(words: str, *marks: Mark, bold: bool = False) -> Flowable:
    """One paragraph."""
    return Said(marked_up(words, bold=bold), style(8.5, spaceAfter=2.5), marks=marks)


def cell(
    words: str,
    *marks: Mark,
    bold: bool = False,
    right: bool = False,
    below: Sequence[tuple[str, bool]] = (),
    most: int = LONGEST,
) -> Said:
    """A cell: words, then smaller lines below them, each bold or not.

    ``most`` is how many characters of ``words`` are shown.
    """
    parts = [marked_up(words, bold=bold, most=most)] if words else []
    parts += [
        f'<font size="{SMALL}">{marked_up(small, bold=is_bold)}</font>' for small, is_bold in below
    ]
    return Said(
        "<br/>".join(parts), style(CELL, **({"alignment": 2} if right else {})), marks=marks
    )


def table(
    made: Sized,
    head: Sequence[str],
    rows: Sequence[Sequence[Any]],
    widths: Sequence[float | None],
    *,
    right: Sequence[int] = (),
    headings: Sequence[int] = (),
) -> LongTable:
    """A ruled table whose head is repeated on every page.

    ``widths`` are points; one that is ``None`` takes what is left. ``right`` are columns of
    numbers. ``headings`` are indices of ``rows`` that hold one text across all columns; none is
    left alone at the foot of a page.
    """
    left = inner_width(made) - sum(width or 0 for width in widths)
    columns = [left if width is None else width for width in widths]
    top = [cell(words, bold=True, right=n in right) for n, words in enumerate(head)]
    whole = [top, *rows]
    commands: list[tuple[Any, ...]] = [
        ("GRID", (0, 0), (-1, -1), 0.4, black),
        ("LINEBELOW", (0, 0), (-1, 0), 1.2, black),
        ("BACKGROUND", (0, 0), (-1, 0), _SHADE),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
        ("NOSPLIT", (0, 0), (-1, min(1, len(whole) - 1))),
    ]
    for index in headings:
        row = index + 1
        commands += [
            ("SPAN", (0, row), (-1, row)),
            ("BACKGROUND", (0, row), (-1, row), _SHADE),
            ("NOSPLIT", (0, row), (-1, min(row + 1, len(whole) - 1))),
        ]
    return LongTable(whole, colWidths=columns, repeatRows=1, style=TableStyle(commands))
