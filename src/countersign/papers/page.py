"""The page: what stands at the head and foot of every one, and how flowing content is placed."""

import io
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from reportlab.lib.colors import black, white
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, PageTemplate, Paragraph

from countersign.caution import NOT_CONFIRMED, TWO_PEOPLE
from countersign.papers.lettering import BOLD, REGULAR, fitted, marked_up, style
from countersign.papers.printing import Printing, Size
from countersign.screen import ranges
from countersign.tally.record import Line
from countersign.wording import is_confirmed

PAGES = {Size.A4: A4, Size.LETTER: LETTER}
MARGIN = 36.0
HEAD, FOOT = 68.0, 52.0
"""Points kept free inside the margins for the head and the foot of a page."""
_MOST_RANGES = 110
SUBJECT = "countersign paper 1"
"""Begins the subject of every paper; what follows is one JSON object (:class:`Seal`)."""


@dataclass(frozen=True)
class Mark:
    """What a piece of a page says: a line of the record, or something else that is open.

    ``standing`` is false for a line that is struck or set aside and no part of the count.
    """

    confirmed: bool
    line: int | None = None
    words: str = ""
    standing: bool = True


def mark_of(line: Line) -> Mark:
    """The mark of a line."""
    return Mark(
        confirmed=is_confirmed(line),
        line=line.number,
        standing=line.state not in ("struck", "set_aside"),
    )


class Said(Paragraph):  # type: ignore[misc]
    """A paragraph that tells the page on which it is drawn what it is about."""

    def __init__(self, text: Any, style: Any, *args: Any, **more: Any) -> None:
        """As a paragraph; ``marks`` are what it is about."""
        self.marks: tuple[Mark, ...] = more.pop("marks", ())
        super().__init__(text, style, *args, **more)

    def split(self, width: float, height: float) -> list[Any]:
        """Both halves are about the same."""
        halves = super().split(width, height)
        for half in halves:
            half.marks = self.marks
        return list(halves)

    def draw(self) -> None:
        """Draw, and leave the marks with the page."""
        self.canv.page_marks.update(self.marks)
        super().draw()


def page_words(marks: set[Mark], confirmed: int, lines: int) -> tuple[str, bool]:
    """What the head of a page says about its content, and whether anything is not confirmed."""
    of_case = f"{confirmed} of {lines} lines of the case are confirmed"
    waiting = sorted({m.line for m in marks if m.line and not m.confirmed and m.standing})
    aside = sorted({m.line for m in marks if m.line and not m.confirmed and not m.standing})
    other = sorted({m.words for m in marks if not m.confirmed and m.words})
    parts = []
    if waiting:
        parts.append(f"line{'s' if len(waiting) > 1 else ''} {_short(waiting)}")
    parts += other
    if parts:
        tail = f" Struck or set aside: {_short(aside)}." if aside else ""
        return f"{NOT_CONFIRMED} on this page: {'; '.join(parts)}.{tail} {of_case}.", True
    if aside:
        return (
            f"{NOT_CONFIRMED} on this page: only what was struck or set aside and is no part of "
            f"the count (line{'s' if len(aside) > 1 else ''} {_short(aside)}). {of_case}.",
            True,
        )
    here = {m.line for m in marks if m.line}
    if here:
        number = "The one line" if len(here) == 1 else f"All {len(here)} lines"
        verb = "is" if len(here) == 1 else "are"
        return f"{number} on this page {verb} confirmed; {of_case}.", False
    return f"No line of the record stands on this page; {of_case}.", False


def _short(numbers: list[int]) -> str:
    words = ranges(numbers)
    if len(words) <= _MOST_RANGES:
        return words
    cut = words[:_MOST_RANGES].rpartition(",")[0]
    return f"{cut} and more, {len(numbers)} in all"


def seal(made: Printing, form: str) -> str:
    """The subject of the PDF: which content it shows, so that it can be checked."""
    return f"{SUBJECT} " + json.dumps(
        {
            "form": form,
            "case": made.history.case_id,
            "entries": made.entries,
            "sha256": made.sha256,
            "printed_at": made.printed_at.isoformat(),
            "size": made.size.value,
            "software": made.software,
        },
        sort_keys=True,
    )


@dataclass(frozen=True)
class Dress:
    """What stands on every page of a paper besides its content.

    ``right`` stands at the head opposite the title, ``below`` under both. ``band`` says of the
    marks of a page what its head says of them, and whether that is a warning. ``small`` are the
    last two lines at the foot. ``subject`` is the seal by which the file is checked.
    """

    size: Size
    title: str
    right: str
    below: str
    band: Callable[[set[Mark]], tuple[str, bool]]
    caution: str
    small: tuple[str, str]
    software: str
    subject: str


def pdf(made: Printing, title: str, form: str, content: Sequence[Flowable]) -> bytes:
    """The paper of a case as PDF. The same printing gives the same bytes (with the same libraries).

    ``form`` names the paper in its seal.
    """
    return dressed(_case_dress(made, title, form), content)


def dressed(dress: Dress, content: Sequence[Flowable]) -> bytes:
    """Content on pages as PDF."""
    out = io.BytesIO()
    size = PAGES[dress.size]
    document = BaseDocTemplate(
        out,
        pagesize=size,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN + HEAD,
        bottomMargin=MARGIN + FOOT,
        title=f"{dress.title}, {dress.right[:1].lower()}{dress.right[1:]}",
        author=dress.software,
        subject=dress.subject,
        creator=dress.software,
        lang="en",
        invariant=1,
    )
    frame = Frame(
        MARGIN,
        MARGIN + FOOT,
        size[0] - 2 * MARGIN,
        size[1] - 2 * MARGIN - HEAD - FOOT,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    document.addPageTemplates([PageTemplate(id="page", frames=[frame])])

    class _Canvas(_Pages):
        dress_of_all = dress

    document.build(list(content), canvasmaker=_Canvas)
    return out.getvalue()


def _case_dress(made: Printing, title: str, form: str) -> Dress:
    record = made.record
    confirmed = sum(map(is_confirmed, record.lines))
    model = f"model {made.model}" if made.model else "no model: written words"
    return Dress(
        size=made.size,
        title=title,
        right=f"Case {made.history.case_id}",
        below=made.history.kit.procedure,
        band=lambda marks: page_words(marks, confirmed, len(record.lines)),
        caution=TWO_PEOPLE,
        small=(
            f"{made.software}, {model}; {printed_text(made.printed_at)}",
            f"SHA-256 {made.sha256} of {made.entries} entries",
        ),
        software=made.software,
        subject=seal(made, form),
    )


def printed_text(at: datetime) -> str:
    """When a paper was printed, and the offset of every time on it."""
    return f"printed {at:%Y-%m-%d %H:%M} (all times {_zone(at)})"


class _Pages(Canvas):  # type: ignore[misc]
    """Keeps each page until the last, so that its head can say what is on it, and of how many."""

    dress_of_all: Dress

    def __init__(self, *args: Any, **more: Any) -> None:
        """As a canvas."""
        super().__init__(*args, **more)
        self.page_marks: set[Mark] = set()
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:
        """Keep the page and begin another."""
        self._kept.append(dict(self.__dict__))
        self._startPage()
        self.page_marks = set()

    def save(self) -> None:
        """Write head and foot on every page, then the file."""
        for number, kept in enumerate(self._kept, start=1):
            self.__dict__.update(kept)
            _head(self, self.dress_of_all)
            _foot(self, self.dress_of_all, number, len(self._kept))
            super().showPage()
        super().save()


def _head(canvas: _Pages, dress: Dress) -> None:
    width, height = canvas._pagesize
    top = height - MARGIN
    canvas.setFillColor(black)
    canvas.setFont(BOLD, 13)
    canvas.drawString(MARGIN, top - 11, dress.title)
    canvas.drawRightString(width - MARGIN, top - 11, dress.right)
    canvas.setFont(REGULAR, 8)
    canvas.drawString(MARGIN, top - 23, fitted(dress.below, 8, width - 2 * MARGIN))
    text, warns = dress.band(canvas.page_marks)
    band = Paragraph(
        marked_up(text, bold=warns, most=2000),
        style(8.5, textColor=white if warns else black),
    )
    _, tall = band.wrap(width - 2 * MARGIN - 12, 30)
    bottom = top - HEAD + 6
    canvas.setLineWidth(1)
    canvas.setStrokeColor(black)
    canvas.rect(MARGIN, bottom, width - 2 * MARGIN, 30, fill=1 if warns else 0, stroke=1)
    band.drawOn(canvas, MARGIN + 6, bottom + (30 - tall) / 2)


def _foot(canvas: _Pages, dress: Dress, number: int, pages: int) -> None:
    width = canvas._pagesize[0]
    canvas.setStrokeColor(black)
    canvas.setFillColor(black)
    canvas.setLineWidth(0.5)
    canvas.line(MARGIN, MARGIN + FOOT - 8, width - MARGIN, MARGIN + FOOT - 8)
    words = Paragraph(marked_up(dress.caution, bold=True), style(7.5))
    words.wrap(width - 2 * MARGIN, 20)
    words.drawOn(canvas, MARGIN, MARGIN + FOOT - 21)
    canvas.setFont(REGULAR, 7)
    first, second = dress.small
    canvas.drawString(MARGIN, MARGIN + 19, fitted(first, 7, width - 2 * MARGIN))
    canvas.drawString(MARGIN, MARGIN + 8, second)
    canvas.setFont(BOLD, 8)
    canvas.drawRightString(width - MARGIN, MARGIN + 8, f"Page {number} of {pages}")


def _zone(at: datetime) -> str:
    offset = f"{at:%z}"
    return "UTC" if offset in ("", "+0000") else f"UTC{offset[:3]}:{offset[3:5]}"
