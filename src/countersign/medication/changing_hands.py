"""Relief and like containers: labels that must be looked at again."""

from collections.abc import Sequence

from countersign.meaning.event import QuestionCode
from countersign.medication import sentences
from countersign.medication.entries import Entry
from countersign.medication.field import Field
from countersign.medication.values import Finding


def relieve(state: Field, entry: Entry) -> None:
    """After a relief every label on the field is to be verified again.

    The Joint Commission NPSG.03.04.01 (from memory): entering and leaving staff review all
    medications and solutions and their labels.
    """
    for each in state.prepared:
        if not each.used_up:
            each.due = entry.line


def due_questions(state: Field, entries: Sequence[Entry]) -> list[Finding]:
    """The labels that nobody has verified since they last changed hands, asked on that line."""
    asked = []
    for entry in entries:
        due = [each for each in state.prepared if each.due == entry.line]
        if not due:
            continue
        names = [(each.text(state.kit), each.container) for each in due]
        asked.append(
            Finding(
                line=entry.line,
                code=QuestionCode.VERIFICATION_DUE,
                sentence=sentences.verification_due(names, entry.kind),
                open=entry.open,
            )
        )
    return asked


def like_container_questions(state: Field, entries: Sequence[Entry]) -> list[Finding]:
    """Different preparations in the same kind of container while one of them has no label."""
    by_line = {entry.line: entry for entry in entries}
    asked = []
    kinds = dict.fromkeys(each.container for each in state.prepared if each.container)
    for kind in kinds:
        alike = [each for each in state.prepared if each.container == kind and not each.used_up]
        bare = [each for each in alike if each.label is None]
        texts = list(dict.fromkeys(each.text(state.kit) for each in alike))
        if not bare or len(texts) < 2:
            continue
        entry = by_line[max(each.lines[0] for each in alike)]
        asked.append(
            Finding(
                line=entry.line,
                code=QuestionCode.LIKE_CONTAINERS,
                sentence=sentences.like_containers(
                    texts, kind, list(dict.fromkeys(each.text(state.kit) for each in bare))
                ),
                open=entry.open,
            )
        )
    return asked
