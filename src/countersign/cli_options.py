"""Arguments and options that several commands take."""

from typing import Annotated

import typer


def kept_cases(incomplete: str) -> list[tuple[str, str]]:
    """For the shell's completion: names of kept cases that begin so, each with its kit."""
    from contextlib import closing

    from countersign.ledger import list_cases, open_ledger
    from countersign.problems import BadInput

    try:
        with closing(open_ledger(create=False)) as opened:
            found = list_cases(opened)
    except BadInput:  # in the middle of a line is no place for a sentence
        return []
    begun = incomplete.strip().lower()
    return [(each.case_id, each.kit_title) for each in found if each.case_id.startswith(begun)]


CaseArgument = Annotated[
    str,
    typer.Argument(metavar="CASE", help="The name of a kept case.", autocompletion=kept_cases),
]
LedgerOption = Annotated[
    str | None,
    typer.Option(
        "--ledger",
        metavar="FILE",
        help="The ledger; or postgresql://…",
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object instead.")]
