"""Commands for the pages: serving them, and who may sign in."""

from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Annotated

import typer
from rich.text import Text

from countersign.cli_options import LedgerOption
from countersign.problems import BadInput
from countersign.terminal import say, screen

if TYPE_CHECKING:
    from countersign.tally.record import Role

people_app = typer.Typer(help="Who may sign in to the pages.", rich_markup_mode=None)

_MISSING = "The pages need more packages; install them with: pip install 'countersign[pages]'."

RoleArgument = Annotated[str, typer.Option("--role", help="scrub, circulator, relief or educator.")]
InitialsArgument = Annotated[str, typer.Option("--initials", help="Initials of the person.")]


def serve(
    host: Annotated[str, typer.Option("--host", help="Address to serve on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port.")] = 8734,
    kit: Annotated[
        Path | None, typer.Option("--kit", metavar="FILE", help="The kit for new cases.")
    ] = None,
    model: Annotated[
        Path | None, typer.Option("--model", metavar="FOLDER", help="The acoustic model.")
    ] = None,
    ledger: LedgerOption = None,
    network: Annotated[
        bool, typer.Option("--network", help="Let other machines connect (TLS and PINs).")
    ] = False,
    certificate: Annotated[
        Path | None, typer.Option("--certificate", metavar="FILE", help="TLS certificate (PEM).")
    ] = None,
    checklist: Annotated[
        Path | None,
        typer.Option("--checklist", metavar="FILE", help="The educator's checklist (TOML)."),
    ] = None,
    key: Annotated[
        Path | None, typer.Option("--key", metavar="FILE", help="TLS private key (PEM).")
    ] = None,
) -> None:
    """Serve the pages, on this machine alone unless told otherwise; Ctrl-C ends it."""
    try:
        from countersign.pages import served
        from countersign.pages.server import serve as run_server
    except ImportError:
        raise BadInput(_MISSING) from None
    from countersign.kit import demo_kit_path, read_kit

    settings = served(ledger=ledger, kit=kit, model=model, network=network, checklist=checklist)
    read_kit(settings.kit or demo_kit_path())  # a broken kit is said now, not at the first case
    scheme = "https" if network else "http"
    screen().print(Text(f"The pages are at {scheme}://{host}:{port}/ ; Ctrl-C ends them."))
    run_server(settings, host, port, certificate, key)


@people_app.command("add")
def people_add(role: RoleArgument, initials: InitialsArgument) -> None:
    """Add a person, or give one a new PIN (asked for, twice)."""
    people, path = _people()
    who, as_role = _person(initials, role)
    pin = typer.prompt("PIN", hide_input=True, confirmation_prompt="The PIN again")
    people.add_person(path, who, as_role, pin)
    say(f"{who} may sign in as {as_role.value}.")


@people_app.command("remove")
def people_remove(role: RoleArgument, initials: InitialsArgument) -> None:
    """Take a person off the list."""
    people, path = _people()
    who, as_role = _person(initials, role)
    people.remove_person(path, who, as_role)
    say(f"{who} can no longer sign in as {as_role.value}.")


@people_app.command("list")
def people_list() -> None:
    """List who may sign in."""
    people, path = _people()
    listed = people.read_people(path)
    for person in listed:
        screen().print(Text(f"{person.initials}, {person.role.value}"))
    if not listed:
        screen().print(Text("Nobody has a PIN yet."))


def register(app: typer.Typer) -> None:
    """Add these commands to ``app``."""
    app.command("serve")(serve)
    app.add_typer(people_app, name="people")


def _people() -> tuple[ModuleType, Path]:
    """The module that keeps people, and the file they are in."""
    try:
        from countersign.pages import people, served
    except ImportError:
        raise BadInput(_MISSING) from None
    return people, served().people


def _person(initials: str, role: str) -> "tuple[str, Role]":
    from countersign.confirm.amending import NotUnderstood, read_initials, read_role

    try:
        return read_initials(initials), read_role(role)
    except NotUnderstood as problem:
        raise BadInput(str(problem)) from None
