"""Labels: which container one belongs to, what it lacks, and what it says differently."""

from countersign.meaning.event import QuestionCode
from countersign.medication import sentences
from countersign.medication.comparing import compare_additive, compare_strength
from countersign.medication.entries import Entry
from countersign.medication.field import SYRINGE, Field, Prepared, narrowed
from countersign.medication.labels import missing_elements
from countersign.medication.words import mixture_text, volume_text


def take_label(state: Field, entry: Entry) -> None:
    """Put a label on its container and ask what it lacks or says differently."""
    label = entry.detail
    there = _labelled(state, entry)
    if there is None:
        if label.name is None:
            return  # the line itself asks for the name
        there = _prepare_from_label(state, entry)
    else:
        there.lines.append(entry.line)
        _compare(state, entry, there)
    there.label = label
    there.due = None
    there.read_back |= label.read_back
    there.container = there.container or label.container
    if there.strength is None and label.strength is not None:
        there.strength = label.strength
        there.basis.append(entry.line)
    there.expired |= entry.expired
    if there.received_ml is None and there.source is None and not there.added[1:]:
        there.received_ml = label.volume_ml
    there.missing = missing_elements(state.kit, label, there.contents)
    unasked = [each for each in there.missing if each not in entry.label_asked]
    if unasked:
        state.ask(
            entry,
            QuestionCode.LABEL_INCOMPLETE,
            sentences.label_lacks(there.text(state.kit), unasked),
        )


def _labelled(state: Field, entry: Entry) -> Prepared | None:
    """What a label belongs to; asks where that is not clear."""
    label = entry.detail
    found = [each for each in state.prepared if label.name in (None, each.name)]
    if label.name is None and label.container is None:
        return None
    if label.container is not None:
        inside = [each for each in found if each.container == label.container]
        unsaid = [each for each in found if each.container is None]
        moved = [each for each in found if each.source is None]
        if inside or unsaid:
            found = inside or unsaid
        elif len(moved) == 1 and label.container != SYRINGE and label.name is not None:
            state.ask(
                entry,
                QuestionCode.CONTAINER_UNKNOWN,
                sentences.other_container(
                    moved[0].text(state.kit), moved[0].container or "", label.container
                ),
            )
            found = moved
        else:
            found = []
    found = narrowed(found, label)
    bare = [each for each in found if each.label is None]
    if len(bare or found) > 1:
        state.ask(
            entry,
            QuestionCode.CONTAINER_UNKNOWN,
            sentences.label_for_which([each.text(state.kit) for each in bare or found]),
        )
    return (bare or found)[-1] if found else None


def _prepare_from_label(state: Field, entry: Entry) -> Prepared:
    """Something that a label speaks of, though nobody was heard receiving it."""
    label = entry.detail
    made = Prepared(
        contents=label,
        strength=label.strength,
        additive_strength=label.additive_strength,
        container=label.container,
        received_ml=None,
        added=[None],
        lines=[entry.line],
        basis=[entry.line],
    )
    state.prepared.append(made)
    state.ask(
        entry,
        QuestionCode.CONTAINER_UNKNOWN,
        sentences.label_without_receipt(made.text(state.kit), label.container),
    )
    return made


def _compare(state: Field, entry: Entry, there: Prepared) -> None:
    """Whether a label says the same as what was received or drawn."""
    label = entry.detail
    what = mixture_text(state.kit, there.name, None)
    # A label may give the strength before dilution, as long as it names the diluent too.
    before = there.contents.strength if label.diluent or there.amount else None
    compare_strength(state, entry, there, "label", also=before)
    compare_additive(state, entry, there, "label")
    volumes = {there.received_ml, there.remaining_ml, *there.added, there.contents.volume_ml}
    if label.volume_ml is not None and volumes != {None} and label.volume_ml not in volumes:
        state.ask(
            entry,
            QuestionCode.MEDICATION_DIFFERS,
            sentences.amount_differs(
                what, volume_text(there.received_ml), volume_text(label.volume_ml)
            ),
        )
    expiry = there.contents.expiry
    if label.expiry is not None and expiry is not None and label.expiry != expiry:
        state.ask(
            entry,
            QuestionCode.MEDICATION_DIFFERS,
            sentences.expiry_differs(what, expiry, label.expiry),
        )
