"""The ``countersign`` command."""

import errno
import sys
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.text import Text

from countersign import (
    cli_discrepancy,
    cli_ledger,
    cli_papers,
    cli_review,
    cli_serve,
    cli_set_up,
    cli_sound,
    cli_stream,
    cli_voice,
    cli_words,
    settings,
)
from countersign.cli_options import CaseArgument, JsonOption, LedgerOption
from countersign.printable import clean
from countersign.problems import BadInput
from countersign.terminal import (
    ask,
    emit,
    interrupt_sets,
    leave_pipe,
    own_output,
    progress,
    say,
    screen,
    show_mistakes,
    words_so_far,
)

if TYPE_CHECKING:  # rooms are imported where a command needs them, so that --help stays quick
    from countersign.chain import Result
    from countersign.kit.model import Kit
    from countersign.ledger import Ledger
    from countersign.meaning.event import Event

BAD_INPUT = 2
STOPPED = 130
LONGEST_TEXT = 5_000_000
"""Written words beyond this many bytes are refused: a day of speech is well under a megabyte."""

_OUTPUT_FAILS = {errno.ENOSPC, errno.EIO, errno.EDQUOT}

# Typer carries its own copy of click's errors in newer versions; reach them through its own names.
_CommandLineError: type[Any] = next(
    kind for kind in typer.BadParameter.__mro__ if kind.__name__ == "ClickException"
)

app = typer.Typer(
    name="countersign",
    help="Turns spoken surgical counting into a count record that a person confirms.",
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
kit_app = typer.Typer(help="Look at kit files.", rich_markup_mode=None)
model_app = typer.Typer(help="Look at acoustic models, or choose one.", rich_markup_mode=None)
app.add_typer(kit_app, name="kit")
cli_discrepancy.register(app)
cli_ledger.register(app)
cli_papers.register(app)
cli_review.register(app)
cli_serve.register(app)
cli_set_up.register(app)
cli_sound.register(app)
cli_stream.register(app)
app.add_typer(model_app, name="model")
cli_words.register(kit_app)
cli_voice.register(app)

KitOption = Annotated[
    Path | None,
    typer.Option("--kit", metavar="FILE", help="The kit (TOML). Default: the demonstration kit."),
]
ModelOption = Annotated[
    Path | None,
    typer.Option("--model", metavar="FOLDER", help="The acoustic model. Default: the one in use."),
]


def run() -> None:
    """Entry point of the ``countersign`` command."""
    own_output()
    sys.exit(main(sys.argv[1:]))


def main(arguments: list[str]) -> int:
    """Run one command and give back its exit code.

    0 when done, 2 for bad input or usage (one sentence on standard error), 130 when stopped from
    the keyboard, 141 when the reader of a pipe went away.
    """
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        code = app(arguments, prog_name="countersign", standalone_mode=False)
        sys.stdout.flush()
    except BadInput as problem:
        return _say_problem(str(problem))
    except _CommandLineError as problem:
        return _say_problem(f"{problem.format_message().rstrip('.')}; see countersign --help.")
    except (KeyboardInterrupt, typer.Abort):
        code = STOPPED
    except BrokenPipeError:
        return leave_pipe()
    except MemoryError:
        return _say_problem("There is not enough memory; what was kept before is in the ledger.")
    except OSError as error:
        if error.errno not in _OUTPUT_FAILS:
            raise
        leave_pipe()
        return _say_problem(f"The output cannot be written ({error.strerror}).")
    if code == STOPPED:
        say("Stopped from the keyboard; what was kept before is in the ledger.")
    return code if isinstance(code, int) else 0


# Listening and reading


@app.command()
def listen(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Recordings.")],
    kit: KitOption = None,
    as_json: JsonOption = False,
    model: ModelOption = None,
    ledger: LedgerOption = None,
    keep: Annotated[bool, typer.Option("--keep/--no-keep", help="Keep a case.")] = True,
) -> None:
    """Listen to recordings: events and a draft record."""
    from countersign.sound import open_source

    used_kit, kit_words = _kit(kit)
    sources = [open_source(file) for file in files]  # all, before anything is kept or printed
    from countersign import chain
    from countersign.hearing import open_ears

    ears = open_ears(used_kit, model)
    with _ledger_if(keep, ledger) as opened:
        for file, source in zip(files, sources, strict=True):
            case = _Case(opened, used_kit, str(file.absolute()))
            with progress(file.name, source.duration_s) as on_progress:
                result = chain.listen(
                    file, used_kit, ears=ears, on_event=case.keep, on_progress=on_progress
                )
            case.end(result)
            _give(result, used_kit, kit_words, case, as_json=as_json)


@app.command()
def read(
    text: Annotated[str, typer.Argument(metavar="TEXT|-", help="Words, one utterance a line.")],
    kit: KitOption = None,
    as_json: JsonOption = False,
    ledger: LedgerOption = None,
    keep: Annotated[bool, typer.Option("--keep/--no-keep", help="Keep a case.")] = False,
) -> None:
    """Read written words as if they had been heard; - reads standard input."""
    used_kit, kit_words = _kit(kit)
    lines = _written(text).splitlines()
    if not any(line.strip() for line in lines):
        raise BadInput("There are no words to read.")
    from countersign import chain

    with _ledger_if(keep, ledger) as opened:
        case = _Case(opened, used_kit, "written words")
        result = chain.read(lines, used_kit, on_event=case.keep)
        case.end(result)
        _give(result, used_kit, kit_words, case, as_json=as_json)


@app.command()
def live(
    kit: KitOption = None,
    model: ModelOption = None,
    ledger: LedgerOption = None,
    device: Annotated[
        str | None, typer.Option("--device", help="Number or part of the name of an input.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep/--no-keep", help="Keep a case.")] = True,
) -> None:
    """Listen to the microphone until Ctrl-C."""
    from countersign import chain
    from countersign.caution import TWO_PEOPLE
    from countersign.hearing import open_ears
    from countersign.sound import LevelMeter, microphone
    from countersign.wording import event_text, number_text

    used_kit, kit_words = _kit(kit)
    stop = threading.Event()
    meter = LevelMeter()
    which = microphone.named(device)
    blocks = microphone.blocks(which, seconds=microphone.PIECE_S, meter=meter, stop=stop)
    ears = open_ears(used_kit, model)
    console = screen()
    with _ledger_if(keep, ledger) as opened:
        case = _Case(opened, used_kit, "microphone")

        def on_event(event: "Event") -> None:
            case.keep(event)
            words = f"{case.heard:>4}  {event_text(event, used_kit)}"
            if event.quantity is not None:
                words += f", {number_text(event.quantity, event.unit)}"
            console.print(Text(words))
            for question in event.questions:
                console.print(Text(f"      ? {question.sentence}", style="bold yellow"))

        console.print(Text(f"Listening; Ctrl-C ends it. {TWO_PEOPLE}", style="bold"))
        with interrupt_sets(stop), words_so_far(console) as on_partial:
            result = chain.live(
                blocks,
                used_kit,
                meter=meter,
                ears=ears,
                on_event=on_event,
                on_partial=lambda partial: on_partial(partial.text),
            )
        case.end(result)
        _give(result, used_kit, kit_words, case, as_json=False)


# Cases


@app.command()
def cases(ledger: LedgerOption = None) -> None:
    """List the cases that are kept."""
    from countersign.ledger import list_cases, open_ledger
    from countersign.screen import cases_view

    with closing(open_ledger(ledger, create=False)) as opened:
        rows = list_cases(opened)
    screen().print(cases_view(rows) if rows else Text("No case is kept yet."))


@app.command()
def confirm(
    case: CaseArgument,
    ledger: LedgerOption = None,
    role: Annotated[
        str | None,
        typer.Option("--role", help="scrub, circulator, relief or educator."),
    ] = None,
    initials: Annotated[str | None, typer.Option("--initials", help="Your initials.")] = None,
) -> None:
    """Go through the lines of a case, one by one."""
    from countersign.caution import TWO_PEOPLE
    from countersign.confirm import play_line, walk, who
    from countersign.hanging import hanging
    from countersign.ledger import open_ledger, read_case
    from countersign.screen import record_view
    from countersign.tally import reasons_against_whole

    console = screen()
    with closing(open_ledger(ledger, create=False)) as opened:
        name = case.strip().lower()
        history = read_case(opened, name)
        console.print(Text(f"Case {name}, {history.kit.title}", style="bold"))
        console.print(Text(TWO_PEOPLE, style="bold"))
        if not history.heard_to_the_end:
            console.print(Text("Listening did not reach the end: lines may be missing."))
        person = who(ask, console.print, role, initials)
        record = walk(opened, name, person, ask=ask, show=console.print, play=play_line)
        console.print()
        console.print(record_view(record, history.kit, timed=history.has_sound))
        waiting = any(line.is_open for line in record.lines)
        if record.confirmed:
            console.print(Text("Every line was acted on and no question is open."))
        elif record.lines and (reasons := reasons_against_whole(record)):
            console.print(Text("The record cannot be confirmed as a whole; still open:"))
            console.print(hanging(("  ?", Text(clean(reason))) for reason in reasons))
        if any(found.is_open for found in record.discrepancies):
            console.print(Text(f"A count differs: countersign discrepancy {name}"))
        if waiting:
            console.print(Text(f"Go on later with: countersign confirm {name}"))


@app.command()
def export(
    case: CaseArgument,
    as_json: Annotated[bool, typer.Option("--json", help="As JSON.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="As CSV, one row a line.")] = False,
    as_fhir: Annotated[
        bool, typer.Option("--fhir", help="As an HL7 FHIR R4 bundle of what is confirmed.")
    ] = False,
    entries: Annotated[
        bool,
        typer.Option("--entries", help="With --csv: the ledger's entries, to import again."),
    ] = False,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="Write here instead of printing."),
    ] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over FILE.")] = False,
    ledger: LedgerOption = None,
) -> None:
    """Write a case as JSON, CSV or FHIR; what nobody confirmed is marked, or left out of FHIR."""
    from countersign.exchange import document_text, entries_csv, history_up_to, read_stored
    from countersign.export import case_csv, write_whole
    from countersign.ledger import open_ledger, read_case, record_of

    if as_json + as_csv + as_fhir != 1:
        raise BadInput("Choose one form, --json, --csv or --fhir.")
    if entries and not as_csv:
        raise BadInput("--entries is a form of --csv.")
    with closing(open_ledger(ledger, create=False)) as opened:
        stored = read_stored(opened, case.strip().lower())
        history = history_up_to(read_case(opened, stored.case), stored)
    record = record_of(history)
    if as_csv:
        text = entries_csv(record, stored) if entries else case_csv(history, record)
    elif as_fhir:
        from countersign.exchange.fhir import fhir_text

        text = fhir_text(history, record, stored, datetime.now().astimezone())
    else:
        text = document_text(history, record, stored) + "\n"
    if out is None:
        emit(text)
    else:
        write_whole(out.expanduser(), text, replace=replace)


# Kits and models


@kit_app.command("check")
def kit_check(file: Annotated[Path, typer.Argument(metavar="FILE")]) -> None:
    """Say everything that is wrong with a kit file, with its line."""
    from countersign.kit import check_kit, read_kit

    show_mistakes(file, check_kit(file))
    kit = read_kit(file)
    screen().print(
        Text(
            f"{clean(kit.title)}: {len(kit.items)} items, {len(kit.medications)} medications; "
            "the kit can be used."
        ),
        soft_wrap=True,
    )


@model_app.command("info")
def model_info(
    folder: Annotated[Path | None, typer.Argument(metavar="[FOLDER]")] = None,
) -> None:
    """Describe an acoustic model: the one in use, or the one in FOLDER."""
    from countersign.hearing.models import current_model, describe_model
    from countersign.plain_json import plain

    described = plain(describe_model(folder or current_model()))
    console = screen()
    for name, value in described.items():
        if isinstance(value, list):
            value = ", ".join(map(str, value))
        console.print(Text(f"{name.replace('_', ' ')}: {clean(str(value))}"), soft_wrap=True)


@model_app.command("use")
def model_use(folder: Annotated[Path, typer.Argument(metavar="FOLDER")]) -> None:
    """Use the acoustic model in FOLDER from now on."""
    from countersign.hearing.models import use_model

    use_model(folder.expanduser())
    screen().print(Text(f"From now on the model in {folder} is used."), soft_wrap=True)


# Helpers


class _Case:
    """A case that is opened when its first event comes, and not at all without a ledger.

    ``heard`` counts its lines; ``name`` is its name once it is open.
    """

    def __init__(self, ledger: "Ledger | None", kit: "Kit", source: str) -> None:
        self._ledger = ledger
        self._kit = kit
        self._source = source
        self.heard = 0
        self.name: str | None = None

    def keep(self, event: "Event") -> None:
        """Keep an event; it is on disk when this returns."""
        from countersign.ledger import append_event

        if self._ledger is not None:
            append_event(self._ledger, self._opened(self._ledger), event)
        self.heard += 1

    def end(self, result: "Result") -> None:
        """Keep that the source was heard to its end."""
        from countersign.ledger import Note, append_note

        if self._ledger is None:
            return
        note = Note(
            topic="listening_ended",
            duration_s=result.duration_s,
            model=result.model,
            warnings=tuple(warning.sentence for warning in result.warnings),
        )
        append_note(self._ledger, self._opened(self._ledger), note)

    def _opened(self, ledger: "Ledger") -> str:
        from countersign.ledger import open_case

        if self.name is None:
            self.name = open_case(ledger, self._kit, self._source)
        return self.name


def _give(result: "Result", kit: "Kit", kit_words: str, case: _Case, *, as_json: bool) -> None:
    from countersign.plain_json import json_text
    from countersign.screen import record_view

    for warning in result.warnings:
        say(warning.sentence)
    if as_json:
        names = ("source", "duration_s", "model", "events", "record", "questions")
        emit(json_text({name: getattr(result, name) for name in names}) + "\n")
        if case.name is not None:
            say(f"Kept as case {case.name}.")
        return
    console = screen()
    console.print(Text(f"{clean(result.source)}  ({kit_words})", style="bold"))
    console.print(record_view(result.record, kit, timed=result.duration_s > 0))
    if case.name is not None:
        console.print(Text(f"Kept as case {case.name}. Next: countersign confirm {case.name}"))


def _kit(given: Path | None) -> tuple["Kit", str]:
    from countersign.kit import demo_kit_path, read_kit

    path = settings.kit_path(given)
    if path is None:
        return read_kit(demo_kit_path()), "demonstration kit"
    return read_kit(path), f"kit {path.name}"


def _written(text: str) -> str:
    if text == "-":
        data = sys.stdin.buffer.read(LONGEST_TEXT + 1)
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise BadInput(
                f"The words are not UTF-8 text (byte {error.start + 1} cannot be read)."
            ) from None
    if len(text) > LONGEST_TEXT:
        raise BadInput(f"The words are longer than {LONGEST_TEXT:,} characters.")
    if any("\ud800" <= char <= "\udfff" or char == "\0" for char in text):
        raise BadInput("The words are not UTF-8 text.")
    return text


@contextmanager
def _ledger_if(keep: bool, path: str | None) -> Iterator["Ledger | None"]:
    from countersign.ledger import open_ledger

    if not keep:
        yield None
        return
    with closing(open_ledger(path)) as opened:
        yield opened


def _say_problem(sentence: str) -> int:
    say(sentence)
    return BAD_INPUT
