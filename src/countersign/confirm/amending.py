"""What a person types, made into values: who they are, which item, how many."""

import re
from calendar import monthrange
from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Literal, TypeVar

from countersign.kit.model import Group, Kit
from countersign.kit.written import UCUM, read_strength
from countersign.meaning.event import Event, EventKind, MedicationDetail, Phase, Strength
from countersign.tally.places import ORDER
from countersign.tally.record import Line, Role
from countersign.tally.running import TALLIED
from countersign.tally.sentences import GROUPS, PHASES, PLACES
from countersign.tally.strengths import strengths_not_stocked

_Name = TypeVar("_Name")

COUNTED = frozenset(
    {
        EventKind.COUNT,
        EventKind.ADDITION,
        EventKind.REMOVAL,
        EventKind.BREAKAGE,
        EventKind.CORRECTION,
        EventKind.SET_UP,
    }
)
MEDICATED = frozenset({EventKind.RECEIPT, EventKind.LABEL, EventKind.DRAW})
CONTAINERS = ("cup", "basin", "bowl", "pitcher", "syringe")
NOTHING = "none"
"""Typed where something that was heard is not so and nothing stands in its place."""
MOST_COUNTED = 999
MOST_ML = Decimal(10_000)


class NotUnderstood(Exception):
    """What was typed cannot be used; the message is one sentence for the person."""


def read_role(typed: str) -> Role:
    """A role from its name or the beginning of it."""
    wanted = typed.strip().lower()
    found = [role for role in Role if wanted and role.value.startswith(wanted)]
    if len(found) != 1:
        names = ", ".join(role.value for role in Role)
        raise NotUnderstood(f"The role is one of {names}.")
    return found[0]


def read_initials(typed: str) -> str:
    """One to four letters, given back as capitals."""
    initials = typed.strip().replace(".", "").upper()
    if not (1 <= len(initials) <= 4 and initials.isalpha()):
        raise NotUnderstood("Initials are one to four letters.")
    return initials


def read_item(typed: str, event: Event, kit: Kit) -> str:
    """The id of an item (or medication, where the line is about one) from what people call it.

    Its id, its label and its spoken forms are understood, and the beginning of one of them if only
    one thing begins so.
    """
    things = kit.medications if event.kind in MEDICATED else kit.items
    wanted = _folded(typed)
    names = {
        thing.id: {_folded(name) for name in (thing.id, thing.label, *thing.spoken)}
        for thing in things
    }
    exact = [thing for thing, ways in names.items() if wanted in ways]
    found = exact or [
        thing for thing, ways in names.items() if any(way.startswith(wanted) for way in ways)
    ]
    if not wanted or not found:
        raise NotUnderstood(f"The kit has no “{typed.strip()}”.")
    if len(found) > 1:
        raise NotUnderstood(f"“{typed.strip()}” could be {', '.join(sorted(found)[:6])}.")
    return found[0]


def read_quantity(typed: str, event: Event) -> int | Decimal:
    """A whole number of things, or millilitres with decimals where the line is about a volume."""
    text = typed.strip()
    if event.kind in MEDICATED:
        try:
            volume = Decimal(re.sub(r"\s*ml$", "", text, flags=re.IGNORECASE))
        except InvalidOperation:
            volume = Decimal("NaN")
        if not volume.is_finite() or not 0 < volume <= MOST_ML:
            raise NotUnderstood("The volume is a number of millilitres, such as 30 or 2.5.")
        return volume
    if not re.fullmatch(r"[0-9]{1,3}", text):
        raise NotUnderstood(f"The number is a whole number from 0 to {MOST_COUNTED}.")
    return int(text)


def read_typed_strength(typed: str) -> Strength:
    """A strength as labels write it: ``0.5 %``, ``1:200,000``, ``10 mg/mL``, ``500 units/mL``."""
    read = read_strength(typed.strip())
    if read is None or read[0] <= 0 or read[1] not in {*UCUM, "ratio"}:
        raise NotUnderstood("The strength is written like 0.5 %, 1:200,000 or 10 mg/mL.")
    return Strength(value=read[0], unit=read[1])


def read_expiry(typed: str) -> date:
    """A date of expiry, ``2027-03-31``; ``2027-03`` means the last day of that month."""
    found = re.fullmatch(r"(\d{4})-(\d{1,2})(?:-(\d{1,2}))?", typed.strip())
    try:
        if found is not None:
            year, month = int(found[1]), int(found[2])
            last = monthrange(year, month)[1]
            return date(year, month, int(found[3]) if found[3] else last)
    except ValueError:
        pass
    raise NotUnderstood("The expiry is a year and month such as 2027-03, or a day, 2027-03-31.")


def read_container(typed: str) -> str:
    """A kind of container from its name or the beginning of it."""
    wanted = _folded(typed)
    found = [name for name in CONTAINERS if wanted and name.startswith(wanted)]
    if len(found) != 1:
        raise NotUnderstood(f"The container is one of {', '.join(CONTAINERS)}.")
    return found[0]


def amended_detail(
    line: Line,
    *,
    item: str | None,
    volume_ml: int | Decimal | None,
    strength: str = "",
    additive_strength: str = "",
    expiry: str = "",
    container: str = "",
) -> MedicationDetail | None:
    """All that a line about a medication says after what a person typed; ``None`` if that is what
    it said before, name and volume apart.

    An empty text keeps what was heard, ``none`` takes it away. Raises ``NotUnderstood``.
    """
    before = line.medication or line.event.medication or MedicationDetail()
    typed: dict[str, tuple[str, Callable[[str], object]]] = {
        "strength": (strength, read_typed_strength),
        "additive_strength": (additive_strength, read_typed_strength),
        "expiry": (expiry, read_expiry),
        "container": (container, read_container),
    }
    update = {
        name: None if text.strip().lower() == NOTHING else read(text)
        for name, (text, read) in typed.items()
        if text.strip()
    }
    after = before.model_copy(update=update)
    if after == before:
        return None
    volume = after.volume_ml if volume_ml is None else Decimal(volume_ml)
    return after.model_copy(update={"name": item or after.name, "volume_ml": volume})


def doubts_about(detail: MedicationDetail, kit: Kit, today: date) -> list[str]:
    """What there is to ask about a medication that a person typed: one sentence each."""
    found = list(strengths_not_stocked(kit, detail))
    if detail.expiry is not None and detail.expiry < today:
        found.append(f"The expiry {detail.expiry.isoformat()} has passed.")
    return found


def read_place(typed: str) -> str:
    """A place to count at from its name or the beginning of it; empty for all of them."""
    return _one_of(typed, {place: {_folded(place), _folded(PLACES[place])} for place in ORDER})


def read_part(typed: str, item: str | None, kit: Kit) -> str:
    """A part of the item from its name or the beginning of it; empty for all of them."""
    parts = next((thing.parts for thing in kit.items if thing.id == item), ())
    return _one_of(typed, {part: {_folded(part)} for part in parts})


def read_phase(typed: str) -> Phase:
    """The count that was announced, from its name or a part of it."""
    wanted = _folded(typed).removesuffix(" count")
    names = {phase: {_folded(phase), _folded(PHASES[phase])} for phase in Phase}
    exact = [phase for phase, ways in names.items() if wanted in ways]
    inside = [phase for phase, ways in names.items() if any(wanted in way for way in ways)]
    found = exact or _beginning_so(wanted, names) or inside
    if len(found) != 1:
        raise NotUnderstood(f"Type one of {', '.join(_folded(phase) for phase in Phase)}.")
    return found[0]


def read_group(typed: str) -> Group | Literal[""]:
    """What a count was announced for, from a group's name or its beginning; empty for all."""
    typed = _folded(typed).removesuffix(" count").removesuffix(" groups")
    name = _one_of(typed, {group: {_folded(group), _folded(GROUPS[group])} for group in Group})
    return Group(name) if name else ""


def _one_of(typed: str, names: dict[str, set[str]]) -> str:
    wanted = _folded(typed)
    if wanted == "all":
        return ""
    found = _beginning_so(wanted, names)
    if len(found) != 1:
        raise NotUnderstood(f"Type one of {', '.join([*map(_folded, names), 'all'])}.")
    return found[0]


def _beginning_so(wanted: str, names: Mapping[_Name, set[str]]) -> list[_Name]:
    return [
        name for name, ways in names.items() if wanted and any(w.startswith(wanted) for w in ways)
    ]


def is_more_than_plausible(quantity: int | Decimal, item: str | None, kit: Kit) -> bool:
    """Whether the kit calls this many of the item implausible."""
    most = {thing.id: thing.most for thing in kit.items}
    return item in most and quantity > most[item]


def what_is_missing(
    acts_as: EventKind | None, item: str | None, quantity: int | Decimal | None
) -> str | None:
    """A sentence if a line that acts as this lacks what it needs to be confirmed."""
    if acts_as not in TALLIED:
        return None
    if item is None and quantity is None:
        return "Neither an item nor a number was heard; amend the line or set it aside."
    if item is None:
        return "No item was heard; amend the line or set it aside."
    if quantity is None:
        return "No number was heard; amend the line or set it aside."
    return None


def _folded(name: str) -> str:
    return " ".join(name.lower().replace("_", " ").replace("-", " ").split())
