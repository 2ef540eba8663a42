"""The entries of a case as CSV: a row for each, from which the case can be imported again.

The CSV of lines (:func:`countersign.export.case_csv`) is for people and has no history; this one
has nothing else.
"""

import csv
import io
import json
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from countersign.caution import CONFIRMED, NOT_CONFIRMED
from countersign.exchange.stored import StoredCase, StoredEntry, fingerprint
from countersign.export import safe_cell, status, unsafe_cell
from countersign.problems import BadInput
from countersign.tally.record import CountRecord

FORMAT = "countersign-entries-1"
COLUMNS = ("status", "case", "entry", "at", "kind", "body")
"""``status`` is that of the line for an event; a decision or note says ``no line``."""

_HEAD = ",".join(COLUMNS).encode()
_LONGEST_CELL = 50_000_000


class _Opening(BaseModel):
    """The body of the first row: what the case was opened with, and the hash of it all."""

    model_config = ConfigDict(extra="forbid", strict=True)

    format: str
    source: str
    kit: str
    kit_sha256: str
    entries: int
    sha256: str = Field(pattern=r"^[0-9a-f]{64}$")


def entries_csv(record: CountRecord, stored: StoredCase) -> str:
    """Every entry as a row (RFC 4180), after a row 0 with the source, the kit and the hash.

    Cells that a spreadsheet would take for a formula begin with an apostrophe.
    """
    opening = _Opening(
        format=FORMAT,
        source=stored.source,
        kit=stored.kit,
        kit_sha256=stored.kit_sha256,
        entries=len(stored.entries),
        sha256=fingerprint(stored),
    )
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    whole = CONFIRMED if record.lines and record.confirmed else NOT_CONFIRMED
    _write(writer, whole, stored.case, 0, stored.opened_at, "case", opening.model_dump_json())
    lines = iter(record.lines)
    for entry in stored.entries:
        standing = status(next(lines)) if entry.kind == "event" else "no line"
        _write(writer, standing, stored.case, entry.seq, entry.at, entry.kind, entry.body)
    return out.getvalue()


def is_entries_csv(data: bytes) -> bool:
    """Whether a file begins like one of these."""
    return data.removeprefix(b"\xef\xbb\xbf").startswith(_HEAD)


def read_entries(data: bytes) -> StoredCase:
    """The case in a file; ``BadInput`` where it cannot be read or its hash does not fit."""
    rows = _rows(data)
    refused = BadInput("The CSV is not one of the entries of a case, or a row of it is damaged.")
    try:
        first, *rest = rows
        opening = _Opening.model_validate(json.loads(first["body"]))
        if (opening.format, first["kind"], first["entry"]) != (FORMAT, "case", "0"):
            raise refused
        stored = StoredCase(
            case=first["case"],
            opened_at=first["at"],
            source=opening.source,
            kit=opening.kit,
            kit_sha256=opening.kit_sha256,
            entries=tuple(_entry(row) for row in rest if row["case"] == first["case"]),
        )
    except (ValidationError, ValueError, RecursionError) as error:
        raise refused from error
    if len(rest) != opening.entries or len(stored.entries) != opening.entries:
        raise BadInput(f"The CSV has {len(rest)} entries; {opening.entries} were written.")
    if fingerprint(stored) != opening.sha256:
        raise BadInput("The hash of the history does not fit its entries; it was changed.")
    return stored


def _rows(data: bytes) -> list[dict[str, str]]:
    limit = csv.field_size_limit(_LONGEST_CELL)
    try:
        text = data.decode("utf-8-sig")
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except (csv.Error, UnicodeDecodeError) as error:
        raise BadInput("The CSV cannot be read.") from error
    finally:
        csv.field_size_limit(limit)
    if any(len(row) != len(COLUMNS) for row in rows):
        raise BadInput("A row of the CSV has too many or too few cells.")
    return [dict(zip(COLUMNS, map(unsafe_cell, row), strict=True)) for row in rows[1:]]


def _entry(row: dict[str, str]) -> StoredEntry:
    fields: dict[str, Any] = {"seq": int(row["entry"]), "at": row["at"]}
    return StoredEntry(**fields, kind=row["kind"], body=row["body"])  # type: ignore[arg-type]


def _write(writer: Any, *cells: object) -> None:
    writer.writerow([safe_cell(cell) for cell in cells])
