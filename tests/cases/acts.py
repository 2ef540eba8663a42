"""What people do and say in a case, in plain steps.

Quantities are what was said. Places and parts are those of the kit and of the border of meaning
(``field``, ``wound``, ``mayo_stand``, ``back_table``, ``off_field``).
"""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum


class How(StrEnum):
    """How a number is said."""

    SEQUENCE = "sequence"
    TOTAL = "total"
    PACK = "pack"


@dataclass(frozen=True)
class Announce:
    """A count begins, perhaps of one group."""

    phase: str
    group: str | None = None


@dataclass(frozen=True)
class Count:
    """So many were counted: of all, at a place, or of a part."""

    item: str
    quantity: int
    how: How = How.TOTAL
    place: str | None = None
    part: str | None = None


@dataclass(frozen=True)
class Add:
    """So many came onto the field."""

    item: str
    quantity: int
    how: How = How.TOTAL


@dataclass(frozen=True)
class Remove:
    """So many left the field for good; ``bagged`` where they went into a counter bag."""

    item: str
    quantity: int
    bagged: bool = False


@dataclass(frozen=True)
class Pack:
    """So many are in the wound now. They stay on the count."""

    item: str
    quantity: int


@dataclass(frozen=True)
class Unpack:
    """So many came out of the wound again."""

    item: str
    quantity: int


@dataclass(frozen=True)
class Break:
    """One of an item is now in so many pieces."""

    item: str
    pieces: int


@dataclass(frozen=True)
class Strike:
    """The line before does not hold."""


@dataclass(frozen=True)
class Amend:
    """The line before was of ``item`` and is now said to be ``quantity``."""

    item: str
    quantity: int


@dataclass(frozen=True)
class Recount:
    """An item is to be counted again."""

    item: str


@dataclass(frozen=True)
class Say:
    """A verdict: ``correct`` or ``not_correct``, of everything or of one group."""

    verdict: str
    group: str | None = None


@dataclass(frozen=True)
class Strength:
    """``%``, or ``ratio``, where ``value`` is the second number of 1:value."""

    value: Decimal
    unit: str


@dataclass(frozen=True)
class Preparation:
    """A medication as it is on the field, perhaps with an additive."""

    name: str
    strength: Strength | None
    additive: str | None = None
    additive_strength: Strength | None = None


@dataclass(frozen=True)
class Receive:
    """A medication or solution is passed onto the field. ``expiry`` is a month and a year."""

    what: Preparation
    volume_ml: int
    expiry: tuple[int, int] | None = None


@dataclass(frozen=True)
class Label:
    """What is in a container is said from its label."""

    what: Preparation
    volume_ml: int
    container: str


@dataclass(frozen=True)
class Draw:
    """So much is drawn up into a syringe."""

    what: Preparation
    volume_ml: int


@dataclass(frozen=True)
class Remark:
    """Something for the record that changes nothing."""

    text: str


@dataclass(frozen=True)
class Talk:
    """Speech that is no part of the count."""

    text: str


Act = (
    Announce
    | Count
    | Add
    | Remove
    | Pack
    | Unpack
    | Break
    | Strike
    | Amend
    | Recount
    | Say
    | Receive
    | Label
    | Draw
    | Remark
    | Talk
)

TALLIED = (Count, Add, Remove, Pack, Unpack, Break)
"""Acts that change an item's numbers; a correction replaces the last of them."""
EFFECTIVE = (*TALLIED, Say, Recount, Receive, Label, Draw)
"""Acts that a bare "strike that" can strike."""
