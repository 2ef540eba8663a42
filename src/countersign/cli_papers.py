"""Commands for what leaves the tool and comes back: papers, checks of them, imports, the schema."""

from contextlib import closing
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Annotated

import typer
from rich.text import Text

from countersign import settings
from countersign.cli_options import CaseArgument, LedgerOption
from countersign.problems import BadInput
from countersign.terminal import emit, say, screen

if TYPE_CHECKING:
    from countersign.exchange import Finding
    from countersign.papers import Size

CHANGED = 1
"""Exit code of ``verify`` where a file does not match, or the case has changed since."""

_MISSING = "The papers need more packages; install them with: pip install 'countersign[papers]'."


def papers(
    case: CaseArgument,
    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Write them here.")],
    paper: Annotated[str, typer.Option("--paper", help="a4 or letter.")] = "a4",
    replace: Annotated[bool, typer.Option("--replace", help="Write over files.")] = False,
    ledger: LedgerOption = None,
) -> None:
    """Write a case as PDF: a count sheet, and a medication and label sheet."""
    from countersign.ledger import open_ledger

    room, size = papers_room(), paper_size(paper)
    with closing(open_ledger(ledger, create=False)) as opened:
        made = room.printing(opened, case.strip().lower(), size)
    for path in room.write_papers(made, out.expanduser(), replace=replace):
        screen().print(Text(str(path)), soft_wrap=True)


def verify(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A paper (PDF) or an export.")],
    ledger: LedgerOption = None,
) -> int:
    """Say whether a paper, or an exported case, is what the ledger has.

    A practice summary is compared with the attempts that are kept beside the ledger.

    The exit code is 0 where it matches and 1 where it does not or the case has changed since.
    """
    from countersign.ledger import open_ledger

    data = _bytes_of(file)
    if data.startswith(b"%PDF") and papers_room().is_practice(data):
        from countersign.review.store import Store, store_path

        kept = Store(store_path(settings.ledger_path(ledger)))
        return _say_found(*papers_room().verify_practice(data, kept))
    with closing(open_ledger(ledger, create=False)) as opened:
        if data.startswith(b"%PDF"):
            found, sentence = papers_room().verify(data, opened)
        else:
            from countersign.exchange import verify_document

            found, sentence = verify_document(data, opened)
    return _say_found(found, sentence)


def _say_found(found: "Finding", sentence: str) -> int:
    screen().print(Text(sentence), soft_wrap=True)
    return 0 if found.value == "matches" else CHANGED


def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="An exported case.")],
    ledger: LedgerOption = None,
) -> None:
    """Keep a case that was exported, entry by entry as it was; none is written over.

    It takes JSON, FHIR, and CSV of entries. A CSV of lines has no history and is refused.
    """
    from countersign.exchange import import_case, read_exported
    from countersign.ledger import open_ledger, read_case, record_of

    stored = read_exported(_bytes_of(file))
    with closing(open_ledger(ledger)) as opened:
        import_case(opened, stored)
        record_of(read_case(opened, stored.case))  # what was kept can be read
    say(f"Kept as case {stored.case}: {len(stored.entries)} entries.")


def schema() -> None:
    """Print the JSON Schema of a case exported as JSON."""
    from countersign.exchange.schema import schema_text

    emit(schema_text())


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("papers")(papers)
    app.command("verify")(verify)
    app.command("import")(import_)
    app.command("schema")(schema)


def papers_room() -> ModuleType:
    """The papers room; ``BadInput`` where its packages are missing."""
    try:
        import countersign.papers
    except ImportError:
        raise BadInput(_MISSING) from None
    return countersign.papers


def paper_size(name: str) -> "Size":
    """A size by its name."""
    try:
        size: Size = papers_room().Size(name.strip().lower())
    except ValueError:
        raise BadInput("The paper is a4 or letter.") from None
    return size


def _bytes_of(file: Path) -> bytes:
    from countersign.exchange.importing import MOST_BYTES

    path = file.expanduser()
    try:
        if path.is_dir():
            raise BadInput(f"{path} is a folder, not a file.")
        with path.open("rb") as opened:
            data = opened.read(MOST_BYTES + 1)
    except OSError as error:
        raise BadInput(f"{path} cannot be read ({error.strerror or error}).") from error
    if len(data) > MOST_BYTES:
        raise BadInput(f"{path} is larger than {MOST_BYTES:,} bytes.")
    return data
