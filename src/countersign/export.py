"""A case as JSON or CSV, with every value that nobody confirmed marked as such."""

import csv
import io
import os
import tempfile
from pathlib import Path
from typing import Any

from countersign.caution import CONFIRMED, NOT_CONFIRMED, caution
from countersign.ledger import CaseHistory
from countersign.medication.report import (
    MEDICATION_COLUMNS,
    medication_cells,
    medications_object,
)
from countersign.plain_json import json_text, plain
from countersign.problems import BadInput
from countersign.tally.record import CountRecord, Discrepancy, Line, LineState, Total
from countersign.wording import (
    difference_text,
    is_confirmed,
    item_label,
    line_text,
    verdict_text,
)

COLUMNS = (
    "status",
    "line",
    "kind",
    "phase",
    "text",
    "confirmed_item",
    "confirmed_quantity",
    "heard_item",
    "heard_quantity",
    "unit",
    "place",
    "part",
    "expected",
    "questions",
    "words",
    "start_s",
    "end_s",
    "confidence",
    "decision",
    "role",
    "initials",
    "decided_at",
    "reason",
    "case",
    "source",
    *MEDICATION_COLUMNS,
)
"""The columns of the CSV form; ``status`` comes first so that no row can be read without it."""

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def status(line: Line) -> str:
    """``CONFIRMED``, or ``NOT CONFIRMED`` with the reason where the line is no longer waiting."""
    if is_confirmed(line):
        return CONFIRMED
    if line.state is LineState.SET_ASIDE:
        return f"{NOT_CONFIRMED} (set aside)"
    if line.state is LineState.STRUCK:
        return f"{NOT_CONFIRMED} (struck)"
    if line.waits:
        return f"{NOT_CONFIRMED} (outside the totals)"
    return NOT_CONFIRMED


def case_json(history: CaseHistory, record: CountRecord) -> str:
    """One JSON object, with a ``status`` in every line, total and verdict.

    Numbers are integers or decimal strings. Nothing heard stands in an object without its status.
    """
    confirmed_lines = sum(map(is_confirmed, record.lines))
    whole = _whole(history, record)
    return json_text(
        {
            "case": history.case_id,
            "status": whole,
            "caution": caution(confirmed_lines, len(record.lines)),
            "opened_at": history.opened_at,
            "source": history.source,
            "heard_to_the_end": history.heard_to_the_end,
            "kit": {"title": history.kit.title, "sha256": history.kit_hash},
            "verdict": {
                "confirmed": record.verdict,
                "text": verdict_text(record),
                "by_exception": record.by_exception,
                "heard": record.heard_verdict,
                "status": CONFIRMED if record.verdict is not None else NOT_CONFIRMED,
            },
            "open_questions": record.open_questions,
            "questions": record.questions,
            "lines": [_line_object(line, history) for line in record.lines],
            "totals": [_total_object(total, history, whole) for total in record.totals],
            "medications": medications_object(record.medications, history.kit),
            "discrepancies": [_discrepancy_object(each, history) for each in record.discrepancies],
            "packed": record.packed,
            "broken": record.broken,
            "phases": record.phases,
            "notices": record.notices,
            "decisions": history.decisions,
            "steps": history.steps,
            "policy": history.policy,
            "exceptions": history.exceptions,
        },
        indent=2,
    )


def case_csv(history: CaseHistory, record: CountRecord) -> str:
    """One row for every line of the record (RFC 4180: CRLF, quotes doubled, a header row).

    A cell that a spreadsheet would take for a formula begins with an apostrophe (OWASP, "CSV
    Injection", from memory); :func:`unsafe_cell` gives back what stood there.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for line in record.lines:
        cells = _cells(line, history) | medication_cells(record.medications, line.number)
        writer.writerow([safe_cell(cells[column]) for column in COLUMNS])
    return out.getvalue()


def write_whole(path: Path, text: str, *, replace: bool = False) -> None:
    """Write a UTF-8 file that is there complete or not at all.

    Raises ``BadInput`` when the file is there already (without ``replace``) or cannot be written.
    """
    if path.is_dir():
        raise BadInput(f"{path} is a folder, not a file to write.")
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.absolute().parent)
        part = Path(name)
        try:
            with os.fdopen(handle, "w", encoding="utf-8", newline="") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            if replace:
                part.replace(path)
            else:
                _put_if_new(part, path)
        finally:
            part.unlink(missing_ok=True)
    except FileExistsError:
        raise BadInput(f"{path} is there already; --replace writes over it.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be written ({error.strerror or error}).") from error


def _put_if_new(part: Path, path: Path) -> None:
    try:
        path.hardlink_to(part)  # unlike a rename, never displaces a file that is there
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        if path.exists():
            raise FileExistsError(path) from None
        part.replace(path)


def _whole(history: CaseHistory, record: CountRecord) -> str:
    done = record.confirmed and history.heard_to_the_end
    return CONFIRMED if done and any(map(is_confirmed, record.lines)) else NOT_CONFIRMED


def _line_object(line: Line, history: CaseHistory) -> dict[str, Any]:
    event = line.event
    return {
        "line": line.number,
        "status": status(line),
        "text": line_text(line, history.kit),
        "phase": line.phase,
        "expected": line.expected,
        "confirmed": (
            {
                "item": line.confirmed_item,
                "quantity": line.confirmed_quantity,
                "unit": event.unit,
                "place": line.confirmed_place,
                "part": line.confirmed_part,
                **({} if line.medication is None else {"medication": line.medication}),
            }
            if is_confirmed(line)
            else None
        ),
        "heard": {"status": _heard_status(line), **plain(event)},
        "questions": line.questions,
        "struck_by": line.struck_by,
        "decision": line.decision,
    }


def _heard_status(line: Line) -> str:
    # The words of an amended line are not what was confirmed.
    return f"{NOT_CONFIRMED} (amended)" if line.state is LineState.AMENDED else status(line)


def _total_object(total: Total, history: CaseHistory, whole: str) -> dict[str, Any]:
    return {
        "item": total.item,
        "label": item_label(total.item, history.kit),
        "heard": {
            "status": NOT_CONFIRMED,
            "expected": total.heard_expected,
            "last": total.heard_last,
            "at": total.heard_at,
        },
        "confirmed": {
            "status": whole if whole == CONFIRMED else f"{CONFIRMED} LINES ONLY",
            "expected": total.confirmed_expected,
            "last": total.confirmed_last,
        },
    }


def _discrepancy_object(found: Discrepancy, history: CaseHistory) -> dict[str, Any]:
    return {
        "label": item_label(found.item, history.kit),
        "open": found.is_open,
        "difference": found.difference,
        "text": difference_text(found),
        **plain(found),
    }


def _cells(line: Line, history: CaseHistory) -> dict[str, object]:
    event, decision = line.event, line.decision
    return {
        "status": status(line),
        "line": line.number,
        "kind": event.kind,
        "phase": line.phase,
        "text": line_text(line, history.kit),
        "confirmed_item": line.confirmed_item if is_confirmed(line) else None,
        "confirmed_quantity": line.confirmed_quantity if is_confirmed(line) else None,
        "heard_item": event.item if line.item is None else line.item,
        "heard_quantity": event.quantity if line.quantity is None else line.quantity,
        "unit": event.unit,
        "place": line.confirmed_place if is_confirmed(line) else line.place,
        "part": line.confirmed_part if is_confirmed(line) else line.part,
        "expected": line.expected,
        "questions": " ".join(question.sentence for question in line.questions),
        "words": event.words,
        "start_s": event.start_s,
        "end_s": event.end_s,
        "confidence": event.confidence,
        "decision": decision.act if decision else None,
        "role": decision.role if decision else None,
        "initials": decision.initials if decision else None,
        "decided_at": decision.at if decision else None,
        "reason": decision.reason if decision else None,
        "case": history.case_id,
        "source": history.source,
    }


def safe_cell(value: object) -> str:
    """The text of a cell that no spreadsheet takes for a formula.

    One that begins with an apostrophe gets another, so that what was written can be told apart.
    """
    text = "" if value is None else str(plain(value))
    return f"'{text}" if text.startswith((*_FORMULA_STARTS, "'")) else text


def unsafe_cell(text: str) -> str:
    """What :func:`safe_cell` was given; for programs, never for a spreadsheet."""
    return text.removeprefix("'")
