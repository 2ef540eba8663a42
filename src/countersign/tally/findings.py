"""What the tally finds besides the lines: discrepancies, what is packed or broken, notices."""

from enum import StrEnum

from pydantic import BaseModel, ConfigDict

from countersign.kit import Group
from countersign.meaning.event import Phase
from countersign.tally.acts import SignedException, StepDone


class Discrepancy(BaseModel):
    """An item whose count was not the number that should be there.

    ``line`` is the count that opened it, ``latest`` the last count that still differs;
    ``counted`` and ``expected`` are the numbers at that count. ``missing_parts`` names the parts of
    an item of several parts of which fewer were counted than of the others. ``last_right`` is the
    line of the last count that agreed, ``None`` if there was none, and ``since`` are the lines
    after it, up to ``latest``, that name the item or a thing that was not heard, and the remarks
    about the item after that: that it was dropped, or found, which closes nothing. ``steps`` are
    the steps in force, in the order they were kept. ``resolved_by`` is the line of the count that
    agreed. ``vanished`` marks a discrepancy that people worked on and that no count shows any more,
    because its line was amended, struck or set aside. ``exception`` is in force only while it
    covers the discrepancy as it stands.
    """

    model_config = ConfigDict(frozen=True)

    item: str
    line: int
    latest: int
    counted: int | None = None
    expected: int | None = None
    missing_parts: tuple[str, ...] = ()
    last_right: int | None = None
    since: tuple[int, ...] = ()
    steps: tuple[StepDone, ...] = ()
    resolved_by: int | None = None
    vanished: bool = False
    exception: SignedException | None = None

    @property
    def difference(self) -> int:
        """Counted less expected: below zero is missing, above zero is over."""
        return (self.counted or 0) - (self.expected or 0)

    @property
    def is_open(self) -> bool:
        """Whether no later count agreed yet; an exception does not close it."""
        return self.resolved_by is None and not self.vanished


class Packed(BaseModel):
    """So many of an item are in the wound, as far as was said; ``line`` said it last."""

    model_config = ConfigDict(frozen=True)

    item: str
    quantity: int
    line: int
    exception: SignedException | None = None


class Broken(BaseModel):
    """One of an item was broken or cut into ``pieces`` at ``line``; no count accounts for them."""

    model_config = ConfigDict(frozen=True)

    item: str
    pieces: int
    line: int
    exception: SignedException | None = None


class NoticeCode(StrEnum):
    """What a notice is about. A notice is shown and bars nothing."""

    NOT_COUNTED_YET = "not_counted_yet"
    LEFT_OUT = "left_out"
    GROUP_ORDER = "group_order"
    PLACE_ORDER = "place_order"
    RELIEF = "relief"
    BY_EXCEPTION = "by_exception"
    NOT_SPOKEN_FOR = "not_spoken_for"


class Notice(BaseModel):
    """A machine-readable code and one sentence; ``line`` and ``items`` say what it is about."""

    model_config = ConfigDict(frozen=True)

    code: NoticeCode
    sentence: str
    line: int | None = None
    items: tuple[str, ...] = ()


class PhaseCount(BaseModel):
    """One phase as it was counted.

    ``line`` announced it (``None`` where nobody did). ``groups`` are the count groups that were
    named with it, empty for all. ``counted`` are items in the order they were first counted,
    ``left_out`` those that were counted before and should be there, but were not counted in it.
    """

    model_config = ConfigDict(frozen=True)

    phase: Phase | None
    line: int | None = None
    groups: tuple[Group, ...] = ()
    counted: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
