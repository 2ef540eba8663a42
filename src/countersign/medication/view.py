"""The medication account on a terminal, readable at 80 columns and without colour."""

from collections.abc import Sequence
from decimal import Decimal

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from countersign.caution import CONFIRMED, NOT_CONFIRMED
from countersign.kit import Kit
from countersign.medication.published import (
    DOSES_CAUTION,
    PublishedDose,
    published_doses,
    published_for,
)
from countersign.medication.units import Amount
from countersign.medication.values import (
    LabelState,
    MedicationAccount,
    Preparation,
    SubstanceTotal,
)
from countersign.medication.words import (
    amount_text,
    in_sentence,
    medication_label,
    mixture_text,
    volume_text,
)
from countersign.printable import clean
from countersign.problems import BadInput

LABELS_CAUTION = (
    "Every label is verified aloud and by sight by two people; this account replaces neither of "
    "them nor your facility's policy."
)


def medications_view(account: MedicationAccount, kit: Kit) -> RenderableType:
    """What is on the field, what was given to it in all, published figures and the caution."""
    parts: list[RenderableType] = [_table(account.preparations, kit)]
    parts += [Text(total_text(total, kit)) for total in account.totals]
    try:
        published = published_doses()
    except BadInput as problem:
        parts.append(Text(clean(str(problem)), style="bold yellow"))
        published = ()
    figures = published_texts(account, published, kit)
    parts += [Text(figure, style="dim") for figure in figures]
    if figures:
        parts.append(Text(DOSES_CAUTION, style="bold"))
    parts.append(Text(LABELS_CAUTION, style="bold"))
    return Group(*parts)


def total_text(total: SubstanceTotal, kit: Kit) -> str:
    """The running total of one substance in a sentence."""
    name = clean(medication_label(total.name, kit))
    least = "" if total.complete else "at least "
    text = (
        f"{name} in all: {least}{amount_text(total.drawn)} drawn up of "
        f"{least}{amount_text(total.received)} received"
    )
    if total.confirmed:
        return f"{text}; {CONFIRMED}."
    confirmed = amount_text(total.confirmed_drawn)
    return f"{text}; {NOT_CONFIRMED} ({'0' if confirmed == '-' else confirmed} confirmed)."


def published_texts(
    account: MedicationAccount, doses: tuple[PublishedDose, ...], kit: Kit
) -> list[str]:
    """The published figures for what is on the field, one sentence each."""
    additives: dict[str, set[str | None]] = {}
    for each in account.preparations:
        additives.setdefault(each.name, set()).add(each.additive)
    return [
        published_text(dose, kit)
        for name, beside in additives.items()
        for dose in published_for(doses, name, frozenset(beside))
    ]


def published_text(dose: PublishedDose, kit: Kit) -> str:
    """One published figure with its source and its caution."""
    what = mixture_text(kit, dose.medication, None, dose.additive)
    if dose.additive is None:
        what += " alone"
    figures = [amount_text(dose.total)] if dose.total else []
    if dose.per_kilogram:
        figures.append(f"{amount_text(dose.per_kilogram)} per kilogram")
    checked = "; figure from memory, check it" if dose.recalled else ""
    said = f"Published maximum, {what}: {', '.join(figures)} ({dose.source}{checked})."
    return clean(f"{said} {dose.caution}")


def label_text(each: Preparation) -> str:
    """What was heard of a label."""
    match each.label:
        case LabelState.NONE:
            text = "no label heard"
        case LabelState.COMPLETE:
            text = "label complete"
        case LabelState.INCOMPLETE:
            text = f"label lacks {', '.join(each.missing)}"
    return f"{text}; verify again" if each.verification_due else text


def _table(preparations: Sequence[Preparation], kit: Kit) -> Table:
    table = Table(box=box.SIMPLE_HEAD, expand=True, padding=(0, 1), show_edge=False)
    table.add_column("medications on the field", ratio=1)
    table.add_column("received", justify="right", no_wrap=True)
    table.add_column("drawn up", justify="right", no_wrap=True)
    table.add_column("left", justify="right", no_wrap=True)
    for each in preparations:
        if each.drawn_up:
            filled = _figures(each.received_ml, each.received, each.additive_received)
            cells = ["", filled, ""]
        else:
            cells = [
                _figures(each.received_ml, each.received, each.additive_received),
                _figures(each.drawn_ml, each.drawn, each.additive_drawn),
                _figures(each.remaining_ml, each.remaining, each.additive_remaining),
            ]
        table.add_row(_name_cell(each, kit), *cells)
    return table


def _name_cell(each: Preparation, kit: Kit) -> Text:
    name = mixture_text(kit, each.name, each.strength, each.additive, each.additive_strength)
    text = Text(clean(name))
    container = "syringe, drawn up here" if each.drawn_up else each.container
    where = [clean(container or "container not said"), label_text(each)]
    if each.diluent is not None:
        where.insert(1, f"in {in_sentence(clean(medication_label(each.diluent, kit)))}")
    if each.expired:
        where.append("EXPIRED")
    text.append(f"\n{'; '.join(where)}", style="italic dim")
    state = CONFIRMED if each.confirmed else NOT_CONFIRMED
    text.append(f"\n{state}", style="green" if each.confirmed else "bold")
    return text


def _figures(volume_ml: Decimal | None, amount: Amount | None, additive: Amount | None) -> str:
    """Volume, amount of the medication and of its additive, one below the other."""
    lines = [volume_text(volume_ml)]
    lines += [amount_text(found) for found in (amount, additive) if found is not None]
    return "\n".join(lines)
