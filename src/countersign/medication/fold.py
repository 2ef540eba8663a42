"""The fold over medication lines, each handled by its kind."""

from collections.abc import Iterable

from countersign.kit import Kit
from countersign.meaning.event import EventKind
from countersign.medication.changing_hands import relieve
from countersign.medication.drawing import draw_up
from countersign.medication.entries import Entry
from countersign.medication.field import Field
from countersign.medication.labelling import take_label
from countersign.medication.receiving import receive


def go_through(kit: Kit, entries: Iterable[Entry]) -> Field:
    """The field after all entries, in their order."""
    state = Field(kit)
    for entry in entries:
        match entry.kind:
            case EventKind.RECEIPT:
                receive(state, entry)
            case EventKind.LABEL:
                take_label(state, entry)
            case EventKind.DRAW:
                draw_up(state, entry)
            case None:
                relieve(state, entry)
    return state
