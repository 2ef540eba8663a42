"""Commands for keeping the ledger: checking it, backing it up and restoring it."""

from contextlib import closing
from pathlib import Path
from typing import Annotated

import typer
from rich.text import Text

from countersign.cli_options import LedgerOption
from countersign.problems import BadInput
from countersign.terminal import say, screen

DIFFERS = 1
"""Exit code of ``ledger check`` where the ledger is whole but a copy or backup says otherwise."""

ledger_app = typer.Typer(help="Check, back up and restore the ledger.", rich_markup_mode=None)

FileArgument = Annotated[Path, typer.Argument(metavar="FILE", help="A backup.")]


@ledger_app.command("check")
def check(
    against: Annotated[
        Path | None,
        typer.Option("--against", metavar="FILE", help="A backup that the ledger must contain."),
    ] = None,
    ledger: LedgerOption = None,
) -> int:
    """Check every entry, the running copy, and a backup.

    Exit code 1 where the copy or the backup is damaged or has what the ledger has not.
    """
    from countersign.ledger import list_cases, open_ledger
    from countersign.ledger.backup import check_against
    from countersign.ledger.chain import head
    from countersign.ledger.opened import reading

    code = 0
    with closing(open_ledger(ledger, create=False)) as opened:
        with reading(opened) as connection:
            at = head(connection)
        cases = len(list_cases(opened))
        entries = at.place - cases
        lines = [
            f"{opened.name} is whole: {cases} case{'' if cases == 1 else 's'}, "
            f"{entries} entr{'y' if entries == 1 else 'ies'}."
        ]
        if at.place:
            lines.append(f"Newest hash: {at.hash} ({at.place} row{'' if at.place == 1 else 's'}).")
        files = [(opened.copy.path, "running copy")] if opened.copy is not None else []
        files += [(against.expanduser(), "backup")] if against is not None else []
        for path, what in files:
            try:
                has, differs = check_against(opened, path)
            except BadInput as problem:
                if what == "backup":
                    raise
                lines.append(str(problem))
                code = DIFFERS
                continue
            if differs is not None:
                code = DIFFERS
                lines.append(f"The {what} {path} has {differs}, the ledger has it not, or other.")
            else:
                lines.append(f"The {what} {path} has the same first {has.place} rows.")
    for line in lines:
        screen().print(Text(line), soft_wrap=True)
    return code


@ledger_app.command("backup")
def backup(
    file: FileArgument,
    replace: Annotated[bool, typer.Option("--replace", help="Write over FILE.")] = False,
    ledger: LedgerOption = None,
) -> None:
    """Write every row to FILE, whole or not at all; encrypted where the ledger has a key."""
    from countersign.ledger import open_ledger
    from countersign.ledger.backup import back_up

    with closing(open_ledger(ledger, create=False)) as opened:
        at = back_up(opened, file.expanduser(), replace=replace)
    say(f"{file}: {at.place} rows. Newest hash: {at.hash or 'none'}.")


@ledger_app.command("restore")
def restore(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="A backup. Default: the running copy."),
    ] = None,
    ledger: LedgerOption = None,
) -> None:
    """Make a missing or damaged ledger anew; the damaged file is moved aside, nothing is removed.

    Stop the program everywhere before.
    """
    from countersign.ledger.backup import restore as make_anew

    made = make_anew(ledger, file.expanduser() if file is not None else None)
    say(f"{made.name} was restored: {made.newest.place} rows.")
    for path in made.moved:
        say(f"What was there before lies in {path}.")


@ledger_app.command("key")
def key(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file for the key.")],
) -> None:
    """Make a key for an encrypted ledger; name its file in COUNTERSIGN_KEY from then on.

    Without this file nobody can read the ledger again: keep a copy of it in a safe place.
    """
    from countersign.ledger.sealing import make_key

    make_key(file.expanduser())
    say(f"The key is in {file}. A ledger begun with COUNTERSIGN_KEY={file} is encrypted with it.")


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.add_typer(ledger_app, name="ledger")
