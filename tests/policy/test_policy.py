"""Policy files: what is wrong with them and where, and the steps they ask for."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from countersign.kit.model import Group, Item, Kit
from countersign.policy import (
    applies,
    check_policy,
    checklist,
    common_policy_path,
    may_enter,
    read_policy,
)
from countersign.problems import BadInput
from countersign.tally.record import Discrepancy, Role, StepDone

GOOD = """\
title = "Ours"
caution = "Ask the charge nurse."

[[step]]
id = "recount"
say = "Count again."
by = ["scrub", "circulator"]

[[step]]
id = "magnet"
say = "Use the magnet on the floor."
by = ["circulator"]
when = "missing"
groups = ["sharps"]

[[step]]
id = "wrappers"
say = "Look at the wrappers."
when = "over"
"""
KIT = Kit(
    title="Test kit",
    procedure="Test",
    items=(
        Item(id="lap", label="Lap", group=Group.SPONGES, spoken=("lap",)),
        Item(id="needle", label="Needle", group=Group.SHARPS, spoken=("needle",)),
    ),
)


def write(folder: Path, text: str) -> Path:
    path = folder / "policy.toml"
    path.write_text(text, encoding="utf-8")
    return path


def changed(old: str, new: str) -> str:
    assert old in GOOD
    return GOOD.replace(old, new, 1)


def found(folder: Path, text: str) -> list[tuple[int, str, str]]:
    return [(m.line, m.level, m.sentence) for m in check_policy(write(folder, text))]


def discrepancy(item: str, counted: int, **fields: object) -> Discrepancy:
    return Discrepancy.model_validate(
        {"item": item, "line": 7, "latest": 7, "counted": counted, "expected": 10, **fields}
    )


def test_a_good_policy_has_no_mistakes(tmp_path: Path) -> None:
    assert found(tmp_path, GOOD) == []
    policy = read_policy(tmp_path / "policy.toml")
    assert [step.id for step in policy.steps] == ["recount", "magnet", "wrappers"]
    assert policy.step("magnet").groups == (Group.SHARPS,)


@pytest.mark.parametrize(
    ("old", "new", "line", "level", "said"),
    [
        ('say = "Count again."', "say = = 1", 6, "error", "not TOML"),
        ('say = "Count again."', "say = 1", 6, "error", "words in quotation marks"),
        ('say = "Count again."', "say = 2020-01-01", 6, "error", "words in quotation marks"),
        ('say = "Count again."', 'say = " "', 6, "error", "“recount” says nothing"),
        ('say = "Count again."', "", 4, "error", "“recount” has no say"),
        ('say = "Count', 'sya = "Count', 6, "error", "did you mean “say”"),
        ('id = "magnet"', 'id = "recount"', 10, "error", "used twice"),
        ('id = "magnet"', 'id = "Magnet 1"', 10, "error", "lower-case letters"),
        ('id = "magnet"', "", 9, "error", "Step number 2 has no id"),
        ('by = ["circulator"]', 'by = ["nurse"]', 12, "error", "the roles are scrub"),
        ('by = ["circulator"]', 'by = "circulator"', 12, "error", "list of words"),
        ('when = "missing"', 'when = "lost"', 13, "error", "“missing” or “over”"),
        ('groups = ["sharps"]', 'groups = ["pins"]', 14, "error", "the groups are sponges"),
        ('title = "Ours"', "", 1, "error", "The policy has no title"),
        ('title = "Ours"', 'title = ""', 1, "error", "empty title"),
        ('caution = "Ask the charge nurse."', 'caution = " "', 2, "error", "empty caution"),
        ('title = "Ours"', 'title = "Ours"\ntitel = "x"', 2, "error", "did you mean “title”"),
        ("[[step]]", "[step]", 4, "error", ""),
        (
            '"Use the magnet on the floor."',
            '"count  AGAIN."',
            11,
            "warning",
            "says the same as step “recount”",
        ),
        ('"Count again."', f'"{"Count again. " * 30}"', 6, "warning", "more than 240"),
    ],
)
def test_each_mistake_is_named_with_its_line(
    tmp_path: Path, old: str, new: str, line: int, level: str, said: str
) -> None:
    mistakes = found(tmp_path, changed(old, new))
    if not said:
        assert mistakes and mistakes[0][1] == "error"
        return
    assert any(m[:2] == (line, level) and said in m[2] for m in mistakes), mistakes
    if level == "error":
        with pytest.raises(BadInput, match=f"line {mistakes[0][0]}"):
            read_policy(tmp_path / "policy.toml")
    else:
        read_policy(tmp_path / "policy.toml")


def test_one_mistake_does_not_hide_another(tmp_path: Path) -> None:
    text = changed('id = "magnet"', 'id = "recount"').replace('"over"', '"more"')
    assert [m[0] for m in found(tmp_path, text)] == [10, 19]


@pytest.mark.parametrize("text", ["", 'title = "x"', "[", "x = [" * 3000, "\x00", "[[step"])
def test_broken_text_is_a_mistake_with_a_line(tmp_path: Path, text: str) -> None:
    mistakes = found(tmp_path, text)
    assert mistakes and all(m[0] >= 1 for m in mistakes)
    with pytest.raises(BadInput):
        read_policy(tmp_path / "policy.toml")


def test_what_is_as_long_as_a_file_is_quoted_by_its_beginning(tmp_path: Path) -> None:
    path = tmp_path / "policy.toml"
    path.write_text("k" * 5000 + ' = "x"\n[[step]]\nid = "s' + "t" * 5000 + '"\n', encoding="utf-8")
    sentences = [mistake.sentence for mistake in check_policy(path)]
    assert any(each.startswith(f"“{'k' * 60}…” is not something") for each in sentences)
    assert any(sentence.startswith("Step “sttt") for sentence in sentences)
    assert all(len(sentence) < 300 for sentence in sentences)
    with pytest.raises(BadInput) as refused:
        read_policy(path)
    assert len(str(refused.value)) < 300 + len(str(path))


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no policy file"):
        check_policy(tmp_path / "absent.toml")
    with pytest.raises(BadInput, match="is a folder"):
        check_policy(tmp_path)
    path = tmp_path / "policy.toml"
    path.write_bytes(b'title = "a"\nx = "\xff"\n')
    with pytest.raises(BadInput, match=r"line 2: the policy file is not UTF-8"):
        check_policy(path)
    path.write_bytes(b"#" * 100_001)
    with pytest.raises(BadInput, match="too large"):
        check_policy(path)


def test_the_shipped_policy_is_marked_as_common_practice() -> None:
    assert check_policy(common_policy_path()) == []
    policy = read_policy()
    assert "common practice" in policy.caution and "facility's policy decides" in policy.caution
    # What AORN and AST guidance (from memory) and common practice ask for when a count differs.
    for wanted in ("recount", "tell_surgeon", "image", "document"):
        assert policy.step(wanted)
    searched = " ".join(step.say for step in policy.steps if step.id.startswith("search"))
    for place in ("field", "drapes", "floor", "bins", "linen"):
        assert place in searched
    missing = discrepancy("needle", 9)
    assert all(applies(step, missing, KIT) for step in policy.steps)


@pytest.mark.parametrize(
    ("found_now", "steps"),
    [
        (discrepancy("needle", 9), ["recount", "magnet"]),
        (discrepancy("lap", 9), ["recount"]),
        (discrepancy("lap", 11), ["recount", "wrappers"]),
        (discrepancy("needle", 10, missing_parts=("cap",)), ["recount", "magnet"]),
    ],
)
def test_steps_for_what_is_missing_or_over(
    tmp_path: Path, found_now: Discrepancy, steps: list[str]
) -> None:
    policy = read_policy(write(tmp_path, GOOD))
    listed = checklist(policy, found_now, KIT)
    assert [checked.step.id for checked in listed] == steps
    assert all(checked.done is None for checked in listed)


def test_steps_of_another_policy_are_listed_after_its_own(tmp_path: Path) -> None:
    policy = read_policy(write(tmp_path, GOOD))
    made = [
        StepDone(
            item="lap",
            line=7,
            step=name,
            text=f"Text of {name}.",
            role=Role.SCRUB,
            initials="AB",
            at=datetime(2026, 3, 2, tzinfo=UTC),
        )
        for name in ("older", "recount")
    ]
    listed = checklist(policy, discrepancy("lap", 9, steps=made), KIT)
    assert [(c.step.id, c.done is not None) for c in listed] == [
        ("recount", True),
        ("older", True),
    ]
    assert listed[1].step.say == "Text of older."


def test_who_may_enter_a_step(tmp_path: Path) -> None:
    policy = read_policy(write(tmp_path, GOOD))
    magnet, wrappers = policy.step("magnet"), policy.step("wrappers")
    assert [may_enter(magnet, role) for role in Role] == [False, True, True, False]
    assert all(may_enter(wrappers, role) for role in Role)
