"""The medication and label sheet: what is on the field, what its labels say, what was drawn up."""

from collections.abc import Sequence

from reportlab.platypus import Flowable

from countersign.caution import CONFIRMED, NOT_CONFIRMED
from countersign.meaning.event import EventKind
from countersign.medication.published import DOSES_CAUTION, published_doses
from countersign.medication.units import Amount
from countersign.medication.values import Drawn, Preparation
from countersign.medication.view import LABELS_CAUTION, label_text, published_texts, total_text
from countersign.medication.words import (
    amount_text,
    medication_label,
    mixture_text,
    strength_text,
    volume_text,
)
from countersign.papers.page import Mark, mark_of, pdf
from countersign.papers.printing import Printing
from countersign.papers.tables import cell, headed, heading, sentence, table
from countersign.papers.wordings import standing_text, who
from countersign.problems import BadInput
from countersign.screen import amended_text
from countersign.tally.record import Line, LineState
from countersign.wording import is_confirmed, line_text

TITLE = "Medication and label sheet"
FORM = "medication-sheet"
_KINDS = frozenset({EventKind.RECEIPT, EventKind.LABEL, EventKind.DRAW})


def medication_sheet(made: Printing) -> bytes:
    """The medication and label sheet as PDF."""
    return pdf(made, TITLE, FORM, content(made))


def content(made: Printing) -> list[Flowable]:
    """Everything on the sheet, in its order."""
    account = made.record.medications
    opened = made.history.opened_at.astimezone(made.printed_at.tzinfo)
    parts: list[Flowable] = [
        sentence(f"Kit: {made.history.kit.title}. Case opened {opened:%Y-%m-%d %H:%M}."),
        sentence(LABELS_CAUTION, bold=True),
    ]
    if not made.history.heard_to_the_end:
        parts.append(
            sentence("Listening did not reach the end of the source: lines may be missing.")
        )
    if not account.preparations and not _medication_lines(made):
        return [*parts, sentence("No medication or solution was heard.", bold=True)]
    parts += _labels(made, account.preparations)
    parts += _on_the_field(made, account.preparations)
    parts += _draws(made, account.draws)
    parts += _totals(made)
    parts += _questions(made)
    parts += _lines(made)
    return parts


def _marks(made: Printing, lines: Sequence[int]) -> list[Mark]:
    return [mark_of(made.record.lines[line - 1]) for line in lines]


def _standing(each: Preparation | Drawn) -> tuple[str, bool]:
    return (CONFIRMED, False) if each.confirmed else (NOT_CONFIRMED, True)


def _where(each: Preparation) -> str:
    if each.drawn_up:
        return "syringe, drawn up on the field"
    return each.container or "container not said"


def _labels(made: Printing, preparations: Sequence[Preparation]) -> list[Flowable]:
    """What a label has to give: name, strength, amount, diluent and volume, expiry.

    The Joint Commission, NPSG.03.04.01 (from memory).
    """
    kit = made.history.kit
    rows = []
    for each in preparations:
        marks = _marks(made, each.lines)
        additive = ""
        if each.additive is not None:
            additive = f"with {medication_label(each.additive, kit)}"
            if each.additive_strength is not None:
                additive += f" {strength_text(each.additive_strength)}"
        strength = strength_text(each.strength) if each.strength else "not heard"
        diluent = "-"
        if each.diluent is not None or each.diluent_volume_ml is not None:
            name = medication_label(each.diluent, kit) if each.diluent else "a diluent"
            volume = each.diluent_volume_ml
            diluent = name if volume is None else f"{name} {volume_text(volume)}"
        expiry = " ".join(
            filter(
                None,
                (
                    each.expiry.isoformat() if each.expiry else "",
                    f"{each.expiry_time:%H:%M}" if each.expiry_time else "",
                ),
            )
        )
        rows.append(
            [
                cell(
                    medication_label(each.name, kit),
                    *marks,
                    bold=True,
                    below=[(additive, True)] if additive else [],
                ),
                cell(strength),
                cell(volume_text(each.received_ml), right=True),
                cell(diluent),
                cell(expiry or "not heard", below=[("EXPIRED", True)] if each.expired else []),
                cell(_where(each), below=[(label_text(each), bool(each.missing))]),
                cell("", below=[_standing(each)]),
            ]
        )
    if not rows:
        return []
    return [
        *headed(
            made,
            "Labels, as heard",
            table(
                made,
                ("Name", "Strength", "Amount", "Diluent", "Expires", "On; label", "Standing"),
                rows,
                (None, 66, 46, 78, 56, 102, 66),
                right=(2,),
            ),
        ),
    ]


def _on_the_field(made: Printing, preparations: Sequence[Preparation]) -> list[Flowable]:
    kit = made.history.kit
    rows = []
    for each in preparations:
        name = mixture_text(kit, each.name, each.strength, each.additive, each.additive_strength)
        handed = [
            ("lot " + ", ".join(each.lots)) if each.lots else "",
            f"received by {each.received_by}" if each.received_by else "",
            f"from {each.received_from}" if each.received_from else "",
            "read back" if each.read_back else "",
        ]
        small = [(", ".join(filter(None, handed)), False)] if any(handed) else []
        lines = ", ".join(map(str, each.lines[:12])) + (" ..." if len(each.lines) > 12 else "")
        plural = "s" if len(each.lines) > 1 else ""
        small += [(f"{_where(each)}; line{plural} {lines}", False), _standing(each)]
        rows.append(
            [
                cell(name, *_marks(made, each.lines), below=small),
                *(
                    _figures(*figures)
                    for figures in (
                        (each.received_ml, each.received, each.additive_received),
                        (None, None, None)
                        if each.drawn_up
                        else (each.drawn_ml, each.drawn, each.additive_drawn),
                        (None, None, None)
                        if each.drawn_up
                        else (each.remaining_ml, each.remaining, each.additive_remaining),
                    )
                ),
            ]
        )
    if not rows:
        return []
    return [
        *headed(
            made,
            "On the field",
            table(
                made,
                ("Medication or solution", "Received", "Drawn up", "Left"),
                rows,
                (None, 86, 86, 86),
                right=(1, 2, 3),
            ),
        ),
    ]


def _figures(volume: object, amount: Amount | None, additive: Amount | None) -> Flowable:
    """Volume, amount of the medication and of its additive, one below the other."""
    below = [(amount_text(each), False) for each in (amount, additive) if each is not None]
    return cell(volume_text(volume), right=True, below=below)  # type: ignore[arg-type]


def _draws(made: Printing, draws: Sequence[Drawn]) -> list[Flowable]:
    kit = made.history.kit
    rows = []
    for each in draws:
        line = made.record.lines[each.line - 1]
        name = mixture_text(kit, each.name, each.strength, each.additive, each.additive_strength)
        by = [(who(made, line.decision), False)] if line.decision else []
        rows.append(
            [
                cell(str(each.line), mark_of(line), right=True),
                cell(name),
                cell(volume_text(each.volume_ml), right=True),
                cell(
                    amount_text(each.dose),
                    right=True,
                    below=_additive(each.additive_dose),
                ),
                cell(
                    amount_text(each.running),
                    right=True,
                    below=_additive(each.additive_running),
                ),
                cell("", below=[_standing(each), *by]),
            ]
        )
    if not rows:
        return []
    return [
        *headed(
            made,
            "Drawn up, with the sum so far",
            table(
                made,
                ("Line", "Medication", "Volume", "Dose", "Sum so far", "Standing"),
                rows,
                (28, None, 52, 80, 80, 104),
                right=(0, 2, 3, 4),
            ),
        ),
        sentence("What is given from a syringe is not followed."),
    ]


def _additive(amount: Amount | None) -> list[tuple[str, bool]]:
    return [] if amount is None else [(amount_text(amount), False)]


def _totals(made: Printing) -> list[Flowable]:
    account, kit = made.record.medications, made.history.kit
    if not account.totals:
        return []
    parts = heading("In all")
    for total in account.totals:
        name = medication_label(total.name, kit)
        mark = Mark(confirmed=total.confirmed, words="" if total.confirmed else f"total of {name}")
        parts.append(sentence(total_text(total, kit), mark))
    try:
        figures = published_texts(account, published_doses(), kit)
    except BadInput as problem:
        return [*parts, sentence(str(problem), bold=True)]
    parts += [sentence(figure) for figure in figures]
    if figures:
        parts.append(sentence(DOSES_CAUTION, bold=True))
    return parts


def _questions(made: Printing) -> list[Flowable]:
    open_ones = [
        (line, question.sentence)
        for line in _medication_lines(made)
        if line.is_open
        for question in line.questions
    ]
    if not open_ones:
        return [*heading("Open questions"), sentence("No question about a medication is open.")]
    rows = [
        [cell(str(line.number), mark_of(line), right=True), cell(words)]
        for line, words in open_ones
    ]
    return [
        *headed(
            made, "Open questions", table(made, ("Line", "Question"), rows, (32, None), right=(0,))
        ),
    ]


def _lines(made: Printing) -> list[Flowable]:
    rows = []
    for line in _medication_lines(made):
        by = [(who(made, line.decision), False)] if line.decision is not None else []
        notes = [(f"“{line.event.words}”", False)]
        if line.state is LineState.AMENDED:
            notes.append((amended_text(line, made.history.kit), True))
        rows.append(
            [
                cell(str(line.number), mark_of(line), right=True),
                cell(line_text(line, made.history.kit), below=notes),
                cell(standing_text(line), bold=not is_confirmed(line), below=by),
            ]
        )
    return [
        *headed(
            made,
            "Every line about a medication or solution",
            table(made, ("Line", "What was heard", "Standing"), rows, (32, None, 130), right=(0,)),
        ),
    ]


def _medication_lines(made: Printing) -> list[Line]:
    return [
        line for line in made.record.lines if line.event.kind in _KINDS or line.acts_as in _KINDS
    ]
