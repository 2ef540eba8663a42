"""What a permanent relief of the scrub or the circulator asks for again.

A full count and a reading of every label together with the relieving person (AORN and AST guidance,
from memory). What was not counted is found with the phases; that labels wait to be read again is
asked by the medication account, on the line of the relief, until they were.
"""

from collections.abc import Sequence

from countersign.kit import Kit
from countersign.meaning.event import EventKind, Phase
from countersign.medication import MedicationAccount
from countersign.medication.words import in_sentence, mixture_text
from countersign.tally import sentences
from countersign.tally.drafts import Draft
from countersign.tally.findings import Notice, NoticeCode


def relief_notices(
    kit: Kit, drafts: Sequence[Draft], medications: MedicationAccount
) -> list[Notice]:
    """A notice for each relief that was announced, naming the containers there were by then."""
    return [
        Notice(
            code=NoticeCode.RELIEF,
            sentence=f"Relief at line {draft.number}: everything is counted again and every label "
            f"is read again{_containers(kit, medications, draft.number)}.",
            line=draft.number,
        )
        for draft in drafts
        if draft.counts and draft.event.kind is EventKind.PHASE and draft.phase is Phase.RELIEF
    ]


def _containers(kit: Kit, medications: MedicationAccount, line: int) -> str:
    """``: lidocaine 1 % (cup)`` for whatever was on the field before a line."""
    drawn = {each.line for each in medications.draws}
    names = [
        f"{in_sentence(mixture_text(kit, each.name, each.strength, each.additive))} "
        f"({each.container or 'container not said'})"
        for each in medications.preparations
        if any(at < line for at in each.lines if not each.drawn_up or at in drawn)
    ]
    return f": {sentences.listing(names)}" if names else ""
