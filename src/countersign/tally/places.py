"""Counting by place and by part: what was counted where, within one phase."""

from dataclasses import dataclass, field

FIELD = "field"
WOUND = "wound"
MAYO_STAND = "mayo_stand"
BACK_TABLE = "back_table"
OFF_FIELD = "off_field"

ORDER = (FIELD, WOUND, MAYO_STAND, BACK_TABLE, OFF_FIELD)
"""From the field outwards (AORN and AST guidance, from memory)."""

Cell = tuple[str | None, str | None]
"""A place and a part; ``None`` stands for all places, or all parts."""

WHOLE: Cell = (None, None)


@dataclass
class Cells:
    """The numbers of one item at its places and of its parts, in one phase.

    ``changes`` holds for each number what had been added or taken off by then.
    """

    numbers: dict[Cell, int] = field(default_factory=dict)
    changes: dict[Cell, int] = field(default_factory=dict)

    def put(self, cell: Cell, quantity: int, change: int, *, another: bool) -> None:
        """Take a number in; it replaces what it takes in, or with ``another`` comes on top."""
        if another:
            quantity += self.numbers.get(cell, 0)
        for other in [each for each in self.numbers if _takes_in(cell, each)]:
            del self.numbers[other], self.changes[other]
        self.numbers[cell] = quantity
        self.changes[cell] = change

    def take_out(self, quantity: int) -> None:
        """So many of those in the wound are no longer there."""
        for cell, number in self.numbers.items():
            self.numbers[cell] = max(0, number - quantity)

    @property
    def only_wound(self) -> bool:
        """Whether nothing but the wound was counted, which is no count of the item."""
        return all(place == WOUND for place, _ in self.numbers)

    @property
    def by_place_outside(self) -> bool:
        """Whether every number is of a place other than the wound."""
        return bool(self.numbers) and all(p not in (None, WOUND) for p, _ in self.numbers)

    def sum(self, bagged: int) -> int:
        """All numbers together.

        Documented removals into bags (``bagged``) are no longer expected, so a count of the bags
        counts only for what is in them beyond these.
        """
        counts_bags = any(place == OFF_FIELD for place, _ in self.numbers)
        return sum(self.numbers.values()) - (bagged if counts_bags else 0)

    def of_parts(self) -> dict[str, int]:
        """Numbers by part, over all places; empty where no part was counted by itself."""
        found: dict[str, int] = {}
        for (_, part), number in self.numbers.items():
            if part is not None:
                found[part] = found.get(part, 0) + number
        return found


def _takes_in(new: Cell, old: Cell) -> bool:
    """Whether a new number speaks for (or makes void) an old one of the same phase."""
    if WHOLE in (new, old):
        return True
    same_place = new[0] == old[0]
    same_part = new[1] == old[1]
    all_places = same_part and None in (new[0], old[0])
    all_parts = same_place and None in (new[1], old[1])
    return (same_place and same_part) or all_places or all_parts
