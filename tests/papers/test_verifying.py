"""Whether a paper still says what the ledger says."""

import dataclasses
import io
import random
from pathlib import Path

import pytest
from pypdf import PdfReader, PdfWriter
from tests.papers.cases import decided, plain_case, short_case
from tests.papers.conftest import PRINTED

from countersign.ledger import Ledger, append_decision, open_ledger
from countersign.papers import FORMS, Finding, Size, printing, verify
from countersign.problems import BadInput
from countersign.tally import build_record


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("size", Size)
def test_a_paper_matches_until_the_case_changes(ledger: Ledger, form: str, size: Size) -> None:
    case = short_case(ledger)
    data = FORMS[form](printing(ledger, case, size))
    found, sentence = verify(data, ledger)
    assert (found, sentence.count(case)) == (Finding.MATCHES, 1)
    append_decision(ledger, case, decided(14))
    found, sentence = verify(data, ledger)
    assert found is Finding.CHANGED_SINCE
    assert "1 entry was added" in sentence
    again = FORMS[form](printing(ledger, case, size))
    assert verify(again, ledger)[0] is Finding.MATCHES


def test_a_paper_of_another_ledger(ledger: Ledger, tmp_path: Path) -> None:
    data = FORMS["count-sheet"](printing(ledger, short_case(ledger), Size.A4))
    other = open_ledger(tmp_path / "other.sqlite3")
    try:
        found, sentence = verify(data, other)
    finally:
        other.close()
    assert found is Finding.ANOTHER
    assert sentence.startswith("Not of this ledger")


def test_other_words_under_the_right_hash(ledger: Ledger) -> None:
    made = printing(ledger, plain_case(ledger), Size.A4, PRINTED)
    history = made.history
    events = [
        event.model_copy(update={"quantity": 21}) if event.quantity == 20 else event
        for event in history.events
    ]
    lie = dataclasses.replace(made, record=build_record(history.kit, events, history.decisions))
    assert lie.record != made.record
    found, sentence = verify(FORMS["count-sheet"](lie), ledger)
    assert found is Finding.ALTERED
    assert "the words on the paper are not" in sentence


def test_another_hash_on_a_page(ledger: Ledger) -> None:
    made = printing(ledger, plain_case(ledger), Size.A4, PRINTED)
    first = FORMS["count-sheet"](made)
    second = FORMS["count-sheet"](dataclasses.replace(made, sha256="0" * 64))
    mixed = PdfWriter(clone_from=io.BytesIO(first))
    for page in PdfReader(io.BytesIO(second)).pages:
        mixed.add_page(page)
    out = io.BytesIO()
    mixed.write(out)
    assert verify(out.getvalue(), ledger)[0] is Finding.ALTERED
    assert verify(second, ledger)[0] is Finding.ANOTHER


def test_a_page_left_out(ledger: Ledger) -> None:
    data = FORMS["count-sheet"](printing(ledger, short_case(ledger), Size.A4, PRINTED))
    less = PdfWriter(clone_from=io.BytesIO(data))
    assert len(less.pages) > 1
    less.remove_page(len(less.pages) - 1)
    out = io.BytesIO()
    less.write(out)
    assert verify(out.getvalue(), ledger)[0] is Finding.ALTERED


def test_a_paper_saved_anew_by_another_program(ledger: Ledger) -> None:
    data = FORMS["count-sheet"](printing(ledger, short_case(ledger), Size.A4, PRINTED))
    out = io.BytesIO()
    PdfWriter(clone_from=io.BytesIO(data)).write(out)
    found, sentence = verify(out.getvalue(), ledger)
    assert found is Finding.MATCHES
    assert "the file itself was written anew" in sentence


def test_a_paper_of_another_version_says_that_its_words_were_not_compared(ledger: Ledger) -> None:
    made = printing(ledger, short_case(ledger), Size.A4, PRINTED)
    data = FORMS["count-sheet"](dataclasses.replace(made, software="countersign 99"))
    found, sentence = verify(data, ledger)
    assert found is Finding.MATCHES
    assert "were not compared: countersign 99 printed them" in sentence


@pytest.mark.parametrize("data", [b"", b"%PDF-1.4\n", b"%PDF-1.7 nothing", b"\0" * 500])
def test_no_paper(ledger: Ledger, data: bytes) -> None:
    with pytest.raises(BadInput):
        verify(data, ledger)


def test_a_pdf_of_something_else(ledger: Ledger) -> None:
    blank = PdfWriter()
    blank.add_blank_page(200, 200)
    out = io.BytesIO()
    blank.write(out)
    with pytest.raises(BadInput, match="not a paper of this tool"):
        verify(out.getvalue(), ledger)


@pytest.mark.parametrize("name", [b"/ASCII85Decode", b"/FlateDecode"])
def test_a_damaged_name_of_a_filter_is_said(ledger: Ledger, name: bytes) -> None:
    data = FORMS["medication-sheet"](printing(ledger, plain_case(ledger), Size.A4, PRINTED))
    assert name in data
    with pytest.raises(BadInput):
        verify(data.replace(name, name[:-1] + b"n"), ledger)


def test_damage_is_said_and_never_raises(ledger: Ledger) -> None:
    """Damage may hit what no reader looks at; it never becomes an error that nobody expects."""
    data = FORMS["medication-sheet"](printing(ledger, plain_case(ledger), Size.A4, PRINTED))
    chance = random.Random(7)
    outcomes = set()
    for trial in range(120):
        broken = bytearray(data)
        for _ in range(chance.choice((1, 5, 40))):
            broken[chance.randrange(len(broken))] = chance.randrange(256)
        if trial % 4 == 0:
            del broken[chance.randrange(len(broken)) :]
        try:
            outcomes.add(verify(bytes(broken), ledger)[0])
        except BadInput:
            outcomes.add("refused")
    assert "refused" in outcomes
