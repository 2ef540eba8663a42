"""The record's lines about medications, each with everything it says after corrections."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Protocol

from countersign.meaning.event import Event, EventKind, MedicationDetail, Phase, QuestionCode

KINDS = frozenset({EventKind.RECEIPT, EventKind.LABEL, EventKind.DRAW})
_NOTHING_SAID = MedicationDetail()


class Decision(Protocol):
    """What is read of a person's decision (``tally.acts.Decision``)."""

    @property
    def at(self) -> datetime: ...  # noqa: D102
    @property
    def medication(self) -> MedicationDetail | None: ...  # noqa: D102


class RecordLine(Protocol):
    """What is read of a line of the count record (``tally.record.Line``)."""

    @property
    def number(self) -> int: ...  # noqa: D102
    @property
    def event(self) -> Event: ...  # noqa: D102
    @property
    def phase(self) -> Phase | None: ...  # noqa: D102
    @property
    def acts_as(self) -> EventKind | None: ...  # noqa: D102
    @property
    def item(self) -> str | None: ...  # noqa: D102
    @property
    def quantity(self) -> int | Decimal | None: ...  # noqa: D102
    @property
    def state(self) -> str: ...  # noqa: D102
    @property
    def struck_by(self) -> int | None: ...  # noqa: D102
    @property
    def confirmed_item(self) -> str | None: ...  # noqa: D102
    @property
    def confirmed_quantity(self) -> int | Decimal | None: ...  # noqa: D102
    @property
    def decision(self) -> Decision | None: ...  # noqa: D102


@dataclass(frozen=True)
class Entry:
    """One line that bears on medications. ``kind`` is ``None`` for a relief.

    ``detail`` is as best known: as a person amended it, else as heard.
    ``disputed`` marks a read-back that does not say what was said first.
    """

    line: int
    kind: EventKind | None
    detail: MedicationDetail
    expired: bool
    label_asked: str
    confirmed: bool
    open: bool
    disputed: bool = False

    @property
    def name(self) -> str | None:
        """The medication id, if one was heard."""
        return self.detail.name


def entries(lines: Sequence[RecordLine], *, confirmed_only: bool = False) -> Iterator[Entry]:
    """The lines that stand, in order: neither struck nor set aside, or those confirmed."""
    said: dict[int, MedicationDetail] = {}
    strikes = {line.struck_by: line for line in lines if line.struck_by is not None}
    for line in lines:
        if _is_about_medication(line):
            said[line.number] = _said(line, strikes.get(line.number), said)
        if confirmed_only:
            stands = _confirmed(line)
        else:
            stands = line.struck_by is None and line.state != "set_aside"
        relief = line.event.kind is EventKind.PHASE and line.phase is Phase.RELIEF
        if not stands or not (relief or line.acts_as in KINDS):
            continue
        questions = line.event.questions
        struck = strikes.get(line.number)
        yield Entry(
            line=line.number,
            kind=None if relief else line.acts_as,
            detail=said.get(line.number, _NOTHING_SAID),
            expired=_expired(line, struck.event if struck else None),
            label_asked=" ".join(
                q.sentence for q in questions if q.code is QuestionCode.LABEL_INCOMPLETE
            ),
            confirmed=_confirmed(line),
            open=line.state == "heard",
            disputed=any(q.code is QuestionCode.READ_BACK_DISAGREES for q in questions),
        )


def details(lines: Sequence[RecordLine]) -> dict[int, MedicationDetail]:
    """What each line about a medication says as best known: amended, or as heard.

    A correction has what it takes over from the line it strikes.
    """
    said: dict[int, MedicationDetail] = {}
    strikes = {line.struck_by: line for line in lines if line.struck_by is not None}
    for line in lines:
        if _is_about_medication(line):
            said[line.number] = _said(line, strikes.get(line.number), said)
    return {line.number: said[line.number] for line in lines if line.acts_as in KINDS}


def _is_about_medication(line: RecordLine) -> bool:
    return line.acts_as in KINDS or line.event.medication is not None


def _expired(line: RecordLine, struck: Event | None) -> bool:
    """Whether an expiry has passed, also one amended or that a correction takes over.

    One that was amended is held against the day (of UTC) on which it was.
    """
    amended = _amended(line)
    if amended is not None and line.decision is not None:
        return amended.expiry is not None and amended.expiry < line.decision.at.date()
    return _said_to_be_past(line.event, struck)


def _said_to_be_past(event: Event, struck: Event | None) -> bool:
    if any(q.code is QuestionCode.EXPIRY_PAST for q in event.questions):
        return True
    given = event.medication is not None and event.medication.expiry is not None
    return struck is not None and not given and _said_to_be_past(struck, None)


def _confirmed(line: RecordLine) -> bool:
    return line.state in ("accepted", "amended")


def _amended(line: RecordLine) -> MedicationDetail | None:
    """What a person made of the line, if that is more than its name and volume."""
    if line.state != "amended" or line.decision is None:
        return None
    return line.decision.medication


def _said(
    line: RecordLine, struck: RecordLine | None, said: dict[int, MedicationDetail]
) -> MedicationDetail:
    """The detail of a line; a correction takes over from the line it strikes what it leaves out."""
    detail = line.event.medication or MedicationDetail()
    if struck is not None and struck.number in said:
        own = {
            field: value
            for field in MedicationDetail.model_fields
            if (value := getattr(detail, field)) not in (None, False)
        }
        detail = said[struck.number].model_copy(update=own)
    detail = _amended(line) or detail
    name = line.item or detail.name
    volume = detail.volume_ml if line.quantity is None else Decimal(line.quantity)
    if line.state == "amended":
        name = line.confirmed_item or name
        if line.confirmed_quantity is not None:
            volume = Decimal(line.confirmed_quantity)
    return detail.model_copy(update={"name": name, "volume_ml": volume})
