"""From the record's lines to the medication account."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from countersign.kit import Kit
from countersign.meaning.event import Strength
from countersign.medication.changing_hands import due_questions, like_container_questions
from countersign.medication.concentration import amount_in, form_of
from countersign.medication.entries import RecordLine, entries
from countersign.medication.field import Draw, Field, Prepared
from countersign.medication.fold import go_through
from countersign.medication.labels import medication_of, strength_in_name
from countersign.medication.units import Amount, converted, measure, plain, total
from countersign.medication.values import (
    Drawn,
    Finding,
    LabelState,
    MedicationAccount,
    Preparation,
    SubstanceTotal,
)


def medication_account(kit: Kit, lines: Sequence[RecordLine]) -> MedicationAccount:
    """What is on the field, drawn, left and labelled, and what a person must be asked.

    Pure. ``lines`` are the lines of a count record in their order; struck lines and those set aside
    have no effect, and amended values replace what was heard. Nothing is limited: doses are added
    up and shown, never judged.
    """
    standing = list(entries(lines))
    if not standing:
        return MedicationAccount()
    state = go_through(kit, standing)
    confirmed = go_through(kit, entries(lines, confirmed_only=True))
    is_confirmed = {entry.line: entry.confirmed for entry in standing}
    is_open = {entry.line: entry.open for entry in standing}
    due = due_questions(state, standing)
    asked = [*state.asked, *like_container_questions(state, standing), *due]
    return MedicationAccount(
        preparations=tuple(
            _preparation(kit, each, is_confirmed, is_open) for each in state.prepared
        ),
        draws=tuple(_draws(kit, state.draws, is_confirmed)),
        totals=tuple(_totals(kit, state, confirmed, is_confirmed)),
        questions=tuple(sorted(asked, key=lambda finding: finding.line)),
    )


def _preparation(
    kit: Kit, made: Prepared, is_confirmed: dict[int, bool], is_open: dict[int, bool]
) -> Preparation:
    contents = made.contents
    label = LabelState.COMPLETE if made.label is not None else LabelState.NONE
    if made.missing:
        label = LabelState.INCOMPLETE
    received, drawn, remaining = (
        _amounts(made, made.strength, made.amount) if _is_counted(kit, made.name) else _NOTHING
    )
    additive = _NOTHING
    if made.additive is not None:
        additive = _amounts(made, made.additive_strength, None)
    said = made.label
    return Preparation(
        name=made.name,
        strength=made.strength,
        form=form_of(contents.strength) if contents.strength is not None else None,
        additive=made.additive,
        additive_strength=made.additive_strength,
        diluent=contents.diluent,
        diluent_volume_ml=contents.diluent_volume_ml,
        container=made.container,
        drawn_up=made.source is not None,
        received_ml=made.received_ml,
        drawn_ml=None if made.unmeasured else made.drawn_ml,
        remaining_ml=made.remaining_ml,
        received=received,
        drawn=drawn,
        remaining=remaining,
        additive_received=additive[0],
        additive_drawn=additive[1],
        additive_remaining=additive[2],
        expiry=contents.expiry or (said.expiry if said else None),
        expiry_time=contents.expiry_time or (said.expiry_time if said else None),
        expired=made.expired,
        lots=tuple(made.lots),
        received_by=contents.received_by,
        received_from=contents.received_from,
        read_back=made.read_back,
        label=label,
        missing=made.missing,
        verification_due=made.due is not None and is_open.get(made.due, False),
        lines=tuple(dict.fromkeys(made.lines)),
        confirmed=all(is_confirmed[line] for line in made.lines),
    )


_Three = tuple[Amount | None, Amount | None, Amount | None]
_NOTHING: _Three = (None, None, None)


def _amounts(made: Prepared, strength: Strength | None, alone: Amount | None) -> _Three:
    """Received, drawn and left over, each of one substance."""
    untouched = not made.drawn_ml and not made.unmeasured
    return (
        _amount_of(strength, made.received_ml, alone),
        None if made.unmeasured else _amount_of(strength, made.drawn_ml),
        _amount_of(strength, made.remaining_ml, alone if untouched else None),
    )


def _draws(kit: Kit, draws: Sequence[Draw], is_confirmed: dict[int, bool]) -> Iterable[Drawn]:
    running: dict[tuple[str, str], Amount] = {}

    def run(name: str | None, dose: Amount | None) -> Amount | None:
        if name is None or dose is None:
            return None
        key = (name, measure(dose.unit) or dose.unit)
        added = total([each for each in (running.get(key), dose) if each is not None])
        if added is not None:
            running[key] = added
        return added

    for draw in draws:
        name = draw.entry.name
        if name is None:
            continue
        dose = _amount_of(draw.strength, draw.volume_ml) if _is_counted(kit, name) else None
        additive_dose = _amount_of(draw.additive_strength, draw.volume_ml)
        yield Drawn(
            line=draw.entry.line,
            name=name,
            strength=draw.strength,
            additive=draw.additive,
            additive_strength=draw.additive_strength,
            volume_ml=draw.volume_ml,
            dose=dose,
            running=run(name, dose),
            additive_dose=additive_dose,
            additive_running=run(draw.additive, additive_dose),
            confirmed=draw.entry.confirmed and all(is_confirmed[line] for line in draw.basis),
        )


@dataclass
class _Sum:
    """The amounts of one substance in one kind of unit."""

    received: list[Amount] = field(default_factory=list)
    drawn: list[Amount] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    as_additive: bool = True


def _totals(
    kit: Kit, state: Field, confirmed: Field, is_confirmed: dict[int, bool]
) -> Iterable[SubstanceTotal]:
    sums, unknown = _sums(kit, state)
    sure, _ = _sums(kit, confirmed)
    for (name, unit), each in sums.items():
        certain = sure.get((name, unit), _Sum())
        received, drawn = _added(each.received, unit), _added(each.drawn, unit)
        yield SubstanceTotal(
            name=name,
            as_additive=each.as_additive,
            received=received,
            drawn=drawn,
            remaining=_less(received, drawn),
            confirmed_received=_added(certain.received, unit) if certain.received else None,
            confirmed_drawn=_added(certain.drawn, unit) if certain.drawn else None,
            complete=name not in unknown,
            confirmed=all(is_confirmed[line] for line in each.lines),
        )


def _sums(kit: Kit, state: Field) -> tuple[dict[tuple[str, str], _Sum], set[str]]:
    sums: dict[tuple[str, str], _Sum] = {}
    unknown: set[str] = set()

    def take(name: str | None, amount: Amount | None, lines: list[int], where: str) -> _Sum | None:
        if name is None:
            return None
        if amount is None:
            unknown.add(name)
            return None
        found = sums.setdefault((name, measure(amount.unit) or amount.unit), _Sum())
        getattr(found, where).append(amount)
        found.lines += lines
        return found

    for made in state.prepared:
        if made.source is not None:
            continue
        if _is_counted(kit, made.name):
            amount = _amount_of(made.strength, made.received_ml, made.amount)
            found = take(made.name, amount, made.lines, "received")
            if found is not None:
                found.as_additive = False
        take(
            made.additive,
            _amount_of(made.additive_strength, made.received_ml),
            made.lines,
            "received",
        )
    for draw in state.draws:
        line = [*draw.basis, draw.entry.line]
        if draw.entry.name is not None and _is_counted(kit, draw.entry.name):
            found = take(draw.entry.name, _amount_of(draw.strength, draw.volume_ml), line, "drawn")
            if found is not None:
                found.as_additive = False
        take(draw.additive, _amount_of(draw.additive_strength, draw.volume_ml), line, "drawn")
    return sums, unknown


def _added(amounts: list[Amount], unit: str) -> Amount:
    return total(amounts) or Amount(value=Decimal(0), unit=unit)


def _less(received: Amount, drawn: Amount) -> Amount:
    left = received.value - converted(drawn.value, drawn.unit, received.unit)
    return Amount(value=plain(left), unit=received.unit)


def questions_by_line(account: MedicationAccount) -> dict[int, list[Finding]]:
    """The account's questions by the number of the line they are about."""
    found: dict[int, list[Finding]] = {}
    for finding in account.questions:
        found.setdefault(finding.line, []).append(finding)
    return found


def _is_counted(kit: Kit, name: str) -> bool:
    """Whether amounts of a medication are added up: not of a solution known by its name alone."""
    return not strength_in_name(medication_of(kit, name))


def _amount_of(
    strength: Strength | None, volume_ml: Decimal | None, alone: Amount | None = None
) -> Amount | None:
    """The amount in a volume; ``alone`` is an amount given without a volume."""
    if strength is not None and volume_ml is not None:
        found = amount_in(strength, volume_ml)
        if found is not None:
            return found
    return alone
