"""What every paper of a case is made from."""

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from countersign.exchange.software import model_of, software
from countersign.exchange.stored import StoredCase, fingerprint, history_up_to, read_stored
from countersign.ledger import CaseHistory, Ledger, read_case, record_of
from countersign.tally.record import CountRecord


class Size(StrEnum):
    """The paper: ISO 216 A4, or US letter."""

    A4 = "a4"
    LETTER = "letter"


@dataclass(frozen=True)
class Printing:
    """One printing of a case: its content, the hash of it, when and by what it was printed.

    ``printed_at`` is timezone-aware with a fixed offset; every time on the paper is given in it.
    """

    history: CaseHistory
    record: CountRecord
    entries: int
    sha256: str
    printed_at: datetime
    size: Size
    software: str
    model: str | None

    def clock(self, at: datetime) -> str:
        """A time of day, with the date where it is not the day of the case."""
        here = at.astimezone(self.printed_at.tzinfo)
        opened = self.history.opened_at.astimezone(self.printed_at.tzinfo)
        return f"{here:%H:%M}" if here.date() == opened.date() else f"{here:%Y-%m-%d %H:%M}"


def printing(
    ledger: Ledger, case_id: str, size: Size, printed_at: datetime | None = None
) -> Printing:
    """A case as the ledger has it now. Raises ``BadInput`` where it cannot be read."""
    stored = read_stored(ledger, case_id)
    return printing_of(stored, read_case(ledger, case_id), size, printed_at)


def printing_of(
    stored: StoredCase, history: CaseHistory, size: Size, printed_at: datetime | None = None
) -> Printing:
    """A case as it was when it had the entries of ``stored``."""
    now = (printed_at or datetime.now().astimezone()).replace(microsecond=0)
    then = history_up_to(history, stored)
    return Printing(
        history=then,
        record=record_of(then),
        entries=len(stored.entries),
        sha256=fingerprint(stored),
        printed_at=now,
        size=size,
        software=software(),
        model=model_of(then),
    )
