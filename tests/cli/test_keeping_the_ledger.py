"""countersign ledger check, backup, restore and key."""

import stat
from pathlib import Path

from tests.cli.conftest import Command

from countersign.ledger import open_ledger, read_case


def test_check_says_what_is_there(command: Command, kept_case: str, ledger_file: Path) -> None:
    done = command("ledger", "check")
    assert done.code == 0, done.err
    assert f"{ledger_file} is whole: 1 case, 4 entries." in done.out
    assert f"The running copy {ledger_file}.copy has the same first 5 rows." in done.out


def test_backup_restore_and_check_against(
    command: Command, kept_case: str, ledger_file: Path, tmp_path: Path
) -> None:
    backup = tmp_path / "backup"
    assert "5 rows" in command("ledger", "backup", backup).err
    opened = open_ledger(ledger_file)
    before = read_case(opened, kept_case)
    opened.close()
    assert command("ledger", "check", "--against", backup).code == 0
    whole = command("ledger", "restore", backup)
    assert whole.code == 2 and "is whole; nothing was changed" in whole.err
    data = ledger_file.read_bytes()
    assert b"ten raytecs" in data
    ledger_file.write_bytes(data.replace(b"ten raytecs", b"two raytecs"))
    damaged = command("cases")
    assert damaged.code == 2 and "run countersign ledger restore" in damaged.err
    assert damaged.err.count("\n") == 1
    assert command("ledger", "restore", backup).code == 0
    opened = open_ledger(ledger_file)
    assert read_case(opened, kept_case) == before
    opened.close()


def test_check_against_a_backup_with_more(
    command: Command, kept_case: str, tmp_path: Path, ledger_file: Path
) -> None:
    """As when someone cut ledger and copy at their ends: an older state is all that is there."""
    earlier = [path.read_bytes() for path in (ledger_file, Path(f"{ledger_file}.copy"))]
    assert command("read", "--keep", "laps one two three four five").code == 0
    assert command("ledger", "backup", tmp_path / "backup").code == 0
    for path, data in zip((ledger_file, Path(f"{ledger_file}.copy")), earlier, strict=True):
        path.write_bytes(data)
    done = command("ledger", "check", "--against", tmp_path / "backup")
    assert done.code == 1
    assert "has case" in done.out and "the ledger has it not" in done.out


def test_a_key_is_made_once(command: Command, tmp_path: Path) -> None:
    key = tmp_path / "key"
    assert command("ledger", "key", key).code == 0
    assert stat.S_IMODE(key.stat().st_mode) == 0o600
    again = command("ledger", "key", key)
    assert again.code == 2 and "File exists" in again.err
