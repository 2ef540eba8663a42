"""The educator's summary: what stands on it, against the attempts, and whether it still holds."""

import io
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pypdfium2
import pytest
from pypdf import PdfReader, PdfWriter
from reportlab.graphics.shapes import Circle, Rect
from tests.cli.conftest import Command, command, ledger_file  # noqa: F401
from tests.papers.conftest import PRINTED, pages
from tests.papers.test_papers import PAPER

from countersign.exchange import Finding
from countersign.papers import Practice, Size, practice_of, verify_practice
from countersign.papers.practice_pictures import FIGURE_HEIGHT, figure, sound_rows
from countersign.papers.practice_sheet import practice_sheet
from countersign.problems import BadInput
from countersign.review import (
    Attempt,
    Entry,
    Gap,
    Sequence,
    Shown,
    Store,
    common_checklist_path,
    read_checklist,
)
from countersign.tally.record import Role

CHECKLIST = read_checklist(common_checklist_path())
ODD = "Ω <b>&amp;</b> 纱布 \u202etrick"


def counted(line: int, at: float, *gaps: float, clean: bool = True) -> Sequence:
    return Sequence(
        line=line,
        item="Laparotomy sponge",
        group="sponges",
        quantity=5,
        numbers=(1, 2, 3, 4, 5),
        start_s=at,
        end_s=at + 6,
        pace=80.0 - 10 * len(gaps),
        hesitations=tuple(Gap(start_s=at + n, end_s=at + n + gap) for n, gap in enumerate(gaps)),
        clean=clean,
    )


def an_attempt(number: int, *, learner: str = "L1", length: float = 30.0) -> Attempt:
    gaps = [2.5] * max(0, 3 - number)
    asks = ("Four was not heard between three and five.",) if number < 3 else ()
    return Attempt(
        attempt_id=f"{number:016x}",
        name=f"practice {number} {ODD}.wav",
        learner=learner,
        measured_at=datetime(2026, 3, number, 9, tzinfo=UTC),
        made_with="tests",
        kit_title="Invented kit",
        duration_s=length,
        peaks=tuple((-0.1 - n % 5 / 10, 0.1 + n % 7 / 10) for n in range(200)),
        lines=(
            Shown(
                number=1,
                start_s=2,
                end_s=8,
                text="Laparotomy sponge",
                heard="5",
                should_be="5",
                words="laps one two three four five",
                confidence=0.9,
                questions=asks,
            ),
        ),
        sequences=(counted(1, 2, *gaps, clean=not asks),),
    )


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """Three attempts of one learner without their sound, and one of another."""
    kept = Store(tmp_path / "attempts")
    for attempt in [*map(an_attempt, (1, 2, 3)), an_attempt(4, learner="L2")]:
        place = kept.folder / attempt.attempt_id
        place.mkdir(parents=True)
        (place / "attempt.json").write_text(attempt.model_dump_json())
    return kept


def an_entry(**more: object) -> Entry:
    made = {"kind": "comment", "role": Role.EDUCATOR, "initials": "ED", "text": f"slower {ODD}"}
    return Entry.model_validate({**made, "made_at": PRINTED, **more})


def made_of(store: Store, size: Size = Size.A4) -> Practice:
    ids = [each.attempt_id for each in store.attempts() if each.learner == "L1"]
    return practice_of(store, ids, CHECKLIST, size, PRINTED)


@pytest.mark.parametrize("size", Size)
def test_every_page_says_what_it_is(store: Store, size: Size) -> None:
    store.add(f"{1:016x}", an_entry(at_s=4.0))
    made = made_of(store, size)
    data = practice_sheet(made)
    for box in [page.mediabox for page in PdfReader(io.BytesIO(data)).pages]:
        assert (float(box.width), float(box.height)) == pytest.approx(PAPER[size], abs=0.5)
    for number, words in enumerate(pages(data), start=1):
        assert "PRACTICE, NOT CONFIRMED:" in words and "no count record" in words
        assert "Learner L1" in words and f"SHA-256 {made.sha256} of 3 attempts" in words
        assert "listen to the place before you judge" in words
        assert f"Page {number} of" in words and made.software in words
    whole = " ".join(pages(data))
    assert "pace 60 to 80 numbers a minute; pauses 2 to 0; slips 1 to 0" in whole
    assert "Four was not heard between three and five." in whole
    assert "ED, comment at 0:04.0: slower" in whole
    for point in CHECKLIST.points:
        assert point.say in whole
    assert "[U+202E]trick" in whole


@pytest.mark.parametrize("size", Size)
def test_nothing_stands_outside_the_margins(store: Store, size: Size) -> None:
    document = pypdfium2.PdfDocument(practice_sheet(made_of(store, size)))
    for page in document:
        image = page.render(scale=1).to_pil().convert("L")
        width, height = image.size
        inner = image.crop((30, 30, width - 30, height - 30))
        outside = image.copy()
        outside.paste(255, (30, 30, width - 30, height - 30))
        assert outside.getextrema() == (255, 255)
        assert inner.getextrema()[0] < 50


def test_it_is_black_and_grey(store: Store) -> None:
    for page in pypdfium2.PdfDocument(practice_sheet(made_of(store))):
        image = page.render(scale=1).to_pil().convert("RGB")
        red, green, blue = image.split()
        assert red.tobytes() == green.tobytes() == blue.tobytes()


def spots(values: list[float | None], top: float | None = None) -> list[tuple[float, float]]:
    drawing = figure("Pace", "numbers a minute", values, 160, top)
    return [(each.cx, each.cy) for each in drawing.contents if isinstance(each, Circle)]


def test_a_figure_has_a_spot_for_each_value_at_its_height() -> None:
    """Equal steps across and heights in proportion, reckoned from the drawn shapes."""
    (x1, y1), (x2, y2), (x3, y3) = spots([10, 20, 40])
    assert x2 - x1 == pytest.approx(x3 - x2)
    assert (y3 - y2) == pytest.approx(2 * (y2 - y1))
    assert len(spots([1, None, 3])) == 2 and spots([None]) == [] and len(spots([0, 0])) == 2
    assert spots([50], 100)[0][1] < spots([50])[0][1] < FIGURE_HEIGHT


@pytest.mark.parametrize(("length", "rows"), [(0.5, 1), (20, 1), (20.1, 2), (160, 8), (3600, 8)])
def test_the_whole_recording_is_drawn(length: float, rows: int) -> None:
    assert len(sound_rows(an_attempt(1, length=length), 500)) == rows


def test_lines_and_pauses_stand_where_they_were() -> None:
    """A row of 500 points has 20 s: 25 points a second. The line lasts from 2 s to 8 s."""
    drawing = sound_rows(an_attempt(1), 500)[0]
    boxes = [each for each in drawing.contents if isinstance(each, Rect)]
    pauses = [each for each in boxes if each.strokeDashArray]
    (bar,) = (each for each in boxes if not each.strokeDashArray)
    assert (bar.x, bar.width) == pytest.approx((50, 150))
    assert [(each.x, each.width) for each in pauses] == [
        pytest.approx((50, 62.5)),
        pytest.approx((75, 62.5)),
    ]


def test_it_is_verified(store: Store, tmp_path: Path) -> None:
    data = practice_sheet(made_of(store))
    assert practice_sheet(made_of(store)) == data
    found, sentence = verify_practice(data, store)
    assert found is Finding.MATCHES and "words on every page are those" in sentence
    store.add(f"{2:016x}", an_entry())
    assert verify_practice(data, store)[0] is Finding.CHANGED_SINCE
    assert verify_practice(practice_sheet(made_of(store)), store)[0] is Finding.MATCHES
    changed = store.read(f"{1:016x}").model_copy(update={"duration_s": 29.0})
    (store.folder / changed.attempt_id / "attempt.json").write_text(changed.model_dump_json())
    assert verify_practice(data, store)[0] is Finding.ANOTHER
    assert verify_practice(data, Store(tmp_path / "none"))[0] is Finding.ANOTHER


@pytest.mark.parametrize("change", [lambda w: w.remove_page(0), lambda w: w.add_blank_page()])
def test_a_changed_sheet_is_found(store: Store, change: Callable[[PdfWriter], object]) -> None:
    writer = PdfWriter(clone_from=io.BytesIO(practice_sheet(made_of(store))))
    change(writer)
    out = io.BytesIO()
    writer.write(out)
    assert verify_practice(out.getvalue(), store)[0] is Finding.ALTERED


def test_a_sheet_is_about_one_learner(store: Store) -> None:
    with pytest.raises(BadInput, match="one learner"):
        practice_of(store, [f"{1:016x}", f"{4:016x}"], CHECKLIST, Size.A4)
    with pytest.raises(BadInput, match="one learner"):
        practice_of(store, [], CHECKLIST, Size.A4)


def test_of_the_command(
    command: Command,  # noqa: F811
    ledger_file: Path,  # noqa: F811
    tmp_path: Path,
) -> None:
    recordings = Path(__file__).parents[2] / "audio_fixtures"
    for learner, name in [("L1", "laps-five.flac"), ("L2", "i-mean.flac")]:
        (tmp_path / "lab" / learner).mkdir(parents=True, exist_ok=True)
        shutil.copy(recordings / name, tmp_path / "lab" / learner)
    out = tmp_path / "sheets"
    done = command("review", tmp_path / "lab", "--sheet", out, "--processes", 1)
    assert done.code == 0
    names = [f"practice-summary-{learner}.pdf" for learner in ("L1", "L2")]
    assert sorted(path.name for path in out.iterdir()) == names
    assert [Path(line).name for line in done.err.splitlines()] == names
    done = command("verify", out / names[0])
    assert (done.code, done.out[:26]) == (0, "Matches the kept attempts.")
    whole = " ".join(pages((out / names[0]).read_bytes()))
    assert "laps-five.flac" in whole and "i-mean" not in whole
    done = command("review", tmp_path / "lab", "--sheet", out, "--processes", 1)
    assert done.code == 2 and "is there already; --replace" in done.err
    done = command("review", tmp_path / "lab", "--sheet", out, "--paper", "a3")
    assert (done.code, done.err) == (2, "The paper is a4 or letter.\n")
