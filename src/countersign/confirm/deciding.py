"""A person's decision about one line, from what they chose and typed; the terminal's walk and the
page ask in their own ways and both come here.
"""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Literal, NamedTuple

from pydantic import BaseModel, ConfigDict

from countersign.confirm.amending import (
    COUNTED,
    MEDICATED,
    NotUnderstood,
    amended_detail,
    doubts_about,
    is_more_than_plausible,
    read_group,
    read_item,
    read_part,
    read_phase,
    read_place,
    read_quantity,
    what_is_missing,
)
from countersign.confirm.person import Person
from countersign.kit.model import Group, Kit
from countersign.meaning.event import Event, EventKind, MedicationDetail, Phase
from countersign.tally.record import Act, Decision, Line

NO_REASON = "A line is set aside only with a reason; nothing was changed."
UNCHANGED = "Nothing was changed; accept the line if it is as heard."


class Typed(BaseModel):
    """What a person typed to amend a line. An empty text keeps what was heard; for a place or part
    ``all`` means every one of them, for what is on a label ``none`` takes it away.
    """

    model_config = ConfigDict(frozen=True)

    item: str = ""
    quantity: str = ""
    place: str = ""
    part: str = ""
    strength: str = ""
    additive_strength: str = ""
    expiry: str = ""
    container: str = ""
    phase: str = ""
    group: str = ""


class Amendment(NamedTuple):
    """A decision that is ready to be kept, and what must be asked before.

    ``implausible`` is a number to be entered a second time; ``doubts`` are sentences to say yes to.
    """

    decision: Decision
    implausible: int | Decimal | None = None
    doubts: tuple[str, ...] = ()


def accepted(line: Line, person: Person) -> Decision:
    """The line holds as heard. Raises ``NotUnderstood`` where it lacks an item or a number."""
    missing = what_is_missing(line.acts_as, line.item, line.quantity)
    if missing is not None:
        raise NotUnderstood(missing)
    return _made(line, Act.ACCEPT, person)


def put_aside(line: Line, person: Person, reason: str) -> Decision:
    """The line does not count. Raises ``NotUnderstood`` without a reason."""
    if not reason.strip():
        raise NotUnderstood(NO_REASON)
    return _made(line, Act.SET_ASIDE, person, reason=reason.strip())


def taken_back(line: Line, person: Person) -> Decision:
    """The decision on the line no longer holds. Raises ``NotUnderstood`` where there is none."""
    if line.decision is None or line.decision.act is Act.UNDO:
        raise NotUnderstood(f"There is no decision on line {line.number} to take back.")
    return _made(line, Act.UNDO, person)


def amendable(line: Line) -> Event:
    """The event as it is amended: a correction is about what the line it strikes is about.

    A line that announced a count is amended to another one, or to one of another group.

    Raises ``NotUnderstood`` where the line has nothing to amend.
    """
    event = line.event
    if line.acts_as is not None:
        event = event.model_copy(update={"kind": line.acts_as})
    if event.kind not in COUNTED | MEDICATED | {EventKind.PHASE}:
        raise NotUnderstood("This line has nothing to amend; accept it or set it aside.")
    return event


def as_heard(line: Line) -> tuple[str | None, int | Decimal | None]:
    """The item and the number that stand while nothing else is typed."""
    return (
        line.event.item if line.item is None else line.item,
        line.event.quantity if line.quantity is None else line.quantity,
    )


def amended(line: Line, kit: Kit, typed: Typed, person: Person, today: date) -> Amendment:
    """The line holds as typed. Raises ``NotUnderstood`` where that cannot be used."""
    event, heard = amendable(line), as_heard(line)
    if event.kind is EventKind.PHASE:
        return Amendment(_announced(line, typed, person))
    item = read_item(typed.item, event, kit) if typed.item.strip() else heard[0]
    quantity = read_quantity(typed.quantity, event) if typed.quantity.strip() else heard[1]
    place, part = _where(line, kit, item, typed)
    detail = None
    if event.kind in MEDICATED:
        detail = amended_detail(
            line,
            item=item,
            volume_ml=quantity,
            strength=typed.strength,
            additive_strength=typed.additive_strength,
            expiry=typed.expiry,
            container=typed.container,
        )
    if (item, quantity) == heard and place is None and part is None and detail is None:
        raise NotUnderstood(UNCHANGED)
    missing = what_is_missing(line.acts_as, item, quantity)
    if missing is not None:
        raise NotUnderstood(missing)
    large = quantity is not None and is_more_than_plausible(quantity, item, kit)
    return Amendment(
        decision=_made(
            line,
            Act.AMEND,
            person,
            item=None if item == heard[0] else item,
            quantity=None if quantity == heard[1] else quantity,
            place=place,
            part=part,
            medication=detail,
        ),
        implausible=quantity if large else None,
        doubts=tuple(doubts_about(detail, kit, today)) if detail is not None else (),
    )


def _announced(line: Line, typed: Typed, person: Person) -> Decision:
    """Another count, or one of another group; whatever is not typed stays as it stands."""
    phase = read_phase(typed.phase) if typed.phase.strip() else line.phase
    stands = line.group or ""
    group = read_group(typed.group) if typed.group.strip() else stands
    if (phase, group) == (line.phase, stands):
        raise NotUnderstood(UNCHANGED)
    event = line.event
    return _made(
        line,
        Act.AMEND,
        person,
        phase=None if phase is event.phase else phase,
        group=None if group == (event.group or "") else Group(group) if group else "",
    )


def _where(line: Line, kit: Kit, item: str | None, typed: Typed) -> tuple[str | None, str | None]:
    """Place and part as amended, ``None`` where they stay; only where one was heard."""
    place = part = None
    if line.place is not None and typed.place.strip():
        place = read_place(typed.place)
    if line.part is not None and typed.part.strip():
        part = read_part(typed.part, item, kit)
    return (
        None if place == line.place else place,
        None if part == line.part else part,
    )


def _made(
    line: Line,
    act: Act,
    person: Person,
    *,
    item: str | None = None,
    quantity: int | Decimal | None = None,
    place: str | None = None,
    part: str | None = None,
    medication: MedicationDetail | None = None,
    phase: Phase | None = None,
    group: Group | Literal[""] | None = None,
    reason: str | None = None,
) -> Decision:
    return Decision(
        line=line.number,
        act=act,
        role=person.role,
        initials=person.initials,
        at=datetime.now(UTC),
        item=item,
        quantity=quantity,
        place=place,
        part=part,
        medication=medication,
        phase=phase,
        group=group,
        reason=reason,
    )
