"""What stands beside the lines on a case's page: medications, set-up, differences, who did what."""

from datetime import datetime

from pydantic import BaseModel, ConfigDict

from countersign.kit import Kit
from countersign.ledger import CaseHistory
from countersign.meaning.event import EventKind
from countersign.medication.published import DOSES_CAUTION, published_doses
from countersign.medication.units import Amount
from countersign.medication.values import Preparation
from countersign.medication.view import label_text, published_texts, total_text
from countersign.medication.words import amount_text, in_sentence, mixture_text, volume_text
from countersign.medication.words import medication_label as name_of
from countersign.policy import Policy, checklist, may_enter
from countersign.problems import BadInput
from countersign.set_up import Placed, Stands, set_up
from countersign.set_up.view import place_name
from countersign.tally.record import Act, CountRecord, Decision, Discrepancy, Role
from countersign.wording import amended_count, item_label, line_text, number_text


class MedicationRow(BaseModel):
    """One preparation on the field; figures are one text a line, volume before amounts."""

    model_config = ConfigDict(frozen=True)

    name: str
    notes: tuple[str, ...]
    received: tuple[str, ...]
    drawn: tuple[str, ...]
    left: tuple[str, ...]
    urgent: tuple[str, ...]
    confirmed: bool


class Medications(BaseModel):
    """What is on the field, what was given to it in all, and published figures beside it."""

    model_config = ConfigDict(frozen=True)

    rows: tuple[MedicationRow, ...] = ()
    totals: tuple[str, ...] = ()
    published: tuple[str, ...] = ()
    caution: str = ""


class SetUpRow(BaseModel):
    """One item of the set-up and how it stands; ``sign`` says it without colour."""

    model_config = ConfigDict(frozen=True)

    label: str
    note: str
    number: str
    sign: str
    stands: str
    confirmed: bool | None


class SetUpPlace(BaseModel):
    """The Mayo stand or the back table."""

    model_config = ConfigDict(frozen=True)

    name: str
    rows: tuple[SetUpRow, ...]


class StepRow(BaseModel):
    """One step of the search: its id and words, and who did it when."""

    model_config = ConfigDict(frozen=True)

    step: str
    say: str
    done: str
    remark: str
    may: bool


class Difference(BaseModel):
    """An item that is missing or over, and what the policy asks to be done."""

    model_config = ConfigDict(frozen=True)

    found: Discrepancy
    steps: tuple[StepRow, ...]


class Deed(BaseModel):
    """One entry of the ledger in words: who did what to which line, and when."""

    model_config = ConfigDict(frozen=True)

    at: datetime
    who: str
    what: str
    in_force: bool


_NO_FIGURES: tuple[str, ...] = ()
_STANDS = {
    Stands.PLACED: ("✓", "placed"),
    Stands.MISSING: ("–", "not placed yet"),
    Stands.ELSEWHERE: ("≠", "elsewhere"),
    Stands.NOT_LISTED: ("+", "not listed"),
    Stands.PLACE_NOT_SAID: ("?", "place not said"),
}
_ACTS = {
    Act.ACCEPT: "accepted",
    Act.AMEND: "amended",
    Act.SET_ASIDE: "set aside",
    Act.UNDO: "took back the decision on",
}


def medications(record: CountRecord, kit: Kit) -> Medications:
    """The medication account of a record; empty where there is none."""
    account = record.medications
    try:
        published = tuple(published_texts(account, published_doses(), kit))
    except BadInput as problem:
        published = (str(problem),)
    return Medications(
        rows=tuple(_preparation(each, kit) for each in account.preparations),
        totals=tuple(total_text(total, kit) for total in account.totals),
        published=published,
        caution=DOSES_CAUTION if published else "",
    )


def _preparation(each: Preparation, kit: Kit) -> MedicationRow:
    notes = ["syringe, drawn up here" if each.drawn_up else each.container or "container not said"]
    if each.diluent is not None:
        notes.append(f"in {in_sentence(name_of(each.diluent, kit))}")
    notes.append(label_text(each))
    urgent = ["EXPIRED"] if each.expired else []
    received = _figures(volume_text(each.received_ml), each.received, each.additive_received)
    drawn = left = _NO_FIGURES
    if each.drawn_up:  # a syringe holds what was drawn into it; what is given is not followed
        drawn, received = received, _NO_FIGURES
    else:
        drawn = _figures(volume_text(each.drawn_ml), each.drawn, each.additive_drawn)
        left = _figures(volume_text(each.remaining_ml), each.remaining, each.additive_remaining)
    return MedicationRow(
        name=mixture_text(kit, each.name, each.strength, each.additive, each.additive_strength),
        notes=tuple(notes),
        received=received,
        drawn=drawn,
        left=left,
        urgent=tuple(urgent),
        confirmed=each.confirmed,
    )


def _figures(volume: str, *amounts: Amount | None) -> tuple[str, ...]:
    return (volume, *(amount_text(each) for each in amounts if each is not None))


def set_up_places(record: CountRecord, kit: Kit) -> tuple[SetUpPlace, ...]:
    """Both lists, then what was set up without a place."""
    made = set_up(kit, record.lines)
    places = [
        SetUpPlace(
            name=place_name(place.place), rows=tuple(_set_up_row(e, kit) for e in place.items)
        )
        for place in made.places
        if place.items
    ]
    if made.unplaced:
        rows = tuple(_set_up_row(each, kit) for each in made.unplaced)
        places.append(SetUpPlace(name="without a place", rows=rows))
    return tuple(places)


def _set_up_row(each: Placed, kit: Kit) -> SetUpRow:
    sign, stands = _STANDS[each.stands]
    if each.stands is Stands.ELSEWHERE:
        stands = f"on {place_name(each.placed_on)}"
    notes = [f"use {each.order}"] if each.order is not None else []
    notes += [f"tip {each.tip}"] if each.tip else []
    notes += [f"handle {each.handle}"] if each.handle else []
    return SetUpRow(
        label=item_label(each.item, kit),
        note="; ".join(notes),
        number="" if each.quantity is None else number_text(each.quantity),
        sign=sign,
        stands=stands,
        confirmed=each.confirmed if each.lines else None,
    )


def differences(
    record: CountRecord, kit: Kit, policy: Policy | None, role: Role
) -> tuple[Difference, ...]:
    """Every discrepancy, the open ones first, with the steps of the search."""
    rows = []
    for found in sorted(record.discrepancies, key=lambda each: not each.is_open):
        steps = tuple(
            StepRow(
                step=checked.step.id,
                say=checked.step.say,
                done=f"{checked.done.initials}, {checked.done.at.astimezone():%H:%M}"
                if checked.done
                else "",
                remark=checked.done.remark or "" if checked.done else "",
                may=found.is_open and may_enter(checked.step, role),
            )
            for checked in (checklist(policy, found, kit) if policy else ())
        )
        rows.append(Difference(found=found, steps=steps))
    return tuple(rows)


def deeds(history: CaseHistory, record: CountRecord) -> tuple[Deed, ...]:
    """Every decision that was kept, the newest first; undone ones stay, and say so."""
    in_force = {line.decision.entry for line in record.lines if line.decision is not None}
    return tuple(_deed(made, record, history.kit, in_force) for made in history.decisions[::-1])


def _deed(made: Decision, record: CountRecord, kit: Kit, in_force: set[int | None]) -> Deed:
    line = record.lines[made.line - 1]
    what = f"{_ACTS[made.act]} line {made.line}, {line_text(line, kit)}"
    if made.act is Act.AMEND:
        item = item_label(made.item, kit) if made.item else ""
        number = "" if made.quantity is None else number_text(made.quantity)
        count = amended_count(line.event, made) if line.event.kind is EventKind.PHASE else ""
        now = " ".join(filter(None, (item, number, count)))
        what += f", to {now}" if now else ""
    if made.reason:
        what += f": {made.reason}"
    return Deed(
        at=made.at.astimezone(),
        who=f"{made.initials} ({made.role.value})",
        what=what,
        in_force=made.entry in in_force,
    )
