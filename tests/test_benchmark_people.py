"""People saying numbers: the sets, and the counting of what was heard right."""

from pathlib import Path

import numpy as np
import pytest
import soundfile
from tests.benchmarks.clips import Absent
from tests.benchmarks.people import (
    DIGIT_SET,
    NUMBERS,
    PADDING_S,
    Result,
    Saying,
    Set,
    found_in_order,
    gather,
    own_model,
    page_of,
    prompts,
    right,
    samples_of,
    single_digits,
    strings,
    table,
)


def test_one_word_must_be_the_only_one() -> None:
    seven = Saying(Path("7_a_1.wav"), "a", ("seven",))
    assert right(seven, True, ["seven"]) == (1, 1)
    for heard in ([], ["eleven"], ["seven", "seven"], ["oh", "seven"]):
        assert right(seven, True, heard) == (0, 1)


def test_numbers_among_other_words_are_found_in_their_order() -> None:
    assert found_in_order(["two", "nine", "three"], ["two", "of", "nine", "three"]) == 3
    assert found_in_order(["two", "nine", "three"], ["nine", "two", "three"]) == 2
    assert found_in_order(["two"], []) == found_in_order([], ["two"]) == 0
    string = Saying(Path("s.wav"), "a", ("two", "nine"))
    assert right(string, False, ["nine", "two"]) == (1, 2)


def test_every_number_of_the_prompts_is_one_word() -> None:
    assert len(NUMBERS) == len(set(NUMBERS)) == 28
    assert all(" " not in number for number in NUMBERS)


def test_sets_by_person_and_absent_ones(tmp_path: Path) -> None:
    for name in ("3_ann_0.wav", "4_ann_1.wav", "3_bob_0.wav"):
        soundfile.write(tmp_path / name, np.zeros(800), 8_000)
    found = single_digits(tmp_path)
    assert [len(one.sayings) for one in found] == [2, 1]
    assert found[0].name.endswith("person 1") and found[0].sayings[0].said == ("three",)
    with pytest.raises(Absent, match="asterisk"):
        prompts(tmp_path, tmp_path)
    _, notes = gather((lambda: strings(tmp_path / "none", tmp_path), lambda: found))
    assert len(notes) == 1 and "skipped because" in notes[0]


def test_prompts_are_found_by_their_names(tmp_path: Path) -> None:
    folder = tmp_path / "digits"
    folder.mkdir()
    for name in ("0", "7", "20", "90", "100", "h-7", "oh"):
        soundfile.write(folder / f"{name}.wav", np.zeros(800), 8_000)
    digits, numbers = prompts(tmp_path, tmp_path)
    assert [saying.said for saying in digits.sayings] == [("zero",), ("seven",)]
    assert {saying.said for saying in numbers.sayings} == {
        ("zero",), ("seven",), ("twenty",), ("ninety",),
    }  # fmt: skip


def test_silence_is_put_around(tmp_path: Path) -> None:
    path = tmp_path / "7_a_0.wav"
    soundfile.write(path, np.full(1_600, 0.25), 16_000, subtype="PCM_16")
    samples = samples_of(path)
    edge = int(PADDING_S * 16_000)
    assert len(samples) == 2 * edge + 1_600
    assert not samples[:edge].any() and not samples[-edge:].any()
    faint = samples_of(path, faint_noise=True)
    assert 0 < abs(faint[:edge]).max() <= 3 and (faint[edge:-edge] == samples[edge:-edge]).all()


def test_the_own_model_hears_a_made_digit_of_a_closed_list(tmp_path: Path) -> None:
    """A fixture of numbers said one by one: the closed list of its words hears them all."""
    root = Path(__file__).resolve().parents[1]
    recording = root / "audio_fixtures" / "raytecs-ten-slow.flac"
    said = "one two three four five six seven eight nine ten".split()
    heard = own_model(said, one=False)(samples_of(recording))
    assert found_in_order(said, heard) >= 9


def test_the_table_has_a_row_for_each_set() -> None:
    page = table({"Digits": {"countersign": (9, 10)}}, ["countersign", "whisper"])
    assert "| Digits | 90.0 % of 10 | – |" in page


def test_the_page_sums_the_people_and_names_confusions() -> None:
    found = [Set(f"{DIGIT_SET}person {n}", ("one",), True, ()) for n in (1, 2)]
    scores = {found[0].name: (9, 10), found[1].name: (6, 10)}
    result = Result(scores=scores, confused={"five as nine": 3, "six as eight": 5})
    page = page_of({"countersign": Result.model_validate(result.model_dump())}, found, ["Note."])
    assert "| Digits, 8 kHz, all people | 75.0 % of 20 |" in page
    assert "- Note." in page and "heard six as eight (5), five as nine (3)." in page
