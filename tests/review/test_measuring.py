"""What is measured in an attempt, against times and numbers that the tests make up."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from countersign.hearing import TALK, Ears, Utterance, Word
from countersign.kit import Kit
from countersign.meaning import understand
from countersign.review import Attempt, Checklist, Entry, Verdict, analyse, score
from countersign.review.analysis import measured_attempt
from countersign.review.checklist import Point, common_checklist_path, read_checklist
from countersign.review.waveform import MOST_COLUMNS, Peaks
from countersign.tally import build_record
from countersign.tally.record import Role

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"


def spoken(*timed: tuple[str, float]) -> list[Utterance]:
    """One utterance a pause of more than a second, each word 0.3 s long, at the given times."""
    said: list[list[Word]] = [[]]
    for text, at in timed:
        if said[-1] and at - said[-1][-1].end_s > 1.0:
            said.append([])
        said[-1].append(Word(text=text, start_s=at, end_s=at + 0.3))
    return [
        Utterance(words=tuple(words), start_s=words[0].start_s, end_s=words[-1].end_s)
        for words in said
    ]


def attempt_of(kit: Kit, said: list[Utterance]) -> Attempt:
    record = build_record(kit, tuple(understand(said, kit)), ())
    return measured_attempt(
        record,
        said,
        kit,
        attempt_id="0" * 16,
        name="made up",
        learner="L1",
        made_with="tests",
        duration_s=said[-1].end_s + 1,
    )


def one_by_one(item: str, start_s: float, *gaps: float) -> list[tuple[str, float]]:
    words = "one two three four five six seven eight nine ten".split()
    timed, at = [(item, start_s)], start_s + 0.5
    for word, gap in zip(words, (*gaps, 0.0), strict=False):
        timed.append((word, at))
        at += 0.3 + gap
    return timed


def test_pace_is_numbers_a_minute(kit: Kit) -> None:
    # a number every 0.75 s is eighty a minute
    found = attempt_of(kit, spoken(*one_by_one("laps", 1.0, *[0.45] * 4)))
    (sequence,) = found.sequences
    assert sequence.numbers == (1, 2, 3, 4, 5)
    assert sequence.pace == pytest.approx(80, abs=0.1)
    assert found.pace == pytest.approx(80, abs=0.1)
    assert not sequence.hesitations


def test_a_hesitation_is_a_long_pause_between_two_numbers(kit: Kit) -> None:
    found = attempt_of(kit, spoken(*one_by_one("laps", 1.0, 0.4, 3.5, 0.4, 1.5)))
    (sequence,) = found.sequences
    (gap,) = sequence.hesitations
    assert gap.length_s == pytest.approx(3.5)
    assert found.hesitations == 1


def test_twenty_one_is_one_number(kit: Kit) -> None:
    from countersign.review.analysis import _numbers

    words = [w for u in spoken(("twenty", 1.0), ("one", 1.35), ("twenty", 4.0)) for w in u.words]
    assert [number.value for number in _numbers(words)] == [21, 20]


def test_a_restart_and_an_interruption_are_seen(kit: Kit) -> None:
    again = spoken(
        *one_by_one("laps", 1.0, 0.2, 0.2), ("start", 4.0), ("over", 4.4),
        *one_by_one("laps", 5.0, *[0.2] * 4),
    )  # fmt: skip
    assert attempt_of(kit, again).restarts == 1
    talk = spoken(
        ("laps", 1.0), ("one", 1.5), ("two", 2.0), (TALK, 2.5), ("three", 3.0), ("four", 3.5),
        ("five", 4.0),
    )  # fmt: skip
    (sequence,) = attempt_of(kit, talk).sequences
    assert sequence.interrupted
    assert sequence.clean


def points(found: Attempt, *ids: str) -> dict[str, Verdict | None]:
    scored = score(found, read_checklist(common_checklist_path()))
    return {each.point.id: each.verdict for each in scored.points if each.point.id in ids}


def test_the_order_of_groups_and_counting_one_by_one_are_judged(kit: Kit) -> None:
    # sponges before sharps: AORN and AST guidance, from memory
    good = spoken(("initial", 0.2), ("count", 0.5), *one_by_one("laps", 2.0, *[0.2] * 4),
                  *one_by_one("blades", 12.0, 0.2))  # fmt: skip
    assert points(attempt_of(kit, good), "order", "one_by_one") == {
        "order": Verdict.MET,
        "one_by_one": Verdict.MET,
    }
    poor = spoken(("initial", 0.2), ("count", 0.5), *one_by_one("blades", 2.0, 0.2),
                  ("laps", 12.0), ("five", 12.5))  # fmt: skip
    assert points(attempt_of(kit, poor), "order", "one_by_one") == {
        "order": Verdict.NOT_MET,
        "one_by_one": Verdict.PARTLY,
    }


def test_voices_are_never_judged_by_the_program(kit: Kit) -> None:
    found = attempt_of(kit, spoken(*one_by_one("laps", 1.0, *[0.2] * 4)))
    assert points(found, "both_voices") == {"both_voices": None}


def test_labels_and_expiry_are_judged(kit: Kit) -> None:
    from countersign.hearing import written

    full = written(
        "receiving lidocaine one percent plain thirty milliliters expires june twenty thirty"
        " labeled cup",
        1,
    )
    bare = written("receiving bupivacaine thirty milliliters", 1)
    assert points(attempt_of(kit, [full]), "expiry") == {"expiry": Verdict.MET}
    assert points(attempt_of(kit, [bare]), "expiry", "labels") == {
        "expiry": Verdict.NOT_MET,
        "labels": Verdict.NOT_MET,
    }


def test_the_share_is_of_the_weight_that_was_judged_and_a_person_stands_first(kit: Kit) -> None:
    from datetime import UTC, datetime

    found = attempt_of(kit, spoken(*one_by_one("laps", 1.0, *[0.2] * 4)))
    checklist = Checklist.model_validate(
        {
            "title": "t",
            "points": [
                {"id": "a", "say": "a", "check": "one_by_one", "weight": 3},
                {"id": "b", "say": "b", "check": "verdict"},
                {"id": "c", "say": "c"},
            ],
        }
    )
    assert (made := score(found, checklist)).percent == 75  # 3 of 4; c is not judged
    assert made.judged == 2
    said = {"kind": "point", "role": Role.EDUCATOR, "initials": "ED", "made_at": datetime.now(UTC)}
    entries = [
        Entry.model_validate({**said, "point": "b", "verdict": "not met"}),
        Entry.model_validate({**said, "point": "b", "verdict": "partly"}),
        Entry.model_validate({**said, "point": "a", "verdict": "not seen"}),
    ]
    made = score(found, checklist, entries)
    assert made.percent == 50  # only b counts: the later verdict, half
    assert made.points[1].by == "ED"


def test_a_checklist_with_a_mistake_is_one_sentence(tmp_path: Path) -> None:
    from countersign.problems import BadInput

    file = tmp_path / "points.toml"
    for text in (
        "title = ",
        'title = "t"',
        'title = "t"\n[[points]]\nid = "A B"\nsay = "x"',
        'title = "t"\n[[points]]\nid = "a"\nsay = "x"\ncheck = "telepathy"',
        'title = "t"\n[[points]]\nid = "a"\nsay = "x"\n[[points]]\nid = "a"\nsay = "y"',
    ):
        file.write_text(text, encoding="utf-8")
        with pytest.raises(BadInput, match=r"points\.toml"):
            read_checklist(file)
    with pytest.raises(BadInput):
        read_checklist(tmp_path / "nowhere.toml")
    assert Point(id="a", say="x").weight == 1


@pytest.mark.parametrize("length", [0, 100, 399, 400, 5_000, 16_000 * 300 + 7])
def test_peaks_hold_the_least_and_greatest_sample_and_stay_few(length: int) -> None:
    generator = np.random.default_rng(length)
    samples = generator.integers(-20_000, 20_000, length).astype(np.int16)
    peaks, at = Peaks(), 0
    while at < length:
        step = int(generator.integers(1, 4000))
        peaks.add(samples[at : at + step])
        at += step
    columns = peaks.columns()
    assert len(columns) <= MOST_COLUMNS
    assert peaks.duration_s == length / 16_000
    if length:
        assert min(low for low, _ in columns) == round(samples.min() / 32768, 3)
        assert max(high for _, high in columns) == round(samples.max() / 32768, 3)
        # and in their places: the whole is cut in equal stretches
        stretch = 400
        while -(-length // stretch) > MOST_COLUMNS - 1:
            stretch *= 2
        expected = [samples[a : a + stretch] for a in range(0, length, stretch)]
        assert [low for low, _ in columns] == [round(int(e.min()) / 32768, 3) for e in expected]


def test_a_recording_becomes_an_attempt(kit: Kit, ears: Ears) -> None:
    path = FIXTURES / "sharps-three-items.flac"
    found = analyse(path, kit, ears, learner="L1")
    assert found.duration_s == pytest.approx(soundfile.info(path).duration, abs=0.01)
    assert [line.heard for line in found.lines] == ["6", "2", "2"]
    assert next(sequence.numbers for sequence in found.sequences) == (1, 2, 3, 4, 5, 6)
    assert found.pace is not None
    assert 30 < found.pace < 300
    assert found.said
