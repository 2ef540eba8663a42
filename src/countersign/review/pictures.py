"""Pictures as SVG, drawn here: the waveform with what was heard in it, and figures over attempts.

They carry no colours: the page's style sheet gives them, by class. Every picture stands beside the
same facts in words.
"""

from collections.abc import Sequence
from xml.sax.saxutils import escape  # nosec B406: nothing is parsed

from countersign.printable import clean
from countersign.review.attempt import Attempt

_WAVE, _LINES, _WORDS = 120, 44, 26
HEIGHT = _WAVE + _LINES + _WORDS
_WIDEST = 24_000
_SHORT = 1200
_LETTER = 8.2


def timeline_width(attempt: Attempt) -> int:
    """Pixels of the timeline: sixty a second, more for short recordings, fewer for long ones."""
    short = min(_SHORT, attempt.duration_s * 120)
    return int(min(_WIDEST, max(1, short, attempt.duration_s * 60)))


def timeline(attempt: Attempt) -> str:
    """The waveform, the words under it, and the lines over their time, each a link to its place."""
    width = timeline_width(attempt)
    scale = width / max(attempt.duration_s, 0.1)
    parts = [
        f'<svg class="timeline" viewBox="0 0 {width} {HEIGHT}" width="{width}" height="{HEIGHT}"'
        ' role="group" aria-label="Waveform with lines and questions; the list below says the'
        ' same">',
        f'<path class="wave" d="{_wave(attempt.peaks, width)}"/>',
        _seconds(attempt.duration_s, scale),
    ]
    free = 0.0
    for said in attempt.said:
        x = max(said.start_s * scale, free)
        room = int((_next_start(attempt, said.start_s) * scale - x) / _LETTER)
        words = said.text if len(said.text) <= room else said.text[: max(room - 1, 0)] + "…"
        if room > 2:
            parts.append(f'<text class="said" x="{x:.0f}" y="{HEIGHT - 8}">{_text(words)}</text>')
            free = x + len(words) * _LETTER
    for line in attempt.lines:
        x, wide = line.start_s * scale, max((line.end_s - line.start_s) * scale, 10)
        sign = "?" if line.questions else ""
        label = f"{sign}{line.number}" + (f": {line.heard}" if line.heard else "")
        name = _text(
            f"Line {line.number}: {line.text} {line.heard}; {len(line.questions)} questions"
        )
        parts.append(
            f'<a href="#line-{line.number}" data-at="{line.start_s:.2f}" aria-label="{name}">'
            f'<rect class="{"asks" if line.questions else "heard"}" x="{x:.1f}" y="{_WAVE + 2}"'
            f' width="{wide:.1f}" height="{_LINES - 6}" rx="5"/>'
            f'<text class="label" x="{x + 5:.1f}" y="{_WAVE + 27}">{_text(label)}</text></a>'
        )
    for sequence in attempt.sequences:
        for gap in sequence.hesitations:
            x, wide = gap.start_s * scale, gap.length_s * scale
            parts.append(
                f'<rect class="pause" x="{x:.1f}" y="0" width="{wide:.1f}" height="{_WAVE}"/>'
                f'<text class="label" x="{x + 3:.1f}" y="14">{gap.length_s:.1f} s</text>'
            )
    parts.append(f'<line class="now" id="now" x1="0" x2="0" y1="0" y2="{HEIGHT}"/></svg>')
    return "".join(parts)


def _next_start(attempt: Attempt, after_s: float) -> float:
    return min(
        (said.start_s for said in attempt.said if said.start_s > after_s),
        default=attempt.duration_s + 10,
    )


def _wave(peaks: Sequence[tuple[float, float]], width: int) -> str:
    if not peaks:
        return ""
    step, middle = width / len(peaks), _WAVE / 2
    loudest = max(max(abs(low), abs(high)) for low, high in peaks) or 1.0
    stretch = 0.95 * middle / loudest
    points = [
        f"M{(at + 0.5) * step:.1f} {middle - high * stretch:.1f}V{middle - low * stretch + 0.5:.1f}"
        for at, (low, high) in enumerate(peaks)
    ]
    return "".join(points)


def _seconds(duration_s: float, scale: float) -> str:
    every = next((s for s in (1, 5, 10, 30, 60, 300, 600) if s * scale >= 60), 1800)
    return "".join(
        f'<text class="second" x="{second * scale:.0f}" y="{_WAVE - 4}">'
        f"{second // 60}:{second % 60:02d}</text>"
        for second in range(0, int(duration_s) + 1, every)
    )


def over_attempts(
    title: str, unit: str, values: Sequence[float | None], *, top: float | None = None
) -> str:
    """One figure over attempts, the first at the left: points joined by a line, each with its
    number; ``None`` leaves a gap. The height is that of ``top``, else of the greatest value.
    """
    width, height, left, low = 420, 190, 14, 150
    known = [value for value in values if value is not None]
    most = top or max(known, default=1) or 1
    step = (width - 2 * left - 30) / max(len(values) - 1, 1)
    spots = [
        (left + 15 + at * step, low - 105 * value / most, value)
        for at, value in enumerate(values)
        if value is not None
    ]
    said = ", ".join("none" if value is None else f"{value:g}" for value in values)
    parts = [
        f'<svg class="figure-over" viewBox="0 0 {width} {height}" role="img"'
        f' aria-label="{_text(f"{title}, {unit}, by attempt: {said}")}">',
        f'<text class="title" x="{left}" y="18">{_text(title)} ({_text(unit)})</text>',
        f'<line class="axis" x1="{left}" x2="{width - left}" y1="{low}" y2="{low}"/>',
    ]
    if len(spots) > 1:
        points = " ".join(f"{x:.1f},{y:.1f}" for x, y, _ in spots)
        parts.append(f'<polyline class="course" points="{points}"/>')
    crowded = len(spots) > 12
    for at, (x, y, value) in enumerate(spots):
        parts.append(f'<circle class="spot" cx="{x:.1f}" cy="{y:.1f}" r="5"/>')
        if not crowded or at in (0, len(spots) - 1):
            parts.append(
                f'<text class="value" x="{x:.1f}" y="{y - 10:.1f}" text-anchor="middle">'
                f"{value:g}</text>"
            )
    for at in range(len(values)):
        if not crowded or at in (0, len(values) - 1):
            parts.append(
                f'<text class="value" x="{left + 15 + at * step:.1f}" y="{low + 22}"'
                f' text-anchor="middle">{at + 1}</text>'
            )
    return "".join(parts) + "</svg>"


def _text(words: str) -> str:
    return escape(clean(words), {'"': "&quot;"})
