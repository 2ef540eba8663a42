"""The JSON document: its published schema, its hashes, and the way back into a ledger."""

import copy
import json
from collections.abc import Callable
from hashlib import sha256
from typing import Any

import pytest
import rfc8785
from jsonschema import Draft202012Validator
from tests.papers.cases import (
    Make,
    Shelf,
    awkward_case,
    decided,
    exception_case,
    long_case,
    plain_case,
    set_up_case,
    short_case,
)

from countersign.exchange import (
    Finding,
    document_text,
    fingerprint,
    import_case,
    read_document,
    read_stored,
    verify_document,
)
from countersign.exchange.document import document_hash
from countersign.exchange.schema import made_schema, shipped_schema
from countersign.exchange.stored import FORM
from countersign.ledger import Ledger, append_decision, list_cases, read_case, record_of
from countersign.problems import BadInput

CASES: list[Make] = [plain_case, short_case, exception_case, awkward_case, set_up_case, long_case]


def exported(ledger: Ledger, case: str) -> str:
    stored = read_stored(ledger, case)
    history = read_case(ledger, case)
    return document_text(history, record_of(history), stored)


def sealed(document: dict[str, Any]) -> bytes:
    """A changed document with hashes that fit again, as someone who knows how would make it."""
    history = document["history"]
    whole = {
        "form": FORM,
        "case": history["case"],
        "opened_at": history["opened_at"],
        "source": history["source"],
        "kit_sha256": history["kit_sha256"],
        "entries": [[e["seq"], e["at"], e["kind"], e["body"]] for e in history["entries"]],
    }
    history["sha256"] = sha256(rfc8785.dumps(whole)).hexdigest()
    document["document_sha256"] = document_hash(document)
    return json.dumps(document).encode()


def test_the_shipped_schema_is_the_one_of_the_models() -> None:
    """``python -m countersign.exchange.schema`` writes it anew."""
    assert shipped_schema() == made_schema()
    Draft202012Validator.check_schema(shipped_schema())


@pytest.mark.parametrize("make", CASES)
def test_documents_fit_the_schema(shelf: Shelf, make: Make) -> None:
    """JSON Schema draft 2020-12, by the jsonschema library."""
    document = json.loads(exported(shelf.ledger, shelf.case(make)))
    errors = list(Draft202012Validator(shipped_schema()).iter_errors(document))
    assert [(list(error.path), error.message) for error in errors] == []


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("lines", 1, "status"), None),
        (("lines", 1, "status"), "PROBABLY"),
        (("lines", 1, "confirmed", "quantity"), 10.5),
        (("lines", 1, "heard", "start_s"), 4.0),
        (("lines", 1, "heard", "kind"), "guess"),
        (("verdict", "status"), ""),
        (("document_sha256",), "ABC"),
        (("history", "entries", 0, "kind"), "gossip"),
        (("medications", "on_the_field", 0, "received", "value"), 1.5),
        (("opened_at",), 7),
        (("surprise",), 1),
    ],
)
def test_the_schema_refuses(shelf: Shelf, path: tuple[Any, ...], value: object) -> None:
    document = json.loads(exported(shelf.ledger, shelf.case(plain_case)))
    inner = document
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    assert not Draft202012Validator(shipped_schema()).is_valid(document)


@pytest.mark.parametrize("make", CASES)
def test_the_way_back_loses_nothing(shelf: Shelf, other: Ledger, make: Make) -> None:
    ledger, case = shelf.ledger, shelf.case(make)
    text = exported(ledger, case)
    import_case(other, read_document(text.encode()))
    assert read_stored(other, case) == read_stored(ledger, case)
    assert read_case(other, case) == read_case(ledger, case)
    assert record_of(read_case(other, case)) == record_of(read_case(ledger, case))
    assert exported(other, case) == text
    append_decision(other, case, decided(1))  # life goes on
    assert verify_document(text.encode(), other)[0] is Finding.CHANGED_SINCE


def test_a_case_is_never_written_over(ledger: Ledger) -> None:
    case = short_case(ledger)
    stored = read_document(exported(ledger, case).encode())
    before = read_stored(ledger, case)
    with pytest.raises(BadInput, match="already, with the same content; nothing was written"):
        import_case(ledger, stored)
    append_decision(ledger, case, decided(14))
    with pytest.raises(BadInput, match="already, with other content; nothing was written"):
        import_case(ledger, stored)
    after = read_stored(ledger, case)
    assert after.entries[:-1] == before.entries


@pytest.mark.parametrize("make", CASES[:4])
def test_the_hash_is_that_of_canonical_json(shelf: Shelf, make: Make) -> None:
    """RFC 8785 by the rfc8785 library, SHA-256 by hashlib."""
    ledger, case = shelf.ledger, shelf.case(make)
    stored = read_stored(ledger, case)
    document = json.loads(exported(ledger, case))
    fresh = copy.deepcopy(document)
    sealed(fresh)
    assert fresh["history"]["sha256"] == fingerprint(stored) == document["history"]["sha256"]
    rest = {name: value for name, value in document.items() if name != "document_sha256"}
    assert document["document_sha256"] == sha256(rfc8785.dumps(rest)).hexdigest()


def _change_every(document: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The path of every plain value."""
    if isinstance(document, dict):
        return [p for k, v in document.items() for p in _change_every(v, (*path, k))]
    if isinstance(document, list):
        return [p for n, v in enumerate(document) for p in _change_every(v, (*path, n))]
    return [path]


def test_no_value_can_be_changed_unseen(ledger: Ledger) -> None:
    text = exported(ledger, exception_case(ledger))
    paths = _change_every(json.loads(text))
    assert len(paths) > 200
    for path in paths:
        document = json.loads(text)
        inner = document
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = "x" if inner[path[-1]] != "x" else "y"
        with pytest.raises(BadInput):
            read_document(json.dumps(document).encode())


def test_entries_that_no_ledger_could_have_kept(ledger: Ledger) -> None:
    whole = json.loads(exported(ledger, exception_case(ledger)))

    def changed(change: Callable[[list[dict[str, Any]]], object]) -> bytes:
        document = copy.deepcopy(whole)
        change(document["history"]["entries"])
        return sealed(document)

    assert read_document(changed(lambda entries: None)) == read_stored(
        ledger, whole["history"]["case"]
    )
    body = whole["history"]["entries"][-1]["body"]
    for change, words in [
        (lambda e: e.pop(1), "Entry 2 is missing"),
        (lambda e: e.reverse(), "Entry 1 is missing"),
        (lambda e: e[0].update(body="{}"), "Entry 1 in the file cannot be read"),
        (lambda e: e[0].update(at="2026-01-01T00:00:00"), "Entry 1 in the file cannot be read"),
        (lambda e: e[0].update(at="yesterday"), "Entry 1 in the file cannot be read"),
        (lambda e: e[0].update(kind="decision", body=body), "decides on line"),
        (lambda e: e[0].update(seq=True), "cannot be read"),
    ]:
        with pytest.raises(BadInput, match=words):
            read_document(changed(change))


def test_another_kit_is_refused(ledger: Ledger) -> None:
    document = json.loads(exported(ledger, plain_case(ledger)))
    document["history"]["kit"] = document["history"]["kit"].replace("sponge", "spoon")
    with pytest.raises(BadInput, match="kit in the file is not the one"):
        read_document(sealed(document))


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\xff\xfe",
        b"[]",
        b"{}",
        b'{"format": "other"}',
        b'{"format": 3}',
        b"[" * 100_000,
        b'{"format": "countersign-case-1"}',
        b'{"format": "countersign-case-1", "x": NaN}',
        b'{"format": "countersign-case-1", "x": "\\ud800"}',
        b"\0" * 100,
    ],
)
def test_what_is_no_document(data: bytes) -> None:
    with pytest.raises(BadInput) as problem:
        read_document(data)
    assert str(problem.value).endswith(".") and "\n" not in str(problem.value)


def test_an_import_that_fails_leaves_nothing(
    ledger: Ledger, other: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last entry is refused by the ledger's own trigger (numbers without gaps)."""
    stored = read_document(exported(ledger, short_case(ledger)).encode())
    last = stored.entries[-1].model_copy(update={"seq": len(stored.entries) + 5})
    broken = stored.model_copy(update={"entries": (*stored.entries[:-1], last)})
    with pytest.raises(Exception, match="without gaps"):
        import_case(other, broken)
    assert list_cases(other) == ()
