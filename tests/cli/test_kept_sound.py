"""countersign sound: what is kept, held and deleted, and what the record says of it."""

import os
import time
from hashlib import sha256
from pathlib import Path

import pytest
from tests.cli.conftest import Command

from countersign.ledger import CaseHistory, open_ledger, read_case

PERSON = ("--role", "circulator", "--initials", "CD")


def history(path: Path, case: str) -> CaseHistory:
    opened = open_ledger(path)
    try:
        return read_case(opened, case)
    finally:
        opened.close()


@pytest.fixture
def sound(ledger_file: Path, kept_case: str) -> Path:
    """The folder of a live case that was ended."""
    folder = ledger_file.parent / "sound" / kept_case
    folder.mkdir(parents=True)
    (folder / "sound.wav").write_bytes(b"RIFF" + bytes(1000))
    (folder / "words.jsonl").write_text('"end"\n')
    return folder


def test_deleting_leaves_the_record_and_says_so_in_it(
    command: Command, sound: Path, kept_case: str, ledger_file: Path
) -> None:
    before = history(ledger_file, kept_case)
    listed = command("sound", "list")
    assert kept_case in listed.out
    expected = sha256((sound / "sound.wav").read_bytes()).hexdigest()
    done = command("sound", "delete", kept_case, *PERSON, "--reason", "30 days are over")
    assert done.code == 0, done.err
    assert not sound.exists() and list(sound.parent.iterdir()) == []
    after = history(ledger_file, kept_case)
    assert after.events == before.events and after.decisions == before.decisions
    act = after.sound_deleted
    assert act is not None and (act.initials, act.role.value) == ("CD", "circulator")
    assert act.reason == "30 days are over"
    assert [(file.name, file.size_bytes) for file in act.files] == [
        ("sound.wav", 1004),
        ("words.jsonl", 6),
    ]
    assert act.files[0].sha256 == expected
    again = command("sound", "delete", kept_case, *PERSON)
    assert again.code == 2 and "was deleted by CD (circulator)" in again.err
    assert "No sound is kept." in command("sound", "list").out


def test_held_sound_is_not_deleted(command: Command, sound: Path, kept_case: str) -> None:
    assert command("sound", "hold", kept_case, *PERSON, "--reason", "incident").code == 0
    assert "held by CD: incident" in command("sound", "list").out
    refused = command("sound", "delete", kept_case, *PERSON)
    assert refused.code == 2 and "is held by CD" in refused.err
    command("sound", "delete", "--older-than", "0", *PERSON)
    assert (sound / "sound.wav").is_file()
    assert command("sound", "release", kept_case, *PERSON).code == 0
    assert command("sound", "delete", kept_case, *PERSON).code == 0
    assert not sound.exists()


def test_only_old_sound_goes(command: Command, sound: Path) -> None:
    assert "no sound to delete" in command("sound", "delete", "--older-than", "30", *PERSON).err
    long_ago = time.time() - 31 * 86400
    for file in sound.iterdir():
        os.utime(file, (long_ago, long_ago))
    assert command("sound", "delete", "--older-than", "30", *PERSON).code == 0
    assert not sound.exists()


def test_what_cannot_be_deleted(command: Command, ledger_file: Path, sound: Path) -> None:
    command("read", "--keep", "laps one two three four five")
    opened = open_ledger(ledger_file)
    from countersign.kit import demo_kit_path, read_kit
    from countersign.ledger import open_case

    live = open_case(opened, read_kit(demo_kit_path()), "live")
    opened.close()
    (sound.parent / live).mkdir()
    (sound.parent / live / "sound.wav").write_bytes(b"x")
    for case, words in ((live, "is still listened to"), ("0101-none", "no case 0101-none")):
        done = command("sound", "delete", case, *PERSON)
        assert done.code == 2 and words in done.err and done.err.count("\n") == 1
    assert (sound.parent / live / "sound.wav").is_file()
    both = command("sound", "delete", live, "--older-than", "3", *PERSON)
    assert both.code == 2


@pytest.mark.parametrize("written", [True, False])
def test_a_deletion_that_was_cut_short_is_settled(
    command: Command, sound: Path, kept_case: str, monkeypatch: pytest.MonkeyPatch, written: bool
) -> None:
    """Killed between its steps: finished where the record says so, taken back where not."""

    def cut(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    target = "shutil.rmtree" if written else "append_note"
    with monkeypatch.context() as broken:
        broken.setattr(f"countersign.listening.retention.{target}", cut)
        if not written:
            broken.setattr("pathlib.Path.rename", _rename_once())
        assert command("sound", "delete", kept_case, *PERSON).code == 130
    assert not sound.exists()
    listed = command("sound", "list").out
    assert (kept_case in listed) is not written
    assert sound.exists() is not written


def _rename_once():  # type: ignore[no-untyped-def]
    """Renames forward, but not back: as when the process is gone."""
    real, calls = Path.rename, []

    def rename(self: Path, target: Path) -> Path:
        calls.append(target)
        return real(self, target) if len(calls) == 1 else target

    return rename
