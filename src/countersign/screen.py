"""A count record on a terminal, readable at 80 columns and without colour."""

from collections.abc import Sequence
from pathlib import PurePath

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from countersign.caution import caution
from countersign.findings_view import findings_view
from countersign.kit.model import Kit
from countersign.ledger import CaseSummary
from countersign.meaning.event import EventKind
from countersign.medication.view import medications_view
from countersign.printable import clean
from countersign.tally.record import CountRecord, Line, LineState, Total
from countersign.wording import (
    PHASES,
    VERDICTS,
    count_text,
    is_confirmed,
    item_label,
    line_number_text,
    line_text,
    medication_text,
    number_text,
    state_text,
    verdict_text,
    where_text,
)


def record_view(record: CountRecord, kit: Kit, *, timed: bool = True) -> RenderableType:
    """The whole record: lines, totals, verdict, what is open, and the caution.

    Without ``timed`` no times are given: written words have none.
    """
    parts: list[RenderableType] = []
    if record.lines:
        parts.append(_lines_table(record, kit))
    else:
        parts.append(Text("Nothing was heard that belongs to a count."))
    totals = [total for total in record.totals if _says_something(total)]
    if totals:
        parts += [Text(), _totals_table(totals, kit)]
    findings = findings_view(record, kit, timed=timed)
    if findings is not None:
        parts += [Text(), findings]
    if record.medications.preparations:
        parts += [Text(), medications_view(record.medications, kit)]
    parts += [Text(), closing_view(record)]
    return Group(*parts)


def closing_view(record: CountRecord) -> Text:
    """The verdict, what is open, and the caution: the words under every record."""
    text = Text()
    if record.heard_verdict is not None:
        verdict = verdict_text(record)
        confirmed = f"confirmed: {verdict}" if verdict else "not confirmed"
        text.append(f"Verdict heard: {VERDICTS[record.heard_verdict]}; {confirmed}.\n")
    for question in record.questions:
        text.append(f"? {clean(question.sentence)}\n", style="bold yellow")
    text.append(f"{open_text(record)}\n")
    confirmed_lines = sum(map(is_confirmed, record.lines))
    text.append(caution(confirmed_lines, len(record.lines)), style="bold")
    return text


def open_text(record: CountRecord) -> str:
    """One or two sentences that say which lines and questions are open."""
    waiting = [line.number for line in record.lines if line.is_open]
    asked = [line.number for line in record.lines if line.is_open and line.questions]
    if not waiting:
        return "No line is open."
    lines = f"Open: {_counted(len(waiting), 'line')} ({ranges(waiting)})"
    if not asked:
        return f"{lines}; no questions."
    asking = sum(len(line.questions) for line in record.lines if line.is_open)
    return f"{lines}; {_counted(asking, 'question')} on {ranges(asked)}."


def line_notes(line: Line) -> list[str]:
    """The question sentences of a line, cleaned, each once."""
    return list(dict.fromkeys(clean(question.sentence) for question in line.questions))


def ranges(numbers: list[int]) -> str:
    """Ascending numbers in short: ``1-3, 5, 7-9``."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(run[0]) if len(run) == 1 else f"{run[0]}-{run[-1]}" for run in runs)


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _says_something(total: Total) -> bool:
    numbers = (
        total.heard_expected,
        total.heard_last,
        total.confirmed_expected,
        total.confirmed_last,
    )
    return any(number is not None for number in numbers)


def _lines_table(record: CountRecord, kit: Kit) -> Table:
    table = Table(box=box.SIMPLE_HEAD, expand=True, padding=(0, 1), show_edge=False)
    table.add_column("line", justify="right", no_wrap=True)
    table.add_column("what was heard", ratio=1)
    table.add_column("heard", justify="right", no_wrap=True)
    table.add_column("expected", justify="right", no_wrap=True)
    table.add_column("state", no_wrap=True)
    phase = None
    for line in record.lines:
        if line.phase is not None and line.phase != phase:
            phase = line.phase
            table.add_row("", Text(PHASES[phase].upper(), style="bold"), "", "", "")
        table.add_row(
            str(line.number),
            _heard_cell(line, kit),
            line_number_text(line),
            number_text(line.expected),
            _state_cell(line),
        )
    return table


def _heard_cell(line: Line, kit: Kit) -> Text:
    struck = line.state in (LineState.STRUCK, LineState.SET_ASIDE)
    text = Text(line_text(line, kit), style="dim" if struck else "")
    text.append(f"\n“{clean(line.event.words)}”", style="italic dim")
    for sentence in line_notes(line):
        style = "bold yellow" if line.is_open else "dim"
        text.append(f"\n? {sentence}", style=style)
    if line.state is LineState.AMENDED:
        text.append(f"\n= {amended_text(line, kit)}", style="bold")
    return text


def amended_text(line: Line, kit: Kit) -> str:
    """What an amended line now says."""
    if line.medication is not None:
        return f"amended to {medication_text(line.confirmed_item, line.medication, kit)}"
    if line.event.kind is EventKind.PHASE and line.phase is not None:
        return f"amended to {count_text(line.phase, line.group)}"
    number = number_text(line.confirmed_quantity, line.event.unit)
    where = where_text(line.confirmed_place, line.confirmed_part)
    label = item_label(line.confirmed_item, kit)
    return f"amended to {label}{f', {where}' if where else ''}: {number}"


def _state_cell(line: Line) -> Text:
    style = "green" if is_confirmed(line) else "" if line.is_open else "dim"
    return Text(state_text(line), style=style)


def _totals_table(totals: list[Total], kit: Kit) -> Table:
    table = Table(box=box.SIMPLE_HEAD, expand=True, padding=(0, 1), show_edge=False)
    table.add_column("totals", ratio=1)
    for side in ("heard", "confirmed"):
        table.add_column(f"{side}:\nexpected", justify="right", no_wrap=True)
        table.add_column(f"{side}:\ncounted", justify="right", no_wrap=True)
    for total in totals:
        table.add_row(
            _total_cell(total, kit),
            number_text(total.heard_expected),
            number_text(total.heard_last),
            number_text(total.confirmed_expected),
            number_text(total.confirmed_last),
        )
    return table


def _total_cell(total: Total, kit: Kit) -> Text:
    text = Text(item_label(total.item, kit))
    for counted in total.heard_at:
        where = where_text(counted.place, counted.part)
        text.append(f"\n  {where}: {counted.quantity}", style="dim")
    return text


def cases_view(cases: Sequence[CaseSummary]) -> Table:
    """The kept cases, oldest first, with local times."""
    table = Table(box=box.SIMPLE_HEAD, expand=True, padding=(0, 1), show_edge=False)
    table.add_column("case", no_wrap=True)
    table.add_column("opened", no_wrap=True)
    table.add_column("source", ratio=1, overflow="fold")
    table.add_column("lines", justify="right", no_wrap=True)
    table.add_column("decisions", justify="right", no_wrap=True)
    for case in cases:
        table.add_row(
            case.case_id,
            f"{case.opened_at.astimezone():%Y-%m-%d %H:%M}",
            Text(clean(PurePath(case.source).name)),
            str(case.events),
            str(case.decisions),
        )
    return table
