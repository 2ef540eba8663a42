"""Arguments and options that several commands take."""

from pathlib import Path
from typing import Annotated

import typer

CaseArgument = Annotated[str, typer.Argument(metavar="CASE", help="The name of a kept case.")]
LedgerOption = Annotated[
    Path | None,
    typer.Option("--ledger", metavar="FILE", help="The ledger. Default: in your data folder."),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")]
