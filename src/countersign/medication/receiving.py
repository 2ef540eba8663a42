"""Receipts: what is passed onto the sterile field, and what dilution makes of it."""

from countersign.meaning.event import MedicationDetail, QuestionCode
from countersign.medication import sentences
from countersign.medication.concentration import Form, dissolved, form_of
from countersign.medication.entries import Entry
from countersign.medication.field import Field, Prepared, agree, mixed
from countersign.medication.units import Amount, total
from countersign.medication.words import mixture_text


def receive(state: Field, entry: Entry) -> None:
    """Put what was received onto the field, or beside what is the same."""
    detail = entry.detail
    if detail.name is None:
        return  # the line itself asks for the name
    there = [each for each in state.prepared if each.name == detail.name and each.source is None]
    if entry.disputed and there:
        there[-1].lines.append(entry.line)  # one thing, said in two ways: the line itself asks
        return
    made = _prepare(state, entry)
    before = state.last_receipt
    if before is not None and _same_words(before[0].detail, detail):
        if detail.read_back:  # the second voice: nothing more was received
            before[1].read_back = True
            before[1].lines.append(entry.line)
            return
        if entry.line == before[0].line + 1:
            state.ask(
                entry,
                QuestionCode.OTHER_READING,
                sentences.received_again(made.text(state.kit), before[0].line),
            )
    same = [each for each in state.prepared if each.source is None and _is_same(each, made)]
    if same:
        _add(state, same[-1], made, entry)
    else:
        state.prepared.append(made)
    state.last_receipt = (entry, same[-1] if same else made)


def _prepare(state: Field, entry: Entry) -> Prepared:
    """What a receipt puts on the field, with any dilution carried out.

    With a volume of diluent, strength and volume are those of the medication before it was mixed.
    A weight or units alone are made up to the larger of the two volumes.
    """
    detail = entry.detail
    strength, additive_strength = detail.strength, detail.additive_strength
    volume, diluent = detail.volume_ml, detail.diluent_volume_ml
    amount = None
    if strength is not None and form_of(strength) is Form.AMOUNT:
        amount = Amount(value=strength.value, unit=strength.unit)
        volumes = [each for each in (volume, diluent) if each is not None]
        volume = max(volumes, default=None)
        if volume is not None:
            strength = dissolved(strength, volume) or strength
    elif diluent is not None:
        strength, additive_strength, volume = mixed(strength, additive_strength, volume, diluent)
        if volume is None:
            state.ask(
                entry,
                QuestionCode.NO_QUANTITY,
                sentences.no_volume_to_dilute(mixture_text(state.kit, detail.name or "", None)),
            )
    return Prepared(
        contents=detail,
        strength=strength,
        additive_strength=additive_strength,
        container=detail.container,
        received_ml=volume,
        amount=amount,
        added=[volume],
        expired=entry.expired,
        read_back=detail.read_back,
        lots=[detail.lot] if detail.lot else [],
        lines=[entry.line],
        basis=[entry.line],
    )


def _add(state: Field, there: Prepared, more: Prepared, entry: Entry) -> None:
    """More of what is there already, in the same kind of container."""
    if there.received_ml is None or more.received_ml is None:
        there.received_ml = None
    else:
        there.received_ml += more.received_ml
    if there.amount is not None and more.amount is not None:
        there.amount = total([there.amount, more.amount])
    there.added.append(more.received_ml)
    there.lots += [lot for lot in more.lots if lot not in there.lots]
    there.expired |= more.expired
    there.read_back &= more.read_back
    there.lines.append(entry.line)
    there.basis.append(entry.line)
    if there.label is not None:
        there.due = entry.line


def _same_words(first: MedicationDetail, second: MedicationDetail) -> bool:
    """Whether two receipts say the same, apart from what one of them leaves out."""
    fields = set(MedicationDetail.model_fields) - {"read_back", "received_by", "received_from"}
    pairs = [(getattr(first, name), getattr(second, name)) for name in fields]
    return all(one == other or None in (one, other) for one, other in pairs) and (
        first.name == second.name and first.volume_ml == second.volume_ml
    )


def _is_same(first: Prepared, second: Prepared) -> bool:
    return (
        first.name == second.name
        and first.additive == second.additive
        and first.container == second.container
        and agree(first.strength, second.strength)
        and agree(first.additive_strength, second.additive_strength)
        and (first.amount is None) == (second.amount is None)
    )
