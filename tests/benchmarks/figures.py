"""From the answers of a recogniser to the row of the table."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from tests.benchmarks.clips import Clip, Group
from tests.benchmarks.scores import QUANTITIES, Score, score, word_error_rate


@dataclass
class Run:
    """What one recogniser did: answers by path, seconds to ready, peak memory in bytes."""

    label: str
    answers: dict[str, dict[str, Any]] = field(default_factory=dict)
    ready_s: float | None = None
    peak_bytes: int | None = None
    unavailable: str | None = None


@dataclass(frozen=True)
class Alarms:
    """Lines that change a number, heard where nobody counted; ``silent`` ones asked nobody."""

    clips: int
    lines: int
    silent: int


def answered(run: Run, clips: Sequence[Clip], *groups: Group) -> list[tuple[Clip, dict[str, Any]]]:
    """The clips of ``groups`` that the recogniser answered, with its answers."""
    return [
        (clip, run.answers[str(clip.path)])
        for clip in clips
        if clip.group in groups and "events" in run.answers.get(str(clip.path), {})
    ]


def fixture_score(run: Run, clips: Sequence[Clip], *groups: Group) -> Score:
    """The summed score over recordings of counting."""
    total = Score()
    for clip, answer in answered(run, clips, *(groups or ("fixtures",))):
        total += score(clip.wanted, answer["events"])
    return total


def alarms(run: Run, clips: Sequence[Clip], *groups: Group) -> Alarms:
    """False alarms over clips in which nobody counts."""
    found = answered(run, clips, *groups)
    lines = [
        event for _, answer in found for event in answer["events"] if event["kind"] in QUANTITIES
    ]
    return Alarms(len(found), len(lines), sum(not line.get("questions") for line in lines))


def digits_right(run: Run, clips: Sequence[Clip]) -> tuple[int, int]:
    """Single digits heard as exactly that digit, and how many were played."""
    found = answered(run, clips, "digits")
    # "oh" is the other name of zero.
    same = sum(
        [{"oh": "zero"}.get(word, word) for word in answer["words"]] == list(clip.said or ())
        for clip, answer in found
    )
    return same, len(found)


def real_time_factor(run: Run, clips: Sequence[Clip]) -> float | None:
    """Seconds of work a second of sound, over everything played."""
    found = answered(run, clips, "fixtures", "doubtful", "talk", "orders", "testdata")
    length = sum(clip.duration_s for clip, _ in found)
    return sum(answer["seconds"] for _, answer in found) / length if length else None


def word_errors_of_fixtures(run: Run, clips: Sequence[Clip]) -> float | None:
    """Word error rate over recordings of counting."""
    return word_error_rate(
        (clip.said or (), answer["words"]) for clip, answer in answered(run, clips, "fixtures")
    )


def percent(share: float | None) -> str:
    """``0.913`` as ``91.3 %``; a dash for ``None``."""
    return "–" if share is None else f"{100 * share:.1f} %"


def table(runs: Sequence[Run], clips: Sequence[Clip], notes: Sequence[str]) -> str:
    """The comparison as Markdown: one column a recogniser, one row a figure."""
    columns = [run for run in runs if not run.unavailable]
    rows: list[tuple[str, list[str]]] = []

    def row(name: str, cells: list[str]) -> None:
        rows.append((name, cells))

    scores = [fixture_score(run, clips) for run in columns]
    row("Silent errors", [f"**{s.silent_errors}**" for s in scores])
    both = [fixture_score(run, clips, "fixtures", "doubtful") for run in columns]
    row(
        "Silent errors, with wordings perhaps used in training",
        [str(s.silent_errors) for s in both],
    )
    row("Event precision", [percent(s.precision) for s in scores])
    row("Event recall", [percent(s.recall) for s in scores])
    row("Lines exact", [f"{s.lines_exact} of {s.lines_wanted}" for s in scores])
    row("Lines missing", [str(s.missing) for s in scores])
    row("Lines that ask a person", [percent(s.question_rate) for s in scores])
    row("Exact lines that asked", [str(s.asked_needlessly) for s in scores])
    row("Word error rate", [percent(word_errors_of_fixtures(run, clips)) for run in columns])
    for name, groups in FALSE_ALARMS.items():
        found = [alarms(run, clips, *groups) for run in columns]
        if any(each.clips for each in found):
            row(name, [f"{a.lines} ({a.silent} silent) in {a.clips}" for a in found])
    digits = [digits_right(run, clips) for run in columns]
    if any(played for _, played in digits):
        shares = [percent(right / played if played else None) for right, played in digits]
        row("Human single digits, 8 kHz, heard right", shares)
    factors = [real_time_factor(run, clips) for run in columns]
    row("Real-time factor", ["–" if f is None else f"{f:.2f}" for f in factors])
    row("Time to ready", ["–" if r.ready_s is None else f"{r.ready_s:.1f} s" for r in columns])
    peaks = [r.peak_bytes for r in columns]
    row("Peak memory", ["–" if p is None else f"{p / 2**20:.0f} MiB" for p in peaks])

    lines = [
        "| | " + " | ".join(run.label for run in columns) + " |",
        "|---" * (len(columns) + 1) + "|",
        *(f"| {name} | " + " | ".join(cells) + " |" for name, cells in rows),
    ]
    remarks = [*notes, *(f"{r.label} was not run: {r.unavailable}" for r in runs if r.unavailable)]
    remarks += [
        f"{run.label} failed on {len(failed)} recordings, the first time with: {failed[0]}"
        for run in columns
        if (failed := [a["failed"] for a in run.answers.values() if "failed" in a])
    ]
    remarks += [
        f"{run.label} was stopped at the time limit after {len(run.answers)} of {len(clips)}"
        " recordings; its figures are over those."
        for run in columns
        if len(run.answers) < len(clips)
    ]
    return "\n".join([*lines, "", *(f"- {remark}" for remark in remarks)]).rstrip() + "\n"


FALSE_ALARMS: Mapping[str, tuple[Group, ...]] = {
    "Counts heard in made talk": ("talk",),
    "Counts heard in human orders": ("orders",),
    "Counts heard in other human speech": ("testdata",),
}
"""Rows about clips in which nobody counts."""


def between_markers(page: str, text: str, name: str = "benchmark") -> str:
    """``page`` with ``text`` in place of what stands between the two markers called ``name``.

    Raises ``ValueError`` where the page does not have them.
    """
    start, end = markers(name)
    if page.count(start) != 1 or page.count(end) != 1 or page.index(start) > page.index(end):
        raise ValueError(f"The page needs one line {start} and, below it, one line {end}.")
    return f"{page.split(start)[0]}{start}\n\n{text}\n{end}{page.split(end)[1]}"


def markers(name: str) -> tuple[str, str]:
    """The lines between which ``--write-readme`` puts the table called ``name``."""
    return f"<!-- {name}:start -->", f"<!-- {name}:end -->"


MARKERS = markers("benchmark")
