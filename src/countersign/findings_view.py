"""Discrepancies, what is packed or broken, and notices, for a terminal."""

from collections.abc import Iterable

from rich.console import RenderableType
from rich.text import Text

from countersign.caution import NOT_CONFIRMED
from countersign.hanging import hanging
from countersign.kit.model import Kit
from countersign.printable import clean
from countersign.tally.record import CountRecord, Discrepancy
from countersign.wording import clock_text, difference_text, is_confirmed, item_label


def findings_view(record: CountRecord, kit: Kit, *, timed: bool = True) -> RenderableType | None:
    """What a record has besides lines and totals; ``None`` if there is nothing."""
    rows: list[tuple[str, Text]] = []
    for found in record.discrepancies:
        words = discrepancy_text(found, record, kit, timed=timed)
        open_now = found.is_open
        rows.append(("!" if open_now else "=", Text(words, "bold yellow" if open_now else "dim")))
    for packed in record.packed:
        words = f"{item_label(packed.item, kit)}: {packed.quantity} in the wound"
        words += f" (line {packed.line}{not_confirmed(record, [packed.line])})."
        rows.append(("!", Text(words, "bold yellow")))
    for broken in record.broken:
        words = f"{item_label(broken.item, kit)}: in {broken.pieces} pieces"
        words += f" (line {broken.line}{not_confirmed(record, [broken.line])})."
        rows.append(("!", Text(words, "bold yellow")))
    rows += [("-", Text(clean(notice.sentence))) for notice in record.notices]
    return hanging(rows) if rows else None


def not_confirmed(record: CountRecord, numbers: Iterable[int]) -> str:
    """``, NOT CONFIRMED`` where one of these lines is not."""
    confirmed = all(is_confirmed(record.lines[number - 1]) for number in numbers)
    return "" if confirmed else f", {NOT_CONFIRMED}"


def discrepancy_text(
    found: Discrepancy, record: CountRecord, kit: Kit, *, timed: bool = True
) -> str:
    """One discrepancy in sentences: what differs, since when, and how it stands.

    Without ``timed`` no time is given: written words have none.
    """
    label = item_label(found.item, kit)
    if found.vanished:
        return f"{label}: {difference_text(found)} (line {found.line} was decided otherwise)."
    numbers = f"{found.counted} counted, {found.expected} expected"
    where = f"line {found.latest}{not_confirmed(record, [found.latest])}"
    words = f"{label}: {difference_text(found)} ({numbers}, {where})."
    words += f" {last_right_text(found, record, timed=timed)}"
    if found.resolved_by is not None:
        open_yet = not_confirmed(record, [found.resolved_by])
        return f"{words} Resolved by the count of line {found.resolved_by}{open_yet}."
    if found.exception is not None:
        return f"{words} Two people signed an exception."
    return words


def last_right_text(found: Discrepancy, record: CountRecord, *, timed: bool = True) -> str:
    """When the item was last right, with the time in its source."""
    if found.last_right is None:
        return "No count of it was right before."
    event = record.lines[found.last_right - 1].event
    when = f" at {clock_text(event.end_s)}" if timed and event.end_s > event.start_s else ""
    return f"Last right at line {found.last_right}{when}."
