"""Events, numbers and states in words for people."""

from decimal import Decimal

from countersign.kit.model import Kit
from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Verdict,
)
from countersign.medication.units import plain
from countersign.medication.words import figure_text
from countersign.medication.words import strength_text as strength_text
from countersign.printable import clean
from countersign.tally.record import CountRecord, Decision, Discrepancy, Line, LineState
from countersign.tally.sentences import GROUPS as GROUPS
from countersign.tally.sentences import PHASES as PHASES
from countersign.tally.sentences import PLACES, listing

VERDICTS = {
    Verdict.CORRECT: "count correct",
    Verdict.NOT_CORRECT: "count not correct",
    Verdict.RECOUNT: "recount",
}

ALL_GROUPS = "all groups"
"""What a count is of where no group was named with it."""

_MEDICATION_KINDS = {
    EventKind.RECEIPT: "received",
    EventKind.LABEL: "label",
    EventKind.DRAW: "drawn up",
}


def number_text(quantity: int | Decimal | None, unit: str | None = None) -> str:
    """A quantity for people: no trailing zeros, the unit unless it is ``each``, ``-`` for None."""
    if quantity is None:
        return "-"
    if unit is None or unit == "each":
        return f"{plain(Decimal(quantity)):f}"
    return figure_text(Decimal(quantity), unit)


def item_label(item_id: str | None, kit: Kit) -> str:
    """The kit's label for an item or medication id; the id itself where the kit has none."""
    if item_id is None:
        return "item not heard"
    labels = {medication.id: medication.label for medication in kit.medications}
    labels |= {item.id: item.label for item in kit.items}
    return clean(labels.get(item_id, item_id))


def medication_text(item: str | None, detail: MedicationDetail | None, kit: Kit) -> str:
    """Everything on a medication or solution that was said, in the order of a label."""
    detail = detail or MedicationDetail()
    name = detail.name or item
    parts = [item_label(name, kit) if name else "medication not heard"]
    if detail.strength:
        parts[0] += f" {strength_text(detail.strength)}"
    if detail.additive:
        additive = f"with {item_label(detail.additive, kit)}"
        if detail.additive_strength:
            additive += f" {strength_text(detail.additive_strength)}"
        parts.append(additive)
    if detail.volume_ml is not None:
        parts.append(number_text(detail.volume_ml, "mL"))
    if detail.diluent or detail.diluent_volume_ml is not None:
        diluent = item_label(detail.diluent, kit) if detail.diluent else "a diluent"
        parts.append(f"mixed with {diluent}")
        if detail.diluent_volume_ml is not None:
            parts[-1] += f" {number_text(detail.diluent_volume_ml, 'mL')}"
    if detail.expiry:
        parts.append(f"expires {detail.expiry.isoformat()}")
    if detail.expiry_time:
        at = f"{detail.expiry_time:%H:%M}"
        parts.append(f"at {at}" if detail.expiry else f"expires at {at}")
    if detail.lot:
        parts.append(f"lot {clean(detail.lot)}")
    if detail.container:
        parts.append(f"in {clean(detail.container)}")
    if detail.received_by:
        parts.append(f"received by {clean(detail.received_by)}")
    if detail.received_from:
        parts.append(f"from {clean(detail.received_from)}")
    if detail.read_back:
        parts.append("read back")
    return ", ".join(parts)


def event_text(event: Event, kit: Kit) -> str:
    """What an event does, without its number."""
    match event.kind:
        case EventKind.COUNT:
            return f"{item_label(event.item, kit)}{_where(event.place, event.part)}"
        case EventKind.ADDITION:
            return f"added: {item_label(event.item, kit)}{_where(event.place, event.part)}"
        case EventKind.REMOVAL if event.place == "wound":
            return f"out of the wound: {item_label(event.item, kit)}{_where(None, event.part)}"
        case EventKind.REMOVAL:
            return f"passed off: {item_label(event.item, kit)}{_where(event.place, event.part)}"
        case EventKind.CORRECTION:
            if event.item is None and event.quantity is None:
                return "correction: strike that"
            return f"correction: {item_label(event.item, kit) if event.item else 'number'}"
        case EventKind.PHASE:
            return f"begins: {count_text(event.phase, event.group)}"
        case EventKind.VERDICT:
            verdict = VERDICTS[event.verdict] if event.verdict else "verdict not heard"
            return f"said: {verdict}{_of_group(event.group)}"
        case EventKind.SET_UP:
            return f"set up: {item_label(event.item, kit)}{_where(event.place, event.part)}"
        case EventKind.BREAKAGE:
            where = _where(event.place, event.part)
            return f"broken or cut, pieces: {item_label(event.item, kit)}{where}"
        case EventKind.REMARK:
            return f"remark: {item_label(event.item, kit)}" if event.item else "remark"
        case _:
            medication = medication_text(event.item, event.medication, kit)
            return f"{_MEDICATION_KINDS[event.kind]}: {medication}"


def line_text(line: Line, kit: Kit) -> str:
    """What a line does, without its number; a correction names what it took over."""
    if line.event.kind is EventKind.CORRECTION and line.acts_as in _MEDICATION_KINDS:
        amended = line.state is LineState.AMENDED
        said = line.event.medication if amended else line.medication
        return f"correction: {medication_text(line.item, said, kit)}"
    if line.event.kind is EventKind.CORRECTION and line.acts_as is not None:
        return f"correction: {item_label(line.item, kit)}{_where(line.place, line.part)}"
    return event_text(line.event, kit)


def line_number_text(line: Line) -> str:
    """The number a line gives as heard, taken over from the struck line where it was not said."""
    quantity = line.event.quantity if line.quantity is None else line.quantity
    return number_text(quantity, line.event.unit)


def where_text(place: str | None, part: str | None) -> str:
    """A part and a place in words, either of which may be missing: ``bulb, on the field``."""
    words = [clean(part) if part else "", PLACES.get(place, clean(place)) if place else ""]
    return ", ".join(filter(None, words))


def _where(place: str | None, part: str | None) -> str:
    words = where_text(place, part)
    return f", {words}" if words else ""


def verdict_text(record: CountRecord) -> str | None:
    """The confirmed verdict, with whatever exception it stands on; ``None`` while there is none.

    A "correct" that two people signed for although something is open never reads like another.
    """
    if record.verdict is None:
        return None
    words = VERDICTS[record.verdict]
    if not record.by_exception:
        return words
    signed = [
        f"{clean(made.scrub)} (scrub) and {clean(made.circulator)} (circulator) signed: "
        f"{clean(made.reason).rstrip('.')}"
        for made in record.by_exception
    ]
    return f"{words} BY EXCEPTION; {'; '.join(signed)}"


def difference_text(found: Discrepancy) -> str:
    """What is missing or over: ``1 missing``, ``2 over``, ``bulb missing``."""
    if found.vanished:
        return "no count differs any more"
    words = []
    if found.difference:
        words.append(f"{abs(found.difference)} {'missing' if found.difference < 0 else 'over'}")
    if found.missing_parts:
        words.append(f"{listing([clean(part) for part in found.missing_parts])} missing")
    return ", ".join(words)


def count_text(phase: Phase | None, group: str | None) -> str:
    """A count that was announced, with its group where it is of one: ``initial count, sharps``."""
    return f"{PHASES[phase] if phase else 'phase not heard'}{_of_group(group)}"


def amended_count(event: Event, decision: Decision) -> str:
    """What a line announces as it was amended, whether or not the decision is still in force."""
    group = event.group if decision.group is None else decision.group
    return count_text(decision.phase or event.phase, group)


def group_text(group: str | None) -> str:
    """A count group in words, or that it is all of them."""
    groups = {each.value: words for each, words in GROUPS.items()}
    return groups.get(group, clean(group)) if group else ALL_GROUPS


def _of_group(group: str | None) -> str:
    return f", {group_text(group)}" if group else ""


def state_text(line: Line) -> str:
    """Where a line stands, in words, with who decided."""
    by = f" {clean(line.decision.initials)}" if line.decision else ""
    match line.state:
        case LineState.HEARD:
            return "not confirmed"
        case LineState.ACCEPTED:
            return f"accepted{by}"
        case LineState.AMENDED:
            return f"amended{by}"
        case LineState.SET_ASIDE:
            return f"set aside{by}"
        case LineState.STRUCK:
            return f"struck by {line.struck_by}" if line.struck_by else "struck"


def is_confirmed(line: Line) -> bool:
    """Whether a person confirmed the line, as heard or amended."""
    return line.state in (LineState.ACCEPTED, LineState.AMENDED)


def clock_text(seconds: float) -> str:
    """Seconds from the start as ``m:ss.s``, or ``h:mm:ss.s`` from an hour on."""
    tenths = round(max(seconds, 0.0) * 10)
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    tail = f"{rest // 10:02d}.{rest % 10}"
    return f"{hours}:{minutes:02d}:{tail}" if hours else f"{minutes}:{tail}"
