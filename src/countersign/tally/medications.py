"""The medication account of a record, and its questions on the lines they are about."""

from collections.abc import Sequence

from countersign.kit import Kit
from countersign.meaning.event import Question
from countersign.medication import MedicationAccount, medication_account, questions_by_line
from countersign.medication.entries import details
from countersign.tally.record import Line


def with_medications(kit: Kit, lines: Sequence[Line]) -> tuple[tuple[Line, ...], MedicationAccount]:
    """The lines with their details and the account's questions added to them, and the account."""
    account = medication_account(kit, lines)
    asked = questions_by_line(account)
    said = details(lines)
    found = []
    for line in lines:
        update: dict[str, object] = {}
        if line.number in asked:
            update["questions"] = (
                *line.questions,
                *(Question(code=each.code, sentence=each.sentence) for each in asked[line.number]),
            )
        if line.number in said:
            update["medication"] = said[line.number]
        found.append(line.model_copy(update=update) if update else line)
    return tuple(found), account
