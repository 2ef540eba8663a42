"""Whether a label or a draw says the same as what is on the field."""

from countersign.meaning.event import QuestionCode, Strength
from countersign.medication import sentences
from countersign.medication.concentration import same_strength
from countersign.medication.entries import Entry
from countersign.medication.field import Field, Prepared
from countersign.medication.words import mixture_text, strength_text


def compare_strength(
    state: Field, entry: Entry, there: Prepared, act: str, also: Strength | None = None
) -> None:
    """Ask where the strength said is neither that in the container nor the one ``also`` allowed."""
    said = entry.detail.strength
    if said is None or there.strength is None or same_strength(said, there.strength):
        return
    if also is None or not same_strength(said, also):
        _ask(state, entry, there.name, there.strength, said, act)


def compare_additive(state: Field, entry: Entry, there: Prepared, act: str) -> None:
    """Ask where the additive said, or its strength, is not the one in the container."""
    said = entry.detail
    if said.additive is not None and said.additive != there.additive:
        state.ask(
            entry,
            QuestionCode.MEDICATION_DIFFERS,
            sentences.additive_differs(
                mixture_text(state.kit, there.name, None),
                mixture_text(state.kit, said.additive, None),
                mixture_text(state.kit, there.additive, None) if there.additive else None,
                act,
            ),
        )
    elif (
        there.additive is not None
        and said.additive_strength is not None
        and there.additive_strength is not None
        and not same_strength(said.additive_strength, there.additive_strength)
    ):
        _ask(state, entry, there.additive, there.additive_strength, said.additive_strength, act)


def _ask(state: Field, entry: Entry, name: str, known: Strength, said: Strength, act: str) -> None:
    state.ask(
        entry,
        QuestionCode.STRENGTH_DIFFERS,
        sentences.strength_differs(
            mixture_text(state.kit, name, None), strength_text(known), strength_text(said), act
        ),
    )
