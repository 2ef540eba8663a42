"""Draws: from which container, how much is left, and the syringe that is filled."""

from decimal import Decimal

from countersign.meaning.event import QuestionCode
from countersign.medication import sentences
from countersign.medication.comparing import compare_additive, compare_strength
from countersign.medication.entries import Entry
from countersign.medication.field import SYRINGE, Draw, Field, Prepared, agree, mixed, narrowed
from countersign.medication.words import mixture_text, volume_text


def draw_up(state: Field, entry: Entry) -> None:
    """Take a volume out of its container into a syringe."""
    said = entry.detail
    source = _source(state, entry)
    strength = source.strength if source else said.strength
    additive = source.additive if source else said.additive
    additive_strength = source.additive_strength if source else said.additive_strength
    state.draws.append(
        Draw(
            entry,
            said.volume_ml,
            source,
            strength,
            additive,
            additive_strength,
            basis=tuple(source.basis) if source else (),
        )
    )
    if source is None:
        return
    text = source.text(state.kit)
    # Only an amount alone ("one gram") may be said as it was before it was dissolved.
    dissolved = source.contents.strength if source.amount else None
    compare_strength(state, entry, source, "draw", also=dissolved)
    compare_additive(state, entry, source, "draw")
    if source.label is None:
        state.ask(
            entry,
            QuestionCode.CONTAINER_UNLABELLED,
            sentences.drawn_unlabelled(text, source.container),
        )
    if source.expired:
        state.ask(entry, QuestionCode.EXPIRY_PAST, sentences.drawn_expired(text))
    left = source.remaining_ml
    if said.volume_ml is not None and left is not None and said.volume_ml > left:
        state.ask(
            entry,
            QuestionCode.MORE_DRAWN,
            sentences.more_drawn(
                text, volume_text(said.volume_ml), volume_text(max(left, Decimal(0)))
            ),
        )
    if said.volume_ml is None:
        source.unmeasured = True
    else:
        source.drawn_ml += said.volume_ml
    source.lines.append(entry.line)
    _fill_syringe(state, entry, source)


def _source(state: Field, entry: Entry) -> Prepared | None:
    """What a draw was drawn from; asks where nothing fits or more than one thing does."""
    said = entry.detail
    if said.name is None:
        return None  # the line itself asks for the name
    what = mixture_text(state.kit, said.name, said.strength, said.additive, said.additive_strength)
    found = [each for each in state.prepared if each.source is None and each.name == said.name]
    if not found:
        state.ask(entry, QuestionCode.CONTAINER_UNKNOWN, sentences.drawn_unknown(what))
        return None
    if said.container not in (None, SYRINGE):
        inside = [each for each in found if each.container in (None, said.container)]
        if not inside:
            state.ask(
                entry,
                QuestionCode.CONTAINER_UNKNOWN,
                sentences.drawn_from_other(what, said.container or "", found[-1].container or ""),
            )
        found = inside or found
    found = narrowed(found, said)
    found = [each for each in found if not each.used_up] or found
    if len(found) > 1:
        names = [each.text(state.kit) for each in found]
        state.ask(entry, QuestionCode.CONTAINER_UNKNOWN, sentences.drawn_from_which(names))
        for each in found:  # what is left in each of them is not known any more
            each.unmeasured = True
        return None
    return found[0]


def _fill_syringe(state: Field, entry: Entry, source: Prepared) -> None:
    """The syringe that a draw fills; more of the same goes into the same row."""
    said = entry.detail
    strength, additive_strength, volume = (
        source.strength,
        source.additive_strength,
        said.volume_ml,
    )
    if said.diluent_volume_ml is not None:
        strength, additive_strength, volume = mixed(
            strength, additive_strength, volume, said.diluent_volume_ml
        )
    filled = [
        each for each in state.prepared if each.source is source and agree(each.strength, strength)
    ]
    if filled:
        syringe = filled[-1]
        syringe.received_ml = (
            None if syringe.received_ml is None or volume is None else syringe.received_ml + volume
        )
    else:
        syringe = Prepared(
            contents=source.contents.model_copy(
                update={
                    "diluent": said.diluent or source.contents.diluent,
                    "diluent_volume_ml": said.diluent_volume_ml
                    or source.contents.diluent_volume_ml,
                    "volume_ml": said.volume_ml,
                }
            ),
            strength=strength,
            additive_strength=additive_strength,
            container=SYRINGE,
            received_ml=volume,
            source=source,
        )
        state.prepared.append(syringe)
    syringe.expired |= source.expired
    syringe.added.append(volume)
    syringe.lines += [*source.basis, entry.line]
    syringe.read_back = said.read_back
    syringe.due = None if said.read_back else entry.line
