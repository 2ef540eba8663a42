"""What a kit may say of set-up and medications, and what is wrong with it."""

from pathlib import Path

import pytest

from countersign.kit import check_kit, demo_kit_path, read_kit
from countersign.kit.model import SetUpNote
from countersign.kit.written import read_strength
from countersign.problems import BadInput

GOOD = """\
title = "Small kit"
procedure = "Something small"
mayo_stand = ["clamp"]
back_table = ["sponge"]

[[item]]
id = "sponge"
label = "Sponge"
group = "sponges"
spoken = ["sponge", "sponges"]

[[item]]
id = "clamp"
label = "Clamp"
group = "instruments"
spoken = ["clamp", "clamps"]

[[medication]]
id = "water"
label = "Sterile water"
spoken = ["sterile water"]

[[medication]]
id = "lidocaine"
label = "Lidocaine"
spoken = ["lidocaine"]
strengths = ["1 %", "1:200,000", "10 mg/mL", "5 mcg/mL", "1000 units/mL", "1 g"]
diluent = "water"
keeps_hours = 6

[set_up.clamp]
order = 1
tip = "towards the patient"
handle = "towards the scrub"

[set_up.sponge]
order = 2

[pronunciations]
lidocaine = ["L AY D AH K EY N"]
"""


def found(tmp_path: Path, old: str = "", new: str = "") -> list[tuple[int, str, str]]:
    assert old in GOOD
    path = tmp_path / "kit.toml"
    path.write_text(GOOD.replace(old, new, 1) if old else GOOD, encoding="utf-8")
    return [(m.line, m.level, m.sentence) for m in check_kit(path) if m.level != "notice"]


def test_a_kit_that_says_everything(tmp_path: Path) -> None:
    assert found(tmp_path) == []
    kit = read_kit(tmp_path / "kit.toml")
    assert kit.set_up["clamp"] == SetUpNote(
        order=1, tip="towards the patient", handle="towards the scrub"
    )
    assert kit.medication("lidocaine").diluent == "water"
    assert kit.medication("lidocaine").keeps_hours == 6


def test_a_kit_that_says_nothing_of_it_is_as_good(tmp_path: Path) -> None:
    path = tmp_path / "kit.toml"
    start = GOOD.index("diluent"), GOOD.index("[pronunciations]")
    path.write_text(GOOD[: start[0]] + "\n" + GOOD[start[1] :], encoding="utf-8")
    kit = read_kit(path)
    assert kit.set_up == {}
    assert kit.medication("lidocaine").diluent is None


@pytest.mark.parametrize(
    ("old", "new", "line", "level", "said"),
    [
        ('diluent = "water"', 'diluent = "saline"', 28, "error", "no medication of the kit"),
        ('diluent = "water"', 'diluent = "sponge"', 28, "error", "no medication of the kit"),
        ('diluent = "water"', 'diluent = "lidocaine"', 28, "error", "its own diluent"),
        ('diluent = "water"', "diluent = 1", 28, "error", "words in quotation marks"),
        ("keeps_hours = 6", "keeps_hours = 0", 29, "error", "at least 1"),
        ("keeps_hours = 6", 'keeps_hours = "6"', 29, "error", "whole number"),
        ('"1 %"', '"strong"', 27, "warning", "“strong” cannot be compared"),
        ('"1 %"', '"1 drop"', 27, "warning", "“1 drop” cannot be compared"),
        ("[set_up.clamp]", "[set_up.klamp]", 31, "error", "no item of the kit"),
        ("[set_up.clamp]", "[set_up.water]", 31, "error", "no item of the kit"),
        ('tip = "tow', 'tpi = "tow', 33, "error", "did you mean “tip”"),
        ('tip = "towards the patient"', "tip = 3", 33, "error", "words in quotation marks"),
        ("order = 1", "order = 0", 32, "error", "at least 1"),
        ("order = 2", "order = 1", 37, "warning", "the same place 1"),
        ('back_table = ["sponge"]', "back_table = []", 36, "warning", "no list names it"),
        ("[set_up.sponge]\norder = 2", "[set_up]\nsponge = 2", 37, "error", "[set_up.sponge]"),
    ],
)
def test_each_mistake_is_named_with_its_line(
    tmp_path: Path, old: str, new: str, line: int, level: str, said: str
) -> None:
    mistakes = found(tmp_path, old, new)
    assert any(m[:2] == (line, level) and said in m[2] for m in mistakes), mistakes
    if level == "error":
        with pytest.raises(BadInput, match=f"line {line}"):
            read_kit(tmp_path / "kit.toml")


def test_every_demonstration_strength_can_be_compared() -> None:
    kit = read_kit(demo_kit_path())
    for medication in kit.medications:
        assert all(read_strength(text) for text in medication.strengths), medication.id
