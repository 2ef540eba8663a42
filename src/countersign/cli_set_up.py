"""The commands that show the set-up of a case and the list of its instruments."""

from contextlib import closing
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import RenderableType
from rich.text import Text

from countersign.cli_options import CaseArgument, JsonOption, LedgerOption
from countersign.printable import clean
from countersign.problems import BadInput
from countersign.terminal import emit, screen

if TYPE_CHECKING:
    from countersign.ledger import CaseHistory


def setup(case: CaseArgument, as_json: JsonOption = False, ledger: LedgerOption = None) -> None:
    """Show what is on the Mayo stand and the back table, and what is still missing."""
    from countersign.ledger import record_of
    from countersign.set_up import set_up
    from countersign.set_up.view import set_up_view

    history = _history(case, ledger)
    made = set_up(history.kit, record_of(history).lines)
    if as_json:
        _emit(history, made.confirmed, {"complete": made.complete, "set_up": made})
        return
    _print(history, set_up_view(made, history.kit))


def tray(
    case: CaseArgument,
    group: Annotated[
        str,
        typer.Option("--group", help="sponges, sharps, small_items or instruments."),
    ] = "instruments",
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
) -> None:
    """Hold the kit's list of instruments against their latest count, item by item."""
    from countersign.kit import Group
    from countersign.ledger import record_of
    from countersign.set_up import tray as tray_of
    from countersign.set_up.view import tray_view

    if group not in set(Group):
        raise BadInput(f"There is no count group {group}; the groups are {', '.join(Group)}.")
    history = _history(case, ledger)
    made = tray_of(history.kit, record_of(history), Group(group))
    if as_json:
        _emit(history, made.confirmed, {"agrees": made.agrees, "tray": made})
        return
    _print(history, tray_view(made, history.kit))


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    app.command("setup")(setup)
    app.command("tray")(tray)


def _history(case: str, ledger: str | None) -> "CaseHistory":
    from countersign.ledger import open_ledger, read_case

    with closing(open_ledger(ledger, create=False)) as opened:
        return read_case(opened, case.strip().lower())


def _emit(history: "CaseHistory", confirmed: bool, made: dict[str, object]) -> None:
    from countersign.caution import CONFIRMED, NOT_CONFIRMED, TWO_PEOPLE
    from countersign.plain_json import json_text

    shown = {
        "case": history.case_id,
        "status": CONFIRMED if confirmed else NOT_CONFIRMED,
        "caution": TWO_PEOPLE,
        **made,
    }
    emit(json_text(shown) + "\n")


def _print(history: "CaseHistory", view: RenderableType) -> None:
    console = screen()
    console.print(Text(f"Case {history.case_id}, {clean(history.kit.title)}", style="bold"))
    console.print(view)
