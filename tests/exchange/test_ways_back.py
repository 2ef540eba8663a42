"""Every form with the history brings the same case back; a CSV of lines brings its cells back."""

import copy
import csv
import io
import json
from base64 import b64decode
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from hashlib import sha1
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.cli.conftest import Command, command, ledger_file  # noqa: F401
from tests.papers.cases import (
    BEGIN,
    KIT,
    Make,
    Shelf,
    asked,
    awkward_case,
    count,
    decided,
    exception_case,
    kept,
    medicine,
    plain_case,
    said,
    set_up_case,
    short_case,
)

from countersign.exchange import (
    Finding,
    document_text,
    entries_csv,
    import_case,
    read_exported,
    read_stored,
    verify_document,
)
from countersign.exchange.fhir import fhir_text
from countersign.exchange.stored import history_of
from countersign.export import case_csv, safe_cell, unsafe_cell
from countersign.kit import Group
from countersign.ledger import Ledger, append_decision, open_ledger, read_case, record_of
from countersign.meaning.event import Event, EventKind, Phase
from countersign.problems import BadInput
from countersign.set_up import set_up
from countersign.tally.record import Act, Decision, Role

CASES: list[Make] = [plain_case, short_case, exception_case, awkward_case, set_up_case]
AT = datetime(2026, 3, 2, 15, 0, 0, 123456, tzinfo=UTC)

# What a person may write and a ledger can keep: SQLite keeps no half of a surrogate pair.
words = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40)
formulas = st.sampled_from(["=1+1", "+1", "-1", "@x", "'=1", "''", "\t=1", "\r\n=1", '"=1"', "＝1"])
texts = st.one_of(words, formulas)
items = st.sampled_from([item.id for item in KIT.items])
phases = st.sampled_from(list(Phase))
fractions = st.decimals(0, 1000, places=3, allow_nan=False, allow_infinity=False)


@st.composite
def an_event(draw: st.DrawFn, at: float) -> Event:
    match draw(st.integers(0, 5)):
        case 0:
            return said(EventKind.PHASE, at, phase=draw(phases), words=draw(texts))
        case 1:
            volume = str(draw(fractions))
            kind = draw(st.sampled_from([EventKind.RECEIPT, EventKind.LABEL, EventKind.DRAW]))
            return medicine(kind, at, volume, lot=draw(texts))
        case 2:
            return said(EventKind.REMARK, at, words=draw(texts))
        case 3:
            place = draw(st.sampled_from(["mayo_stand", "back_table", None]))
            how_many = draw(st.none() | st.integers(0, 99))
            return said(
                EventKind.SET_UP, at, item=draw(items), place=place, quantity=how_many,
                words=draw(texts),
            )  # fmt: skip
        case _:
            how_many = draw(st.integers(0, 99))
            questions = asked(draw(texts)) if draw(st.booleans()) else ()
            made = count(draw(items), how_many, draw(phases), at, words=draw(texts))
            return made.model_copy(
                update={"questions": questions, "confidence": draw(st.floats(0, 1))}
            )


AMENDED = st.fixed_dictionaries(
    {"quantity": st.integers(0, 99)},
    optional={
        "phase": st.sampled_from([None, *Phase]),
        "group": st.sampled_from([None, "", *Group]),
    },
)


@st.composite
def a_case(draw: st.DrawFn) -> tuple[list[Event], list[Decision]]:
    events = [draw(an_event(float(n))) for n in range(draw(st.integers(1, 8)))]
    decisions = [decided(1)]  # a bundle is only made of a case in which something is confirmed
    for n in range(draw(st.integers(0, 8))):
        act = draw(st.sampled_from([Act.ACCEPT, Act.AMEND, Act.SET_ASIDE, Act.UNDO]))
        amended = draw(AMENDED) if act is Act.AMEND else {}
        decisions.append(
            decided(
                draw(st.integers(2, len(events))) if len(events) > 1 else 1,
                Act.ACCEPT if len(events) == 1 else act,
                role=draw(st.sampled_from(list(Role))),
                reason=draw(texts),
                at=BEGIN + timedelta(seconds=n, microseconds=draw(st.integers(0, 999_999))),
                **(amended if len(events) > 1 else {}),
            )
        )
    return events, decisions


def forms(ledger: Ledger, case: str) -> dict[str, bytes]:
    stored, history = read_stored(ledger, case), read_case(ledger, case)
    record = record_of(history)
    return {
        "JSON": document_text(history, record, stored).encode(),
        "FHIR": fhir_text(history, record, stored, AT).encode(),
        "CSV": entries_csv(record, stored).encode(),
    }


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(made=a_case())
def test_whatever_was_kept_comes_back(made: tuple[list[Event], list[Decision]]) -> None:
    with TemporaryDirectory() as folder:
        ledger = open_ledger(Path(folder) / "one.sqlite3")
        case = kept(ledger, *made)
        for form, data in forms(ledger, case).items():
            other = open_ledger(Path(folder) / f"{form}.sqlite3")
            import_case(other, read_exported(data))
            assert read_stored(other, case) == read_stored(ledger, case), form
            assert read_case(other, case) == read_case(ledger, case), form
            assert forms(other, case) == forms(ledger, case), form
            other.close()
        ledger.close()


@pytest.mark.parametrize("make", CASES)
def test_each_form_comes_back_and_is_verified(ledger: Ledger, other: Ledger, make: Make) -> None:
    case = make(ledger)
    if make is awkward_case:
        append_decision(ledger, case, decided(3))
    for data in forms(ledger, case).values():
        assert read_exported(data) == read_stored(ledger, case)
        assert verify_document(data, ledger)[0] is Finding.MATCHES
        assert verify_document(data, other)[0] is Finding.ANOTHER
    import_case(other, read_exported(data))
    assert record_of(read_case(other, case)) == record_of(read_case(ledger, case))
    append_decision(ledger, case, decided(1))
    assert verify_document(data, ledger)[0] is Finding.CHANGED_SINCE


@pytest.mark.parametrize("form", ["JSON", "CSV", "FHIR"])
def test_a_set_up_comes_back_as_it_stood(ledger: Ledger, other: Ledger, form: str) -> None:
    case = set_up_case(ledger)
    lines = record_of(read_case(ledger, case)).lines
    assert sum(line.event.kind is EventKind.SET_UP for line in lines) >= 6
    import_case(other, read_exported(forms(ledger, case)[form]))
    again = record_of(read_case(other, case)).lines
    stood, stands = set_up(KIT, lines), set_up(KIT, again)
    assert again == lines and stands == stood
    assert any(item.confirmed for place in stands.places for item in place.items)


@pytest.mark.parametrize("make", CASES)
def test_a_history_needs_no_ledger(shelf: Shelf, make: Make) -> None:
    ledger, case = shelf.ledger, shelf.case(make)
    assert history_of(read_stored(ledger, case)) == read_case(ledger, case)


def _paths(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if isinstance(value, dict):
        return [p for key, inner in value.items() for p in _paths(inner, (*path, key))]
    if isinstance(value, list):
        return [p for n, inner in enumerate(value) for p in _paths(inner, (*path, n))]
    return [path]


def test_no_value_of_a_bundle_can_be_changed_unseen(ledger: Ledger) -> None:
    """But the name of the software, on which the comparison rests: then the case alone counts."""
    bundle = json.loads(forms(ledger, exception_case(ledger))["FHIR"])
    paths = [path for path in _paths(bundle) if path[-2:] != ("observer", "display")]
    assert len(paths) > 100
    for path in paths:
        changed = copy.deepcopy(bundle)
        inner = changed
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = "x" if inner[path[-1]] != "x" else "y"
        with pytest.raises(BadInput):
            read_exported(json.dumps(changed).encode())


def test_a_bundle_says_of_its_case_whether_it_is_confirmed(ledger: Ledger) -> None:
    whole = kept(ledger, [said(EventKind.REMARK, 1, words="good morning")], [decided(1)])
    said_of_them = set()
    for case in (whole, short_case(ledger)):
        bundle = json.loads(forms(ledger, case)["FHIR"])
        (found,) = (
            each["resource"]
            for each in bundle["entry"]
            if each["resource"]["resourceType"] == "DocumentReference"
        )
        attachment = found["content"][0]["attachment"]
        data = b64decode(attachment["data"])
        assert found["description"].startswith(json.loads(data)["status"])
        said_of_them.add((json.loads(data)["status"], found["docStatus"]))
        # R4, Attachment.hash: SHA-1 of the data, in base64 (from memory).
        assert b64decode(attachment["hash"]) == sha1(data).digest()
        assert attachment["size"] == len(data)
    assert said_of_them == {("CONFIRMED", "final"), ("NOT CONFIRMED", "preliminary")}


def test_a_bundle_without_its_case_is_refused(ledger: Ledger) -> None:
    bundle = json.loads(forms(ledger, plain_case(ledger))["FHIR"])
    bundle["entry"] = [
        each for each in bundle["entry"] if each["resource"]["resourceType"] != "DocumentReference"
    ]
    with pytest.raises(BadInput, match="does not carry a whole case"):
        read_exported(json.dumps(bundle).encode())


@pytest.mark.parametrize(
    ("change", "words_"),
    [
        (lambda rows: rows.pop(), "entries; "),
        (lambda rows: rows.insert(3, rows[2]), "entries; "),
        (lambda rows: rows.__setitem__(2, rows[3]), "hash of the history does not fit"),
        (lambda rows: rows[4].__setitem__(5, rows[4][5].replace("10", "11")), "does not fit"),
        (lambda rows: rows[1].__setitem__(5, rows[1][5].replace("Lapar", "Lepar")), "kit"),
        (lambda rows: rows.pop(1), "damaged"),
        (lambda rows: rows[2].pop(), "too many or too few cells"),
        (lambda rows: rows[2].__setitem__(1, "1125-else"), "entries; "),
    ],
)
def test_a_changed_csv_is_refused(ledger: Ledger, change: Callable[..., Any], words_: str) -> None:
    data = forms(ledger, plain_case(ledger))["CSV"].decode()
    rows = list(csv.reader(io.StringIO(data, newline="")))
    change(rows)
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    with pytest.raises(BadInput, match=words_):
        read_exported(out.getvalue().encode())


def test_another_program_may_quote_and_end_rows_its_own_way(ledger: Ledger) -> None:
    case = short_case(ledger)
    rows = csv.reader(io.StringIO(forms(ledger, case)["CSV"].decode(), newline=""))
    out = io.StringIO()
    out.write("status,case,entry,at,kind,body\n")
    next(rows)
    csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(rows)
    assert read_exported(b"\xef\xbb\xbf" + out.getvalue().encode()) == read_stored(ledger, case)


@given(text=texts)
def test_a_cell_comes_back_and_is_never_a_formula(text: str) -> None:
    """The characters are those of OWASP, "CSV Injection" (from memory)."""
    cell = safe_cell(text)
    assert unsafe_cell(cell) == text
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))


def test_a_csv_of_lines_has_every_cell_and_no_history(ledger: Ledger) -> None:
    case = awkward_case(ledger)
    history = read_case(ledger, case)
    record = record_of(history)
    data = case_csv(history, record)
    rows = [
        {name: unsafe_cell(cell) for name, cell in row.items()}
        for row in csv.DictReader(io.StringIO(data, newline=""))
    ]
    assert [row["words"] for row in rows] == [line.event.words for line in record.lines]
    assert [Decimal(row["confidence"]) for row in rows] == [
        Decimal(str(line.event.confidence)) for line in record.lines
    ]
    with pytest.raises(BadInput, match="is not a case that this tool exported"):
        read_exported(data.encode())


@pytest.mark.parametrize("arguments", [("--fhir",), ("--csv", "--entries"), ("--json",)])
def test_the_command_takes_every_form_back(
    command: Command,  # noqa: F811
    ledger_file: Path,  # noqa: F811
    tmp_path: Path,
    arguments: tuple[str, ...],
) -> None:
    ledger = open_ledger(ledger_file)
    case = exception_case(ledger)
    expected = read_case(ledger, case)
    ledger.close()
    file, elsewhere = tmp_path / "exported", tmp_path / "elsewhere.sqlite3"
    assert command("export", case, *arguments, "--out", file).code == 0
    assert command("import", file, "--ledger", elsewhere).code == 0
    assert command("verify", file, "--ledger", elsewhere).code == 0
    ledger = open_ledger(elsewhere)
    assert read_case(ledger, case) == expected
    ledger.close()


def test_entries_need_csv(command: Command) -> None:  # noqa: F811
    done = command("export", "1125-nono", "--json", "--entries")
    assert (done.code, done.err) == (2, "--entries is a form of --csv.\n")
