"""Events, numbers and states in words for people."""

from decimal import Decimal

from countersign.kit.model import Group, Kit
from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Strength,
    Verdict,
)
from countersign.printable import clean
from countersign.tally.record import Line, LineState

GROUPS = {
    Group.SPONGES: "sponges",
    Group.SHARPS: "sharps",
    Group.SMALL_ITEMS: "small items",
    Group.INSTRUMENTS: "instruments",
}

PHASES = {
    Phase.INITIAL: "initial count",
    Phase.RELIEF: "relief count",
    Phase.CLOSING_CAVITY: "closing count, cavity",
    Phase.CLOSING: "closing count",
    Phase.FINAL: "final count",
}

VERDICTS = {
    Verdict.CORRECT: "count correct",
    Verdict.NOT_CORRECT: "count not correct",
    Verdict.RECOUNT: "recount",
}

_MEDICATION_KINDS = {
    EventKind.RECEIPT: "received",
    EventKind.LABEL: "label",
    EventKind.DRAW: "drawn up",
}

# Units are spelled out where the abbreviation is easily misread (ISMP list of error-prone
# abbreviations, from memory: U and µg).
_UNITS = {"ug/mL": "micrograms/mL", "[U]/mL": "units/mL", "[U]": "units", "ug": "micrograms"}


def number_text(quantity: int | Decimal | None, unit: str | None = None) -> str:
    """A quantity for people: no trailing zeros, the unit unless it is ``each``, ``-`` for None."""
    if quantity is None:
        return "-"
    if isinstance(quantity, Decimal):
        text = format(quantity, "f")
        text = text.rstrip("0").rstrip(".") if "." in text else text
    else:
        text = str(quantity)
    return text if unit in (None, "each") else f"{text} {_UNITS.get(unit or '', unit)}"


def item_label(item_id: str | None, kit: Kit) -> str:
    """The kit's label for an item or medication id; the id itself where the kit has none."""
    if item_id is None:
        return "item not heard"
    labels = {medication.id: medication.label for medication in kit.medications}
    labels |= {item.id: item.label for item in kit.items}
    return clean(labels.get(item_id, item_id))


def strength_text(strength: Strength) -> str:
    """A strength as it is written on a label: ``1 %``, ``1:200,000``, ``10 mg/mL``."""
    if strength.unit == "ratio":
        return f"1:{strength.value:,f}"
    return number_text(strength.value, strength.unit)


def medication_text(item: str | None, detail: MedicationDetail | None, kit: Kit) -> str:
    """Name, strength, additive, volume, expiry, lot and container, as far as they were said."""
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
    if detail.expiry:
        parts.append(f"expires {detail.expiry.isoformat()}")
    if detail.lot:
        parts.append(f"lot {clean(detail.lot)}")
    if detail.container:
        parts.append(f"in {clean(detail.container)}")
    return ", ".join(parts)


def event_text(event: Event, kit: Kit) -> str:
    """What an event does, without its number."""
    match event.kind:
        case EventKind.COUNT:
            return item_label(event.item, kit)
        case EventKind.ADDITION:
            return f"added: {item_label(event.item, kit)}"
        case EventKind.REMOVAL:
            return f"passed off: {item_label(event.item, kit)}"
        case EventKind.CORRECTION:
            if event.item is None and event.quantity is None:
                return "correction: strike that"
            return f"correction: {item_label(event.item, kit) if event.item else 'number'}"
        case EventKind.PHASE:
            phase = PHASES[event.phase] if event.phase else "phase not heard"
            return f"begins: {phase}{_of_group(event)}"
        case EventKind.VERDICT:
            verdict = VERDICTS[event.verdict] if event.verdict else "verdict not heard"
            return f"said: {verdict}{_of_group(event)}"
        case EventKind.SET_UP:
            place = f" on {clean(event.place).replace('_', ' ')}" if event.place else ""
            return f"set up: {item_label(event.item, kit)}{place}"
        case EventKind.REMARK:
            return "remark"
        case _:
            medication = medication_text(event.item, event.medication, kit)
            return f"{_MEDICATION_KINDS[event.kind]}: {medication}"


def line_text(line: Line, kit: Kit) -> str:
    """What a line does, without its number; a correction names what it took over."""
    if line.event.kind is EventKind.CORRECTION and line.acts_as is not None:
        return f"correction: {item_label(line.item, kit)}"
    return event_text(line.event, kit)


def line_number_text(line: Line) -> str:
    """The number a line gives as heard, taken over from the struck line where it was not said."""
    quantity = line.event.quantity if line.quantity is None else line.quantity
    return number_text(quantity, line.event.unit)


def _of_group(event: Event) -> str:
    if event.group is None:
        return ""
    groups = {group.value: words for group, words in GROUPS.items()}
    return f", {groups.get(event.group, clean(event.group))}"


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
