"""What stands on the papers, read back from the PDF page by page."""

import io
import re
from functools import cache

import pypdfium2
import pytest
from pypdf import PdfReader
from tests.papers.cases import (
    ODD,
    Make,
    Shelf,
    awkward_case,
    count,
    decided,
    exception_case,
    kept,
    long_case,
    medicine,
    plain_case,
    said,
    set_up_case,
    short_case,
)
from tests.papers.conftest import PRINTED, pages

from countersign.caution import TWO_PEOPLE
from countersign.exchange import fingerprint, read_stored
from countersign.exchange.software import software
from countersign.ledger import Ledger, read_case, record_of
from countersign.meaning.event import EventKind, MedicationDetail, Phase, Strength
from countersign.papers import FORMS, Printing, Size, printing
from countersign.papers.grid import group_grids, stands
from countersign.papers.lettering import lettered
from countersign.tally.record import Act
from countersign.wording import is_confirmed, item_label, verdict_text

CASES: list[Make] = [plain_case, short_case, exception_case, awkward_case, set_up_case, long_case]
# ISO 216: 210 mm × 297 mm; ANSI/ASME Y14.1: 8.5 in × 11 in. A point is 1/72 in.
PAPER = {Size.A4: (210 / 25.4 * 72, 297 / 25.4 * 72), Size.LETTER: (8.5 * 72, 11 * 72)}


@cache
def made(shelf: Shelf, make: Make, size: Size = Size.A4) -> Printing:
    return printing(shelf.ledger, shelf.case(make), size, PRINTED)


@cache
def sheet(shelf: Shelf, form: str, make: Make, size: Size = Size.A4) -> bytes:
    """A paper of a case, drawn once for all tests that read it."""
    return FORMS[form](made(shelf, make, size))


@cache
def sheet_pages(shelf: Shelf, form: str, make: Make, size: Size = Size.A4) -> tuple[str, ...]:
    """The words of its pages."""
    return tuple(pages(sheet(shelf, form, make, size)))


def numbers(words: str) -> set[int]:
    """``3, 5-7`` as numbers."""
    found: set[int] = set()
    for first, last in re.findall(r"(\d+)(?:-(\d+))?", words):
        found |= set(range(int(first), int(last or first) + 1))
    return found


def named_at_head(page: str) -> set[int]:
    """The lines that the head of a page calls not confirmed."""
    head = re.search(r"NOT CONFIRMED on this page: (.*?) \d+ of \d+ lines of the case", page)
    return numbers(head[1]) if head else set()


@pytest.mark.parametrize("size", Size)
@pytest.mark.parametrize("make", CASES)
def test_every_page_says_what_it_must(shelf: Shelf, make: Make, size: Size) -> None:
    printed = made(shelf, make, size)
    case = printed.history.case_id
    digest = fingerprint(read_stored(shelf.ledger, case))
    confirmed = sum(map(is_confirmed, printed.record.lines))
    for form in FORMS:
        data = sheet(shelf, form, make, size)
        words = sheet_pages(shelf, form, make, size)
        for number, page in enumerate(words, start=1):
            assert TWO_PEOPLE in page, form
            assert f"SHA-256 {digest} of {printed.entries} entries" in page
            assert f"Page {number} of {len(words)}" in page
            assert f"Case {case}" in page
            assert software() in page
            assert (printed.model or "no model: written words") in page
            assert f"{confirmed} of {len(printed.record.lines)} lines of the case" in page
            assert "all times UTC-05:00" in page
        for page in PdfReader(io.BytesIO(data)).pages:
            assert [float(page.mediabox.width), float(page.mediabox.height)] == pytest.approx(
                PAPER[size], abs=0.1
            )


@pytest.mark.parametrize("size", Size)
@pytest.mark.parametrize("make", CASES)
def test_nothing_stands_outside_the_margins(shelf: Shelf, make: Make, size: Size) -> None:
    """Half an inch is what office printers can print on (common practice, no source)."""
    for form in FORMS:
        document = pypdfium2.PdfDocument(sheet(shelf, form, make, size))
        try:
            for page in document:
                width, height = page.get_size()
                text = page.get_textpage()
                for index in range(text.count_chars()):
                    left, bottom, right, top = text.get_charbox(index)
                    if right > left:
                        assert left > 34 and right < width - 34, page
                        assert bottom > 34 and top < height - 34
                text.close()
                page.close()
        finally:
            document.close()


@pytest.mark.parametrize("make", CASES)
def test_a_page_with_something_not_confirmed_says_so_at_its_head(shelf: Shelf, make: Make) -> None:
    for form in FORMS:
        for page in sheet_pages(shelf, form, make):
            band = "NOT CONFIRMED on this page" in page
            if page.count("NOT CONFIRMED") > band:
                assert band, page


def test_the_head_names_the_lines_of_its_page_that_nobody_confirmed(ledger: Ledger) -> None:
    """Each line has words of its own, so that the page on which it stands can be found."""
    events = [count("raytec", 10, Phase.INITIAL, n * 3.0, words=f"word{n}x") for n in range(1, 161)]
    decisions = [decided(line) for line in range(1, 161) if line > 8 and not 100 <= line <= 103]
    case = kept(ledger, events, decisions)
    open_lines = {*range(1, 9), *range(100, 104)}
    seen: set[int] = set()
    clean_pages = 0
    for page in pages(FORMS["count-sheet"](printing(ledger, case, Size.A4, PRINTED))):
        here = {int(found) for found in re.findall(r"“word(\d+)x”", page)}
        named = named_at_head(page)
        assert here & open_lines <= named
        seen |= here
        if here and not here & open_lines:
            clean_pages += 1
            assert re.search(rf"All {len(here)} lines on this page are confirmed", page)
    assert seen == set(range(1, 161))
    assert clean_pages


def test_a_confirmed_case_is_nowhere_called_unconfirmed(shelf: Shelf) -> None:
    for form in FORMS:
        assert "NOT CONFIRMED" not in " ".join(sheet_pages(shelf, form, plain_case))
    words = " ".join(sheet_pages(shelf, "count-sheet", plain_case))
    assert "Verdict, CONFIRMED: count correct." in words


def test_an_exception_never_reads_like_a_plain_correct(shelf: Shelf) -> None:
    printed = made(shelf, exception_case)
    words = " ".join(sheet_pages(shelf, "count-sheet", exception_case))
    text = verdict_text(printed.record)
    assert text is not None and "BY EXCEPTION" in text
    assert f"Verdict, CONFIRMED: {text}." in words
    assert "AB (scrub) and CD (circulator)" in words
    assert "Reason: image clear, read by radiology." in words
    assert "X-ray detectable sponge, 4 × 4: 1 missing (9 counted, 10 expected, line 3)" in words
    # "said: count correct" is the line as it was heard; the verdict itself never stands alone.
    assert not re.search(r"(?<!said: )count correct(?! BY EXCEPTION)", words)


def test_the_count_is_written_item_by_item(shelf: Shelf) -> None:
    words = " ".join(sheet_pages(shelf, "count-sheet", short_case))
    for title in ("Sponges", "Sharps", "Discrepancies", "Open questions", "Every line"):
        assert title in words
    assert "Closing count (line 9)" in words
    # Printed five hours behind UTC: 07:32 UTC of line 2 is 02:32.
    assert re.search(r"10 line 2, scrub AB 2026-03-02 02:32", words)
    assert re.search(r"\+10 line 8, scrub AB", words)
    assert re.search(r"5 amended; heard 4 line 11, circulator CD", words)
    assert re.search(r"\(5\) NOT CONFIRMED line 14, 1 \?", words)
    assert "Step done: Recount by both people. circulator CD" in words
    assert "Remark: nothing found." in words
    assert "amended: Laparotomy sponge: 5" in words
    assert "reason: one lay under the drape" in words
    assert "set aside; reason: said of another table" in words
    assert "14 Dissecting sponge It was hard to hear." in words


@pytest.mark.parametrize("make", CASES)
def test_every_line_is_on_the_sheet(shelf: Shelf, make: Make) -> None:
    printed = made(shelf, make)
    words = " ".join(sheet_pages(shelf, "count-sheet", make)).split("Every line", 1)[1]
    squeezed = "".join(words.split())
    for line in printed.record.lines:
        said = lettered(line.event.words[:500])
        assert "".join(f"“{said}".split()) in squeezed
    for item in {line.confirmed_item for line in printed.record.lines if line.confirmed_item}:
        label = lettered(item_label(item, printed.history.kit))
        assert "".join(label.split()) in squeezed


@pytest.mark.parametrize("make", CASES)
def test_every_standing_count_is_in_the_grid_once(shelf: Shelf, make: Make) -> None:
    history = read_case(shelf.ledger, shelf.case(make))
    record = record_of(history)
    placed = [
        line.number
        for grid in group_grids(record, history.kit)
        for row in grid.rows
        for lines in (row.initial, row.added, row.removed, *row.counts.values())
        for line in lines
    ]
    kinds = (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL, EventKind.BREAKAGE)
    wanted = [
        line.number
        for line in record.lines
        if stands(line) and line.acts_as in kinds and (line.confirmed_item or line.item)
    ]
    assert sorted(placed) == wanted


def test_a_second_closing_count_has_a_column_of_its_own(shelf: Shelf) -> None:
    history = read_case(shelf.ledger, shelf.case(long_case))
    (grid, *_) = group_grids(record_of(history), history.kit)
    closing = [column for column in grid.columns if column.phase is Phase.CLOSING]
    assert len(closing) == 2
    assert len({column.title for column in grid.columns}) == len(grid.columns)


def test_no_character_is_lost(shelf: Shelf) -> None:
    """What the font lacks stands as its code point (Unicode, U+ notation)."""
    words = "".join("".join(sheet_pages(shelf, "count-sheet", awkward_case)).split())
    for char in ODD:
        assert char.isspace() or char in words or f"[U+{ord(char):04X}]" in words
    assert "[U+202E]" in words and "\u202e" not in words  # right-to-left override
    assert "[U+7EB1]" in words and "<b>&amp;</b>" in words


def test_what_was_undone_is_told(shelf: Shelf) -> None:
    words = " ".join(sheet_pages(shelf, "count-sheet", awkward_case))
    assert re.search(r"2 accepted scrub AB", words)
    assert "decision undone; reason:" in words
    assert "struck by the correction in line 65" in words
    assert "Listening did not reach the end" in words


def test_what_was_amended_is_told_with_its_place_and_its_strength(ledger: Ledger) -> None:
    amended = MedicationDetail(name="lidocaine", strength=Strength(value=2, unit="%"))
    events = [
        said(EventKind.SET_UP, 1, item="kelly_clamp", place="mayo_stand"),
        count("lap_sponge", 5, Phase.CLOSING, 9, place="field"),
        medicine(EventKind.RECEIPT, 12, "30"),
        said(EventKind.PHASE, 15, phase=Phase.CLOSING, group="sponges"),
        said(EventKind.PHASE, 18, phase=Phase.FINAL, group="sponges"),
    ]
    decisions = [
        decided(1, Act.AMEND, item="needle_holder", place="back_table"),
        decided(2, Act.AMEND, quantity=4, place="wound"),
        decided(3, Act.AMEND, medication=amended),
        decided(4, Act.AMEND, group="sharps"),
        decided(5, Act.AMEND, phase=Phase.CLOSING, group=""),
    ]
    case = kept(ledger, events, decisions)
    words = " ".join(pages(FORMS["count-sheet"](printing(ledger, case, Size.A4, PRINTED))))
    assert (
        "amended: Needle holder, on the back table: - (heard: set up: Kelly clamp, on the" in words
    )
    assert "amended: Laparotomy sponge, in the wound: 4 (heard: Laparotomy sponge, on the" in words
    assert "amended: begins: closing count, sharps (heard: begins: closing count, sponges)" in words
    assert "amended: begins: closing count (heard: begins: final count, sponges)" in words
    assert "amended: Lidocaine 2 % (heard: received: Lidocaine 1 %, with Epinephrine" in words


def test_a_medication_sheet(shelf: Shelf) -> None:
    """10 mL of lidocaine 1 % are 100 mg, of epinephrine 1:100,000 100 micrograms (USP)."""
    words = " ".join(sheet_pages(shelf, "medication-sheet", plain_case))
    assert "Lidocaine 1 % with epinephrine 1:100,000" in words
    assert "2027-04-30" in words and "lot AB12" in words and "label complete" in words
    assert re.search(r"30 mL 300 mg 300 micrograms 10 mL 100 mg 100 micrograms 20 mL", words)
    assert "Every label is verified aloud and by sight by two people" in words
    assert "Lidocaine in all: 100 mg drawn up of 300 mg received; CONFIRMED." in words


def test_a_set_aside_line_is_said_to_be_no_part_of_the_count(ledger: Ledger) -> None:
    events = [count("raytec", 10, Phase.INITIAL, 4, words="x")] * 2
    case = kept(ledger, events, [decided(1), decided(2, Act.SET_ASIDE, reason="twice")])
    (page,) = pages(FORMS["count-sheet"](printing(ledger, case, Size.A4, PRINTED)))
    assert "NOT CONFIRMED on this page: only what was struck or set aside" in page
    assert "no part of the count (line 2). 1 of 2 lines of the case are confirmed." in page


def test_the_same_printing_gives_the_same_bytes(shelf: Shelf) -> None:
    printed = made(shelf, short_case)
    for draw in FORMS.values():
        assert draw(printed) == draw(printed)


def test_the_words_are_black_on_white_or_white_on_black(shelf: Shelf) -> None:
    """No grey letter: every pixel of text is drawn in pure black or, in the band, pure white."""
    for form in FORMS:
        for page in PdfReader(io.BytesIO(sheet(shelf, form, short_case))).pages:
            content = page.get_contents()
            assert content is not None
            inks = re.findall(rb"([\d.]+) ([\d.]+) ([\d.]+) rg", content.get_data())
            shades = {tuple(map(float, ink)) for ink in inks}
            assert shades <= {(0, 0, 0), (1, 1, 1), (0.9, 0.9, 0.9)}
