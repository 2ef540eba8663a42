"""Commands for the kept sound of live cases: how long it stays, and deleting it."""

from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.text import Text

from countersign import settings
from countersign.cli_options import CaseArgument, LedgerOption
from countersign.problems import BadInput
from countersign.terminal import say, screen

if TYPE_CHECKING:
    from countersign.tally.record import Role

sound_app = typer.Typer(
    help="The kept sound of live cases: hold it, or delete it; the record stays.",
    rich_markup_mode=None,
)

RoleOption = Annotated[str, typer.Option("--role", help="scrub, circulator, relief or educator.")]
InitialsOption = Annotated[str, typer.Option("--initials", help="Your initials.")]
ReasonOption = Annotated[str, typer.Option("--reason", help="Why, in your words.")]


@sound_app.command("list")
def list_(ledger: LedgerOption = None) -> None:
    """List the cases whose sound is kept."""
    from countersign.ledger import open_ledger
    from countersign.listening.retention import kept_cases

    with closing(open_ledger(ledger, create=False)) as opened:
        found = kept_cases(opened, _folder(ledger))
    for case in found:
        words = f"{case.case_id}  {case.ended_at.astimezone():%Y-%m-%d}  "
        words += f"{case.size_bytes / 1e6:.1f} MB"
        words += ", live" if case.live else ""
        words += f", held by {case.held.initials}: {case.held.reason}" if case.held else ""
        screen().print(Text(words), soft_wrap=True)
    if not found:
        screen().print(Text("No sound is kept."))


@sound_app.command("hold")
def hold(
    case: CaseArgument,
    role: RoleOption,
    initials: InitialsOption,
    reason: ReasonOption = "",
    ledger: LedgerOption = None,
) -> None:
    """Keep the sound of a case from being deleted."""
    _hold(case, role, initials, reason, ledger, release=False)


@sound_app.command("release")
def release(
    case: CaseArgument,
    role: RoleOption,
    initials: InitialsOption,
    reason: ReasonOption = "",
    ledger: LedgerOption = None,
) -> None:
    """Let the sound of a case be deleted again."""
    _hold(case, role, initials, reason, ledger, release=True)


@sound_app.command("delete")
def delete(
    role: RoleOption,
    initials: InitialsOption,
    case: Annotated[
        str | None, typer.Argument(metavar="[CASE]", help="The name of a kept case.")
    ] = None,
    older_than: Annotated[
        int | None,
        typer.Option(
            "--older-than", min=0, metavar="DAYS", help="All ended cases that nobody holds."
        ),
    ] = None,
    reason: ReasonOption = "",
    ledger: LedgerOption = None,
) -> None:
    """Delete kept sound and words; the record stays, and says who deleted them and when.

    Your policy and law may ask for the sound to be kept, or to be gone after some days.
    """
    from countersign.ledger import open_ledger
    from countersign.listening import retention

    if (case is None) == (older_than is None):
        raise BadInput("Name a case, or give --older-than.")
    who, as_role = _person(initials, role)
    folder = _folder(ledger)
    with closing(open_ledger(ledger, create=False)) as opened:
        if older_than is not None:
            kept = retention.kept_cases(opened, folder)
            names = [
                each.case_id for each in retention.older_than(kept, older_than, datetime.now(UTC))
            ]
        else:
            names = [(case or "").strip().lower()]
        for name in names:
            act = retention.delete_sound(opened, folder, name, as_role, who, reason)
            say(f"Case {name}: {len(act.files)} files were deleted; the record says so.")
        if not names:
            say("There is no sound to delete.")


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.add_typer(sound_app, name="sound")


def _hold(
    case: str, role: str, initials: str, reason: str, ledger: str | None, *, release: bool
) -> None:
    from countersign.ledger import open_ledger
    from countersign.listening import retention

    who, as_role = _person(initials, role)
    name = case.strip().lower()
    with closing(open_ledger(ledger, create=False)) as opened:
        retention.hold(opened, name, as_role, who, reason, release=release)
    say(f"The sound of case {name} is {'no longer held' if release else 'held'}.")


def _folder(ledger: str | None) -> Path:
    return settings.beside(settings.ledger_place(ledger)).parent / "sound"


def _person(initials: str, role: str) -> "tuple[str, Role]":
    from countersign.confirm.amending import NotUnderstood, read_initials, read_role

    try:
        return read_initials(initials), read_role(role)
    except NotUnderstood as problem:
        raise BadInput(str(problem)) from None
