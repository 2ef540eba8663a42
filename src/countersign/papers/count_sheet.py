"""The count sheet: the count group by group, what is open about it, and every line."""

from collections.abc import Sequence
from itertools import zip_longest
from typing import TypeVar

from reportlab.platypus import Flowable, KeepTogether, LongTable, Spacer

from countersign.caution import CONFIRMED, NOT_CONFIRMED
from countersign.meaning.event import EventKind
from countersign.papers.grid import Column, GroupGrid, Row, group_grids, lines_without_item
from countersign.papers.page import Mark, mark_of, pdf
from countersign.papers.printing import Printing
from countersign.papers.tables import cell, headed, heading, inner_width, sentence, table
from countersign.papers.wordings import (
    act_text,
    confirmed_number,
    heard_at,
    source_name,
    standing_text,
    who,
)
from countersign.screen import amended_text, open_text
from countersign.tally.record import (
    Act,
    Decision,
    Discrepancy,
    Line,
    LineState,
    SignedException,
    StepDone,
    Total,
)
from countersign.wording import (
    GROUPS,
    PHASES,
    VERDICTS,
    amended_count,
    clock_text,
    difference_text,
    is_confirmed,
    item_label,
    line_number_text,
    line_text,
    medication_text,
    number_text,
    verdict_text,
    where_text,
)

T = TypeVar("T")
TITLE = "Count sheet"
FORM = "count-sheet"
_FIRST_COUNTS, _LATER_COUNTS = 3, 6
"""How many later counts stand beside initial, added and removed, and in each table after that."""
_ENTRIES = 4
"""So many lines stand in one cell; more continue in a row below."""
_AGAIN = 60
"""So many characters of a label are shown where it has been shown whole before."""


def count_sheet(made: Printing) -> bytes:
    """The count sheet as PDF."""
    return pdf(made, TITLE, FORM, content(made))


def content(made: Printing) -> list[Flowable]:
    """Everything on the sheet, in its order."""
    parts = [*_summary(made)]
    for grid in group_grids(made.record, made.history.kit):
        parts += _group(made, grid)
    parts += _not_heard(made)
    parts += _discrepancies(made)
    parts += _exceptions(made)
    parts += _questions(made)
    parts += _notices(made)
    parts += _corrections(made)
    parts += _every_line(made)
    parts += _signatures(made)
    return parts


# What is true of the case as a whole


def _summary(made: Printing) -> list[Flowable]:
    record, history = made.record, made.history
    opened = history.opened_at.astimezone(made.printed_at.tzinfo)
    length = next((n.duration_s for n in history.notes if n.duration_s is not None), None)
    heard = f"Heard from: {source_name(made)}"
    if length:
        heard += f", {clock_text(length)} long"
    parts = [
        sentence(f"Kit: {history.kit.title}. Case opened {opened:%Y-%m-%d %H:%M}. {heard}."),
    ]
    if not history.heard_to_the_end:
        parts.append(
            sentence("Listening did not reach the end of the source: lines may be missing.")
        )
    parts += _verdict(made)
    parts.append(sentence(open_text(record), bold=record.open_questions > 0))
    differ = [found for found in record.discrepancies if found.is_open]
    if differ:
        names = "; ".join(
            f"{item_label(found.item, history.kit)}: {difference_text(found)}" for found in differ
        )
        parts.append(sentence(f"A count differs: {names}.", bold=True))
    parts += [
        sentence(
            f"{item_label(each.item, history.kit)}: {each.quantity} in the wound as far as was "
            f"said (line {each.line}).",
            _mark(made, each.line),
            bold=True,
        )
        for each in record.packed
    ]
    parts += [
        sentence(
            f"{item_label(each.item, history.kit)}: one is in {each.pieces} pieces that no count "
            f"accounts for (line {each.line}).",
            _mark(made, each.line),
            bold=True,
        )
        for each in record.broken
    ]
    return parts


def _verdict(made: Printing) -> list[Flowable]:
    record = made.record
    parts = []
    text = verdict_text(record)
    if text is not None:
        parts.append(sentence(f"Verdict, {CONFIRMED}: {text}.", bold=True))
    else:
        parts.append(sentence("Verdict: none is confirmed.", bold=True))
    if record.heard_verdict is not None and record.heard_verdict != record.verdict:
        words = f"Last verdict heard, {NOT_CONFIRMED}: {VERDICTS[record.heard_verdict]}."
        parts.append(sentence(words, Mark(confirmed=False, words="the verdict heard")))
    return parts


def _mark(made: Printing, line: int) -> Mark:
    return mark_of(made.record.lines[line - 1])


# Group by group


def _group(made: Printing, grid: GroupGrid) -> list[Flowable]:
    name = GROUPS[grid.group]
    title = f"{name[0].upper()}{name[1:]}"
    first, rest = grid.columns[:_FIRST_COUNTS], grid.columns[_FIRST_COUNTS:]
    parts = headed(made, title, _first_table(made, grid.rows, first))
    for later in _pieces(rest, _LATER_COUNTS):
        rows = [row for row in grid.rows if any(column in row.counts for column in later)]
        parts += headed(made, f"{title}, later counts", _later_table(made, rows, later))
    return parts


def _first_table(made: Printing, rows: Sequence[Row], columns: Sequence[Column]) -> LongTable:
    head = ("Item", "Kit", "Initial", "Added", "Removed", "Should be")
    fixed = [None, 26, 60, 60, 60, 60]
    counts = (inner_width(made) - 266 - 90) / max(1, len(columns))
    made_rows = []
    for row in rows:
        cells = (row.initial, row.added, row.removed, *_counts(row, columns))
        for part, pieces in enumerate(_in_pieces(cells)):
            initial, added, removed, *later = pieces
            made_rows.append(
                [
                    _item_cell(made, row, part),
                    cell(_kit_number(made, row) if part == 0 else "", right=True),
                    _lines_cell(made, initial),
                    _lines_cell(made, added, sign="+"),
                    _lines_cell(made, removed, sign="−"),
                    _should_be(row.total) if part == 0 else cell(""),
                    *(_lines_cell(made, lines) for lines in later),
                ]
            )
    return table(
        made,
        [*head, *(column.title for column in columns)],
        made_rows,
        [*fixed, *(min(counts, 110.0) for _ in columns)],
        right=(1,),
    )


def _later_table(made: Printing, rows: Sequence[Row], columns: Sequence[Column]) -> LongTable:
    made_rows = [
        [_item_cell(made, row, part), *(_lines_cell(made, lines) for lines in pieces)]
        for row in rows
        for part, pieces in enumerate(_in_pieces(_counts(row, columns)))
    ]
    width = min((inner_width(made) - 112) / len(columns), 110.0)
    return table(
        made,
        ["Item", *(column.title for column in columns)],
        made_rows,
        [None, *(width for _ in columns)],
    )


def _counts(row: Row, columns: Sequence[Column]) -> list[list[Line]]:
    return [row.counts.get(column, []) for column in columns]


def _in_pieces(cells: Sequence[Sequence[Line]]) -> list[tuple[tuple[Line, ...], ...]]:
    """Rows of cells of which none has more lines than fit on a page."""
    return list(zip_longest(*(_pieces(lines, _ENTRIES) for lines in cells), fillvalue=())) or [
        tuple(() for _ in cells)
    ]


def _pieces(things: Sequence[T], size: int) -> list[tuple[T, ...]]:
    return [tuple(things[start : start + size]) for start in range(0, len(things), size)]


def _item_cell(made: Printing, row: Row, part: int) -> Flowable:
    label = item_label(row.item, made.history.kit)
    if part:
        return cell(label, below=[("continued", False)], most=_AGAIN)
    return cell(label)


def _kit_number(made: Printing, row: Row) -> str:
    expected = made.history.kit.item(row.item).expected
    return "" if expected is None else str(expected)


def _should_be(total: Total | None) -> Flowable:
    if total is None:
        return cell("")
    confirmed, heard = total.confirmed_expected, total.heard_expected
    words = number_text(confirmed)
    if heard == confirmed:
        return cell(words)
    mark = Mark(confirmed=False, words="totals")
    return cell(words, mark, below=[(f"{NOT_CONFIRMED}: {number_text(heard)}", True)])


def _lines_cell(made: Printing, lines: Sequence[Line], sign: str = "") -> Flowable:
    """The number of each line, and below it who confirmed it; unconfirmed ones in brackets."""
    parts: list[tuple[str, bool]] = []
    for line in lines:
        unit = line.event.unit
        if is_confirmed(line) and line.decision is not None:
            number = f"{sign}{number_text(line.confirmed_quantity, unit)}"
            place = where_text(line.confirmed_place, line.confirmed_part)
            parts.append((f"{number} {place}".strip(), True))
            if line.state is LineState.AMENDED:
                parts.append((f"amended; heard {line_number_text(line)}", False))
            parts.append((f"line {line.number}, {who(made, line.decision)}", False))
        else:
            place = where_text(line.place, line.part)
            parts.append((f"({sign}{line_number_text(line)}) {place}".strip(), True))
            asked = f", {len(line.questions)} ?" if line.questions else ""
            parts.append((NOT_CONFIRMED, True))
            parts.append((f"line {line.number}{asked}", False))
    return cell("", *map(mark_of, lines), below=parts)


def _not_heard(made: Printing) -> list[Flowable]:
    lines = lines_without_item(made.record)
    if not lines:
        return []
    return [
        *heading("Item not heard"),
        *(
            sentence(
                f"Line {line.number}: {line_text(line, made.history.kit)}, "
                f"{line_number_text(line)}. {standing_text(line)}.",
                mark_of(line),
            )
            for line in lines
        ),
    ]


# What is open, what was signed, what was corrected


def _discrepancies(made: Printing) -> list[Flowable]:
    found = made.record.discrepancies
    if not found:
        return []
    parts = heading("Discrepancies")
    for each in found:
        parts += _discrepancy(made, each)
    return parts


def _discrepancy(made: Printing, found: Discrepancy) -> list[Flowable]:
    label = item_label(found.item, made.history.kit)
    marks = [_mark(made, line) for line in dict.fromkeys((found.line, found.latest))]
    words = f"{label}: {difference_text(found)}"
    if not found.vanished:
        words += f" ({found.counted} counted, {found.expected} expected, line {found.latest})"
    if found.resolved_by is not None:
        state = f"Resolved by the count of line {found.resolved_by}."
        marks.append(_mark(made, found.resolved_by))
    elif found.vanished:
        state = f"Line {found.line} was decided otherwise."
    else:
        state = "OPEN."
    since = f" Last right at line {found.last_right}." if found.last_right else ""
    parts: list[Flowable] = [Spacer(1, 3)]
    parts += [sentence(f"{words}. {state}{since}", *marks, bold=found.is_open)]
    parts += [sentence(f"Step done: {_step(made, step)}") for step in found.steps]
    if not found.steps and found.is_open:
        parts.append(sentence("No step of a search was entered."))
    if found.exception is not None:
        parts.append(sentence(f"Exception: {_signed(made, found.exception)}", bold=True))
    return parts


def _step(made: Printing, step: StepDone) -> str:
    remark = f" Remark: {step.remark}." if step.remark else ""
    words = (step.text or step.step).rstrip(".")
    return f"{words}. {step.role.value} {step.initials} {made.clock(step.at)}.{remark}"


def _signed(made: Printing, signed: SignedException) -> str:
    reason = signed.reason.rstrip(".")
    return (
        f"signed by {signed.scrub} (scrub) and {signed.circulator} (circulator) "
        f"{made.clock(signed.at)} for line {signed.line}, difference {signed.difference}. "
        f"Reason: {reason}."
    )


def _exceptions(made: Printing) -> list[Flowable]:
    kept = made.history.exceptions
    if not kept:
        return []
    parts = heading("Exceptions, in the order they were entered")
    for each in kept:
        what = "Withdrawn: " if each.withdrawn else ""
        label = item_label(each.item, made.history.kit)
        parts.append(sentence(f"{what}{label}, {_signed(made, each)}", bold=not each.withdrawn))
    return parts


def _questions(made: Printing) -> list[Flowable]:
    """Every question that nobody has acted on; those that were answered are counted."""
    record = made.record
    rows = [[cell("whole record"), cell(question.sentence)] for question in record.questions]
    asked = [line for line in record.lines if line.is_open and line.questions]
    for line in asked:
        kit = made.history.kit
        for number, question in enumerate(line.questions):
            what = f"{line.number}  {line_text(line, kit)}" if number == 0 else f"{line.number}"
            mark = mark_of(line)
            rows.append([cell(what, mark, most=_AGAIN), cell(question.sentence, mark)])
    answered = sum(len(line.questions) for line in record.lines if not line.is_open)
    words = f"{answered} question{'' if answered == 1 else 's'} stood on lines that people decided."
    if not rows:
        return [*heading("Open questions"), sentence(f"No question is open; {words}")]
    return [
        *headed(made, "Open questions", table(made, ("Line", "Question"), rows, (150, None))),
        Spacer(1, 3),
        sentence(words),
    ]


def _notices(made: Printing) -> list[Flowable]:
    notices = made.record.notices
    if not notices:
        return []
    return [
        *heading("Notices"),
        *(
            sentence(each.sentence, *([_mark(made, each.line)] if each.line else []))
            for each in notices
        ),
    ]


def _corrections(made: Printing) -> list[Flowable]:
    """Every decision but a plain acceptance, and every line that another one strikes."""
    record = made.record
    many = {
        line.number
        for line in record.lines
        if sum(decision.line == line.number for decision in made.history.decisions) > 1
    }
    rows = []
    for line in record.lines:
        mark = mark_of(line)
        if line.struck_by:
            words = f"struck by the correction in line {line.struck_by}"
            rows.append([cell(str(line.number), mark, right=True), cell(words), cell("")])
        for decision in made.history.decisions:
            if decision.line != line.number:
                continue
            if decision.act is Act.ACCEPT and line.number not in many:
                continue
            words = act_text(decision)
            if decision.act is Act.AMEND:
                words += f": {_amended(made, line, decision)}"
            if decision.reason:
                words += f"; reason: {decision.reason}"
            rows.append(
                [cell(str(line.number), mark, right=True), cell(words), cell(who(made, decision))]
            )
    if not rows:
        return []
    return [
        *headed(
            made,
            "Corrections and decisions taken back",
            table(made, ("Line", "What was done", "By"), rows, (32, None, 130), right=(0,)),
        )
    ]


def _amended(made: Printing, line: Line, decision: Decision) -> str:
    """What one amendment made of a line, and what was heard; an empty place takes a place away."""
    kit, event = made.history.kit, line.event
    item = decision.item or line.item or event.item
    heard = line_number_text(line)
    if event.kind is EventKind.PHASE:
        return f"begins: {amended_count(event, decision)} (heard: {line_text(line, kit)})"
    was = f"(heard: {line_text(line, kit)}, {heard})"
    if decision.medication is not None:
        return f"{medication_text(item, decision.medication, kit)} {was}"
    place = event.place if decision.place is None else decision.place
    part = event.part if decision.part is None else decision.part
    where = where_text(place, part)
    now = heard if decision.quantity is None else number_text(decision.quantity, event.unit)
    return f"{item_label(item, kit)}{f', {where}' if where else ''}: {now} {was}"


# Every line


def _every_line(made: Printing) -> list[Flowable]:
    if not made.record.lines:
        return [sentence("Nothing was heard that belongs to a count.", bold=True)]
    rows: list[list[Flowable | str]] = []
    headings = []
    phase = None
    for line in made.record.lines:
        if line.phase is not None and line.phase is not phase:
            phase = line.phase
            headings.append(len(rows))
            words = PHASES[phase]
            rows.append([cell(f"{words[0].upper()}{words[1:]}", bold=True), "", "", "", "", ""])
        rows.append(_line_row(made, line))
    return [
        *headed(
            made,
            "Every line",
            table(
                made,
                ("Line", "At", "What was heard", "Heard", "Confirmed", "Standing"),
                rows,
                (28, 42, None, 48, 52, 128),
                right=(0, 3, 4),
                headings=headings,
            ),
        )
    ]


def _line_row(made: Printing, line: Line) -> list[Flowable | str]:
    mark = mark_of(line)
    notes = [(f"“{line.event.words}”", False)]
    if line.state is LineState.AMENDED:
        notes.append((amended_text(line, made.history.kit), True))
    if line.questions:
        asked = "open" if line.is_open else "decided"
        notes.append((f"Questions: {len(line.questions)}, {asked}", line.is_open))
    by = [(who(made, line.decision), False)] if line.decision is not None else []
    return [
        cell(str(line.number), mark, right=True),
        cell(heard_at(line)),
        cell(line_text(line, made.history.kit), below=notes),
        cell(line_number_text(line), right=True),
        cell(confirmed_number(line), right=True, bold=True),
        cell(standing_text(line), bold=not is_confirmed(line), below=by),
    ]


def _signatures(made: Printing) -> list[Flowable]:
    rows = [
        [[cell(role), Spacer(1, 20)], cell(""), cell(""), cell("")]
        for role in ("Scrub person", "Circulator")
    ]
    return [
        KeepTogether(
            [
                *heading("Signatures on paper, where the facility asks for them")[1:],
                table(
                    made,
                    ("Role", "Name in capitals", "Signature", "Date and time"),
                    rows,
                    (80, 150, None, 100),
                ),
            ]
        )
    ]
