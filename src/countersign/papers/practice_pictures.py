"""The pictures of practice on paper: figures over attempts, and the sound with what was heard.

They show what :mod:`countersign.review.pictures` shows on the page, in black on white: nothing is
told by colour, and every number in them stands beside them in words.
"""

import math
from collections.abc import Sequence

from reportlab.graphics.shapes import Circle, Drawing, Line, Path, PolyLine, Rect, String
from reportlab.lib.colors import Color, black, white
from reportlab.pdfbase.pdfmetrics import stringWidth

from countersign.papers.lettering import BOLD, REGULAR, lettered
from countersign.review import Attempt
from countersign.wording import clock_text

FIGURE_HEIGHT = 104.0
ROW_HEIGHT = 74.0
_GREY = Color(0.75, 0.75, 0.75)
_WAVE, _BARS, _BAR, _TICKS = 36.0, 14.0, 11.0, 8.0
_SHORTEST_ROW_S, _MOST_ROWS = 20, 8
_CROWDED = 12


def figure(
    title: str, unit: str, values: Sequence[float | None], width: float, top: float | None = None
) -> Drawing:
    """One figure over attempts, the first at the left; ``None`` is no spot but leaves its place.

    ``width`` is in points; the height stands for ``top``, else for the greatest value.
    """
    drawing = Drawing(width, FIGURE_HEIGHT)
    left, low, tall = 10.0, 22.0, 50.0
    known = [value for value in values if value is not None]
    most = top or max(known, default=1) or 1
    step = (width - 2 * left - 20) / max(len(values) - 1, 1)
    drawing.add(_words(0, FIGURE_HEIGHT - 10, f"{title}, {unit}", 8, bold=True))
    drawing.add(Line(left, low, width - left, low, strokeColor=black, strokeWidth=0.7))
    spots = [
        (left + 10 + at * step, low + tall * value / most, at, value)
        for at, value in enumerate(values)
        if value is not None
    ]
    if len(spots) > 1:
        points = [number for x, y, *_ in spots for number in (x, y)]
        drawing.add(PolyLine(points, strokeColor=black, strokeWidth=1))
    last = len(values) - 1
    for x, y, at, value in spots:
        drawing.add(Circle(x, y, 2.4, fillColor=black, strokeColor=black))
        if len(values) <= _CROWDED or at in (0, last):
            value_words = _words(x, y + 5, f"{value:g}", 7.5, anchor="middle")
            wide = stringWidth(value_words.text, REGULAR, 7.5) + 2
            drawing.add(Rect(x - wide / 2, y + 4, wide, 7, fillColor=white, strokeColor=None))
            drawing.add(value_words)
    for at in range(len(values)):
        if len(values) <= _CROWDED or at in (0, last):
            drawing.add(_words(left + 10 + at * step, low - 10, str(at + 1), 7, anchor="middle"))
    if not known:
        drawing.add(_words(width / 2, low + 20, "nothing to show", 7.5, anchor="middle"))
    return drawing


def sound_rows(attempt: Attempt, width: float) -> list[Drawing]:
    """The whole recording in rows of equal time, each ``width`` points wide.

    Above, the waveform with pauses between two numbers as boxes; below it a bar for each line, grey
    where it was heard without a question, white with a thick edge where it asks.
    """
    each = _SHORTEST_ROW_S
    if attempt.duration_s > each * _MOST_ROWS:
        each = math.ceil(attempt.duration_s / _MOST_ROWS / 5) * 5
    rows = max(1, math.ceil(attempt.duration_s / each))
    return [_row(attempt, row * each, each, width) for row in range(rows)]


def _row(attempt: Attempt, begin: float, length: float, width: float) -> Drawing:
    drawing = Drawing(width, ROW_HEIGHT)
    scale = width / length
    end = begin + length
    bars = _TICKS + 3
    bottom = bars + _BARS
    middle = bottom + _WAVE / 2
    wave = _wave(attempt, begin, end, scale, middle)
    if wave is not None:
        drawing.add(wave)
    for second in range(0, int(length) + 1, _every(length)):
        x = second * scale
        drawing.add(Line(x, bars - 3, x, bars, strokeColor=black, strokeWidth=0.4))
        if x < width - 20:
            drawing.add(_words(x + 1.5, 0.5, clock_text(begin + second).split(".")[0], 6))
    drawing.add(Line(0, bars - 1.5, width, bars - 1.5, strokeColor=black, strokeWidth=0.4))
    for sequence in attempt.sequences:
        for gap in sequence.hesitations:
            if gap.end_s <= begin or gap.start_s >= end:
                continue
            x = max(gap.start_s - begin, 0) * scale
            wide = (min(gap.end_s, end) - begin) * scale - x
            drawing.add(
                Rect(x, bottom + 1, wide, _WAVE - 2, fillColor=None, strokeDashArray=[2, 2])
            )
            if gap.start_s >= begin:
                drawing.add(_words(x + 2, bottom + _WAVE + 1, f"pause {gap.length_s:.1f} s", 6.5))
    free = -1.0
    for line in attempt.lines:
        if line.end_s <= begin or line.start_s >= end:
            continue
        x = max(line.start_s - begin, 0) * scale
        wide = max((min(line.end_s, end) - begin) * scale - x, 4)
        asks = bool(line.questions)
        drawing.add(
            Rect(
                x,
                bars,
                wide,
                _BAR,
                fillColor=white if asks else _GREY,
                strokeColor=black,
                strokeWidth=1.4 if asks else 0.4,
            )
        )
        label = f"{'?' if asks else ''}{line.number}" + (f": {line.heard}" if line.heard else "")
        if x >= free and line.start_s >= begin:
            words = _words(x + 2, bars + 2.5, label, 7, bold=asks)
            drawing.add(words)
            free = x + 4 + stringWidth(words.text, words.fontName, 7)
    return drawing


def _wave(attempt: Attempt, begin: float, end: float, scale: float, middle: float) -> Path | None:
    if not attempt.peaks or not attempt.duration_s:
        return None
    stretch = attempt.duration_s / len(attempt.peaks)
    loudest = max(max(abs(low), abs(high)) for low, high in attempt.peaks) or 1.0
    tall = 0.95 * _WAVE / 2 / loudest
    path = Path(strokeColor=black, strokeWidth=0.5)
    for at, (low, high) in enumerate(attempt.peaks):
        time = (at + 0.5) * stretch
        if begin <= time < end:
            x = (time - begin) * scale
            path.moveTo(x, middle + low * tall - 0.2)
            path.lineTo(x, middle + high * tall + 0.2)
    return path if path.points else None


def _every(length: float) -> int:
    return next((each for each in (1, 2, 5, 10, 30, 60, 300) if length / each <= 20), 600)


def _words(
    x: float, y: float, text: str, size: float, *, bold: bool = False, anchor: str = "start"
) -> String:
    words = lettered(text)  # also registers the font
    return String(x, y, words, fontName=BOLD if bold else REGULAR, fontSize=size, textAnchor=anchor)
