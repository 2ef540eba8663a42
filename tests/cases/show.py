"""A case on the screen."""

from collections.abc import Iterator

from rich.console import Console, Group
from rich.table import Table
from rich.text import Text
from tests.cases.acts import Act, Draw, Label, Receive
from tests.cases.generate import Case, Step
from tests.cases.medicines import Held
from tests.cases.room import Truth


def show(case: Case, console: Console) -> None:
    """Print what is said, what it means and what is then true, and the truth at the end."""
    table = Table(
        title=f"Case {case.seed}: {len(case.lines)} utterances, {len(case.events)} events"
    )
    for name in ("line", "voice", "said", "act", "true then"):
        table.add_column(name, overflow="fold")
    for step in case.steps:
        table.add_row(*_row(step))
    console.print(table)
    console.print(_end(case.truth))


def _row(step: Step) -> tuple[str, str, Group, str, str]:
    said = [*step.utterances, *([step.read_back] if step.read_back else [])]
    voices = "\n".join(dict.fromkeys(each.voice for each in said))
    lines = [Text(each.text, style="dim" if each.voice == "surgeon" else "") for each in said]
    act = words_of(step.act) + (" (set aside)" if step.set_aside else "")
    return str(step.first_line), voices, Group(*lines), act, "; ".join(_true(step))


def words_of(act: Act) -> str:
    """An act in a few words."""
    match act:
        case Receive(what, volume) | Label(what, volume) | Draw(what, volume):
            return f"{type(act).__name__.lower()} {_named(what)} {volume} mL"
    values = [str(value) for value in vars(act).values() if value is not None]
    return " ".join([type(act).__name__.lower(), *values])


def _true(step: Step) -> Iterator[str]:
    truth = step.truth
    item = getattr(step.act, "item", None)
    if item in truth.items:
        fact = truth.items[item]
        yield f"{item} expected {fact.expected}, counted {fact.last}"
    for each in truth.discrepancies:
        yield f"open: {each.item} {each.counted} of {each.expected}"
    if truth.verdict and not truth.half_counted:
        yield f"verdict {truth.verdict}"


def _end(truth: Truth) -> Group:
    items = Table(title="Items at the end")
    for name in (
        "item",
        "initial",
        "added",
        "removed",
        "pieces",
        "expected",
        "counted",
        "by phase",
    ):
        items.add_column(name)
    for item, fact in truth.items.items():
        phases = [
            f"{phase}: " + ", ".join(f"{_where(cell)} {n}" for cell, n in cells.items())
            for phase, cells in fact.counted.items()
        ]
        numbers = (fact.initial, fact.added, fact.removed, fact.pieces, fact.expected, fact.last)
        items.add_row(item, *map(str, numbers), "\n".join(phases))
    held = Table(title="Medications and solutions on the field")
    for name in ("what", "container", "received mL", "drawn mL", "left mL", "label"):
        held.add_column(name)
    for each in truth.medications:
        held.add_row(*_held(each))
    verdict = truth.verdict or "none can stand"
    return Group(items, held, Text(f"Verdict: {verdict}", style="bold"))


def _held(each: Held) -> tuple[str, ...]:
    numbers = (each.received_ml, each.drawn_ml, each.left_ml)
    label = "read" if each.labelled else "none"
    return (_named(each.what), each.container or "", *map(str, numbers), label)


def _named(what: object) -> str:
    fields = [what.name, what.strength, what.additive, what.additive_strength]  # type: ignore[attr-defined]
    said = [f"{f.value} {f.unit}" if hasattr(f, "unit") else f for f in fields if f is not None]
    return " ".join(said)


def _where(cell: tuple[str | None, str | None]) -> str:
    return " ".join(each for each in cell if each) or "all"
