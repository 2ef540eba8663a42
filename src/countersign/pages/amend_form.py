"""Which fields the form has that amends a line, and what stands in them while they are empty."""

from pydantic import BaseModel, ConfigDict

from countersign.confirm.amending import CONTAINERS, MEDICATED, NOTHING, NotUnderstood
from countersign.confirm.deciding import amendable, as_heard
from countersign.kit import Kit
from countersign.meaning.event import EventKind
from countersign.tally.places import ORDER
from countersign.tally.record import Line
from countersign.wording import (
    ALL_GROUPS,
    GROUPS,
    PHASES,
    group_text,
    item_label,
    number_text,
    strength_text,
    where_text,
)


class Field(BaseModel):
    """One field: its name in the form, what it is called, what was heard, and what can be chosen.

    ``choices`` are pairs of what is sent and what is read; without any, it is typed.
    """

    model_config = ConfigDict(frozen=True)

    name: str
    label: str
    heard: str
    choices: tuple[tuple[str, str], ...] = ()
    number: bool = False


def amend_fields(line: Line, kit: Kit) -> tuple[Field, ...]:
    """The fields for this line, none where it has nothing to amend."""
    try:
        kind = amendable(line).kind
    except NotUnderstood:
        return ()
    if kind is EventKind.PHASE:
        heard, of = PHASES[line.phase] if line.phase else NOTHING, group_text(line.group)
        groups = (*GROUPS.items(), ("all", ALL_GROUPS))
        return (
            Field(name="phase", label="Count", heard=heard, choices=tuple(PHASES.items())),
            Field(name="group", label="Of which group", heard=of, choices=groups),
        )
    medicated = kind in MEDICATED
    item, quantity = as_heard(line)
    fields = [
        Field(
            name="item",
            label="Medication" if medicated else "Item",
            heard=item_label(item, kit),
        ),
        Field(
            name="quantity",
            label="Volume in mL" if medicated else "Number",
            heard=number_text(quantity),
            number=True,
        ),
    ]
    return (*fields, *(_on_the_label(line, kit) if medicated else _where(line, item, kit)))


def _where(line: Line, item: str | None, kit: Kit) -> list[Field]:
    fields = []
    if line.place is not None:
        places = tuple((place, where_text(place, None)) for place in ORDER)
        fields.append(
            Field(
                name="place",
                label="Place",
                heard=where_text(line.place, None),
                choices=(*places, ("all", "every place")),
            )
        )
    if line.part is not None:
        parts = next((thing.parts for thing in kit.items if thing.id == item), ())
        fields.append(
            Field(
                name="part",
                label="Part",
                heard=line.part,
                choices=(*((part, part) for part in parts), ("all", "every part")),
            )
        )
    return fields


def _on_the_label(line: Line, kit: Kit) -> list[Field]:
    said = line.medication or line.event.medication
    strength = said.strength if said else None
    fields = [
        Field(
            name="strength",
            label="Strength, such as 0.5 % or 1:200,000",
            heard=strength_text(strength) if strength else NOTHING,
        )
    ]
    if said and said.additive:
        beside = said.additive_strength
        fields.append(
            Field(
                name="additive_strength",
                label=f"Strength of {item_label(said.additive, kit)}",
                heard=strength_text(beside) if beside else NOTHING,
            )
        )
    expiry = said.expiry if said else None
    container = said.container if said else None
    containers = tuple((each, each) for each in (*CONTAINERS, NOTHING))
    return [
        *fields,
        Field(
            name="expiry",
            label="Expires, such as 2027-03",
            heard=expiry.isoformat() if expiry else NOTHING,
        ),
        Field(name="container", label="Container", heard=container or NOTHING, choices=containers),
    ]
