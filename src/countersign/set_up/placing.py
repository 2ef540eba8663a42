"""What the kit lists for the Mayo stand and the back table against what was said to be placed."""

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from countersign.kit import Kit, SetUpNote
from countersign.meaning.event import EventKind
from countersign.tally.record import Line, LineState

PLACES = ("mayo_stand", "back_table")


class Stands(StrEnum):
    """How an item stands against the lists."""

    PLACED = "placed"
    MISSING = "missing"
    ELSEWHERE = "elsewhere"
    NOT_LISTED = "not_listed"
    PLACE_NOT_SAID = "place_not_said"


class Placed(BaseModel):
    """One item of the set-up.

    ``listed_on`` is the list that names it, ``placed_on`` where it was last said to be, each
    ``mayo_stand``, ``back_table`` or ``None``. ``quantity`` is the number last said there, ``None``
    where none was. ``order``, ``tip`` and ``handle`` are the kit's notes: remarks that nothing is
    checked against. ``lines`` are the lines that place it; ``confirmed`` says whether a person
    confirmed the last of them.
    """

    model_config = ConfigDict(frozen=True)

    item: str
    stands: Stands
    listed_on: str | None = None
    placed_on: str | None = None
    quantity: int | Decimal | None = None
    order: int | None = None
    tip: str | None = None
    handle: str | None = None
    lines: tuple[int, ...] = ()
    confirmed: bool = False


class PlaceList(BaseModel):
    """One list, in the kit's order of set-up, then what else was said to be there."""

    model_config = ConfigDict(frozen=True)

    place: str
    items: tuple[Placed, ...] = ()


class SetUp(BaseModel):
    """The set-up of a case.

    ``places`` hold each listed item once, under the list that names it, and what was placed there
    without being listed anywhere; ``unplaced`` is what was set up without a place and is on no
    list. ``missing`` and ``elsewhere`` are the ids of items to look for, ``order_of_use`` those
    with a place in the order of use, first to last.
    """

    model_config = ConfigDict(frozen=True)

    places: tuple[PlaceList, ...] = ()
    unplaced: tuple[Placed, ...] = ()
    missing: tuple[str, ...] = ()
    elsewhere: tuple[str, ...] = ()
    order_of_use: tuple[str, ...] = ()

    @property
    def confirmed(self) -> bool:
        """Whether everything that was said to be placed was confirmed by a person."""
        said = [each for place in self.places for each in place.items if each.lines]
        said += self.unplaced
        return bool(said) and all(each.confirmed for each in said)

    @property
    def complete(self) -> bool:
        """Whether everything listed was said to be where it is listed."""
        return not any(
            each.listed_on is not None and each.stands is not Stands.PLACED
            for place in self.places
            for each in place.items
        )


class _Said(BaseModel):
    """What was said of one item so far, the last word first in force."""

    place: str | None
    quantity: int | Decimal | None
    lines: tuple[int, ...]
    confirmed: bool


def set_up(kit: Kit, lines: Sequence[Line]) -> SetUp:
    """The kit's lists against the set-up lines of a record.

    Pure. Lines rather than bare events, because struck lines and those set aside have no effect,
    and amended items and numbers replace what was heard. An item said to be somewhere again has
    moved there; said again without a place it stays where it was.
    """
    said = _said(lines)
    listed = {
        item: place for place in reversed(PLACES) for item in getattr(kit, place)
    }  # an item on both lists belongs to the Mayo stand once
    both = set(kit.mayo_stand) & set(kit.back_table)
    made = {
        item: _placed(kit, item, listed.get(item), said.get(item), on_both=item in both)
        for item in dict.fromkeys([*kit.mayo_stand, *kit.back_table, *said])
    }
    places = tuple(
        PlaceList(
            place=place,
            items=(
                *(made[item] for item in getattr(kit, place) if listed[item] == place),
                *(
                    each
                    for item, each in made.items()
                    if item not in listed and each.placed_on == place
                ),
            ),
        )
        for place in PLACES
    )
    in_order = sorted(
        (each for each in made.values() if each.order is not None), key=lambda e: e.order or 0
    )
    return SetUp(
        places=places,
        unplaced=tuple(
            each
            for item, each in made.items()
            if item not in listed and each.placed_on not in PLACES
        ),
        missing=tuple(e.item for e in made.values() if e.stands is Stands.MISSING),
        elsewhere=tuple(e.item for e in made.values() if e.stands is Stands.ELSEWHERE),
        order_of_use=tuple(each.item for each in in_order),
    )


def _said(lines: Sequence[Line]) -> dict[str, _Said]:
    said: dict[str, _Said] = {}
    strikes = {line.struck_by: line for line in lines if line.struck_by is not None}
    for line in lines:
        standing = line.struck_by is None and line.state is not LineState.SET_ASIDE
        if line.acts_as is not EventKind.SET_UP or not standing:
            continue
        item, quantity, place = line.item or line.event.item, line.quantity, line.event.place
        struck = line
        while place is None and struck.number in strikes:  # a correction keeps the place it had
            struck = strikes[struck.number]
            place = struck.event.place
        if line.state is LineState.AMENDED:
            item = line.confirmed_item or item
            quantity = line.confirmed_quantity if line.confirmed_quantity is not None else quantity
        if item is None:
            continue
        before = said.get(item)
        said[item] = _Said(
            place=place or (before.place if before else None),
            quantity=quantity if quantity is not None else (before.quantity if before else None),
            lines=(*(before.lines if before else ()), line.number),
            confirmed=line.state in (LineState.ACCEPTED, LineState.AMENDED),
        )
    return said


def _placed(
    kit: Kit, item: str, listed_on: str | None, said: _Said | None, *, on_both: bool
) -> Placed:
    note = kit.set_up.get(item, SetUpNote())
    place = said.place if said else None
    if said is None:
        stands = Stands.MISSING
    elif listed_on is None:
        stands = Stands.NOT_LISTED
    elif place is None:
        stands = Stands.PLACE_NOT_SAID
    elif place == listed_on or (on_both and place in PLACES):
        stands = Stands.PLACED
    else:
        stands = Stands.ELSEWHERE
    return Placed(
        item=item,
        stands=stands,
        listed_on=listed_on,
        placed_on=place,
        quantity=said.quantity if said else None,
        order=note.order,
        tip=note.tip,
        handle=note.handle,
        lines=said.lines if said else (),
        confirmed=said.confirmed if said else False,
    )
