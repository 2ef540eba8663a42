"""What a person types, made into values: who they are, which item, how many."""

import re
from decimal import Decimal, InvalidOperation

from countersign.kit.model import Kit
from countersign.meaning.event import Event, EventKind
from countersign.tally.record import Role

COUNTED = frozenset(
    {
        EventKind.COUNT,
        EventKind.ADDITION,
        EventKind.REMOVAL,
        EventKind.CORRECTION,
        EventKind.SET_UP,
    }
)
MEDICATED = frozenset({EventKind.RECEIPT, EventKind.LABEL, EventKind.DRAW})
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


def is_more_than_plausible(quantity: int | Decimal, item: str | None, kit: Kit) -> bool:
    """Whether the kit calls this many of the item implausible."""
    most = {thing.id: thing.most for thing in kit.items}
    return item in most and quantity > most[item]


def what_is_missing(
    acts_as: EventKind | None, item: str | None, quantity: int | Decimal | None
) -> str | None:
    """A sentence if a line that acts as this lacks what it needs to be confirmed."""
    if acts_as not in {EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL}:
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
