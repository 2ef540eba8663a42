"""The events that meaning should give for each act."""

import calendar
from datetime import date
from decimal import Decimal

from tests.cases import acts
from tests.cases.acts import Act, How, Preparation, Strength

from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Spoken,
    Verdict,
)
from countersign.meaning.event import Strength as HeardStrength


def event_of(act: Act, groups: dict[str, str], start_s: float, end_s: float, said: str) -> Event:
    """The event of an act that was said from ``start_s`` to ``end_s``.

    ``groups`` gives the count group of each item. Talk has no event (``TypeError``).
    """
    fields: dict[str, object]
    match act:
        case acts.Announce(phase, group):
            fields = {"kind": EventKind.PHASE, "phase": Phase(phase), "group": group}
        case acts.Count(item, quantity, how, place, part):
            fields = _tallied(EventKind.COUNT, item, quantity, how)
            fields |= {"place": place, "part": part}
            if how is How.SEQUENCE:
                fields["sequence"] = tuple(range(1, quantity + 1))
        case acts.Add(item, quantity, how):
            fields = _tallied(EventKind.ADDITION, item, quantity, how)
        case acts.Remove(item, quantity, bagged):
            fields = _tallied(EventKind.REMOVAL, item, quantity)
            fields["place"] = "off_field" if bagged else None
        case acts.Pack(item, quantity):
            fields = _tallied(EventKind.COUNT, item, quantity) | {"place": "wound"}
        case acts.Unpack(item, quantity):
            fields = _tallied(EventKind.REMOVAL, item, quantity) | {"place": "wound"}
        case acts.Break(item, pieces):
            fields = _tallied(EventKind.BREAKAGE, item, pieces)
        case acts.Strike():
            fields = {"kind": EventKind.CORRECTION}
        case acts.Amend(item, quantity):
            fields = _tallied(EventKind.CORRECTION, item, quantity)
        case acts.Recount(item):
            fields = {
                "kind": EventKind.VERDICT,
                "verdict": Verdict.RECOUNT,
                "item": item,
                "group": groups[item],
            }
        case acts.Say(verdict, group):
            fields = {"kind": EventKind.VERDICT, "verdict": Verdict(verdict), "group": group}
        case acts.Receive(what, volume, expiry):
            day = None
            if expiry is not None:
                month, year = expiry
                day = date(year, month, calendar.monthrange(year, month)[1])
            fields = _medication(EventKind.RECEIPT, what, volume, expiry=day)
        case acts.Label(what, volume, container):
            fields = _medication(EventKind.LABEL, what, volume, container=container)
        case acts.Draw(what, volume):
            bare = Preparation(what.name, None)
            fields = _medication(EventKind.DRAW, bare, volume)
        case acts.Remark():
            fields = {"kind": EventKind.REMARK}
        case _:
            raise TypeError(act)
    return Event(start_s=start_s, end_s=end_s, words=said, **fields)  # type: ignore[arg-type]


def _tallied(kind: EventKind, item: str, quantity: int, how: How = How.TOTAL) -> dict[str, object]:
    return {
        "kind": kind,
        "item": item,
        "quantity": quantity,
        "unit": "each",
        "spoken": Spoken(how.value),
    }


def _medication(
    kind: EventKind, what: Preparation, volume_ml: int, **more: object
) -> dict[str, object]:
    detail = MedicationDetail(
        name=what.name,
        strength=_strength(what.strength),
        additive=what.additive,
        additive_strength=_strength(what.additive_strength),
        volume_ml=Decimal(volume_ml),
        **more,  # type: ignore[arg-type]
    )
    return {
        "kind": kind,
        "item": what.name,
        "quantity": Decimal(volume_ml),
        "unit": "mL",
        "medication": detail,
    }


def _strength(strength: Strength | None) -> HeardStrength | None:
    if strength is None:
        return None
    return HeardStrength(value=strength.value, unit=strength.unit)
