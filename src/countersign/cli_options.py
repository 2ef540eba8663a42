"""Arguments and options that several commands take."""

from typing import Annotated

import typer

CaseArgument = Annotated[str, typer.Argument(metavar="CASE", help="The name of a kept case.")]
LedgerOption = Annotated[
    str | None,
    typer.Option(
        "--ledger",
        metavar="FILE",
        help="The ledger; or postgresql://…",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")]
