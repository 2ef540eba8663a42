"""A tray's list against the counts: what of it was counted, and what was left out."""

from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from countersign.kit import Group, Item, Kit
from countersign.meaning.event import Phase
from countersign.tally.record import CountRecord, PhaseCount, Total


class Tallies(StrEnum):
    """How an item of the tray stands in its latest count."""

    AGREES = "agrees"
    DIFFERS = "differs"
    NOT_COUNTED = "not_counted"


class TrayItem(BaseModel):
    """One item of the tray.

    ``listed`` is what the kit says is on it, ``expected`` what should be there now, ``counted`` its
    number in the latest count of the tray (``None`` where it was left out), ``confirmed`` the
    number of its last confirmed count. ``stands`` compares ``counted`` with ``expected``.
    """

    model_config = ConfigDict(frozen=True)

    item: str
    stands: Tallies
    listed: int | None = None
    expected: int | None = None
    counted: int | None = None
    confirmed: int | None = None


class Tray(BaseModel):
    """A count group's list, in the kit's order, against its latest count.

    ``phase`` and ``line`` name that count (``None`` where nobody announced it, or where there was
    none: then ``begun`` is false). ``left_out`` are the ids of what should be there and was not
    counted in it. The totals are over all items.
    """

    model_config = ConfigDict(frozen=True)

    group: Group
    begun: bool = False
    phase: Phase | None = None
    line: int | None = None
    items: tuple[TrayItem, ...] = ()
    left_out: tuple[str, ...] = ()
    listed_total: int = 0
    expected_total: int = 0
    counted_total: int = 0

    @property
    def agrees(self) -> bool:
        """Whether everything was counted and every number is the one that should be there."""
        return self.begun and all(each.stands is Tallies.AGREES for each in self.items)

    @property
    def confirmed(self) -> bool:
        """Whether the last confirmed count of every item is what the latest count says."""
        return self.agrees and all(each.confirmed == each.counted for each in self.items)


def tray(kit: Kit, record: CountRecord, group: Group = Group.INSTRUMENTS) -> Tray:
    """The list of one count group against the latest count that took in any of it. Pure."""
    asked = [item for item in kit.items if item.group is group]
    ids = {item.id for item in asked}
    latest = next((each for each in reversed(record.phases) if ids & set(each.counted)), None)
    totals = {total.item: total for total in record.totals}
    items = tuple(
        made
        for item in asked
        if (made := _item(item, totals.get(item.id), latest)).listed
        or made.expected
        or made.counted is not None
    )
    return Tray(
        group=group,
        begun=latest is not None,
        phase=latest.phase if latest else None,
        line=latest.line if latest else None,
        items=items,
        left_out=tuple(each.item for each in items if each.stands is Tallies.NOT_COUNTED),
        listed_total=sum(each.listed or 0 for each in items),
        expected_total=sum(each.expected or 0 for each in items),
        counted_total=sum(each.counted or 0 for each in items),
    )


def _item(item: Item, total: Total | None, latest: PhaseCount | None) -> TrayItem:
    expected = item.expected if total is None else total.heard_expected
    in_it = latest is not None and item.id in latest.counted
    counted = total.heard_last if total is not None and in_it else None
    stands = Tallies.AGREES if counted == (expected or 0) else Tallies.DIFFERS
    if counted is None:
        stands = Tallies.NOT_COUNTED if expected else Tallies.AGREES
    return TrayItem(
        item=item.id,
        stands=stands,
        listed=item.expected,
        expected=expected,
        counted=counted,
        confirmed=total.confirmed_last if total is not None else None,
    )
