"""What a person does with a line: accept, amend, set aside, take back; or accept all at once."""

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from countersign.confirm import Person
from countersign.confirm.amending import NotUnderstood, what_is_missing
from countersign.confirm.deciding import Typed, accepted, amended, put_aside, taken_back
from countersign.kit import Kit
from countersign.ledger import Overtaken, append_decision
from countersign.pages.case_page import CasePage, CaseText, Reason, Seen, as_person, line_of
from countersign.pages.rooms import Rooms
from countersign.pages.sessions import Decider
from countersign.tally import reasons_against_whole
from countersign.tally.record import Decision, Line


def deciding_routes(rooms: Rooms, pages: CasePage) -> APIRouter:
    """The forms of the lines."""
    router = APIRouter()

    @router.post("/cases/{case_id}/lines/{number}")
    def decide(
        request: Request,
        case_id: str,
        number: int,
        person: Decider,
        act: CaseText,
        seen: Seen,
        typed: Annotated[Typed, Depends(_typed)],
        again: CaseText = "",
        sure: CaseText = "",
        reason: Reason = "",
        only: CaseText = "",
    ) -> Response:
        history, record = pages.kept(case_id)
        problem, code = "", 200
        try:
            line, decider = line_of(record, number), as_person(person)
            match act:
                case "accept":
                    decision = accepted(line, decider)
                case "amend":
                    decision = _amended(line, history.kit, typed, decider, again, sure)
                case "set_aside":
                    decision = put_aside(line, decider, reason)
                case "undo":
                    decision = taken_back(line, decider)
                case _:
                    raise NotUnderstood("A line is accepted, amended, set aside or taken back.")
            append_decision(rooms.ledger, case_id, decision, seen=seen)
            rooms.tell(case_id, {"changed": True, "line": number})
        except NotUnderstood as refused:
            problem, code = str(refused), 422
        except Overtaken:
            problem = f"Someone else decided on line {number} meanwhile; look at it again."
            code = 409
        return pages.answer(request, person, case_id, only, problem, code)

    @router.post("/cases/{case_id}/whole")
    def whole(
        request: Request, case_id: str, person: Decider, seen: Seen, only: CaseText = ""
    ) -> Response:
        history, record = pages.kept(case_id)
        problem, code = "", 200
        if history.last_entry != seen:
            problem, code = "The record changed meanwhile; look at it again.", 409
        elif reasons := reasons_against_whole(record):
            problem, code = reasons[0], 422
        else:
            try:
                for line in record.lines:
                    if line.is_open and not what_is_missing(line.acts_as, line.item, line.quantity):
                        decision = accepted(line, as_person(person))
                        append_decision(rooms.ledger, case_id, decision, seen=seen)
            except Overtaken:
                problem, code = "Someone else decided meanwhile; look at the record again.", 409
            rooms.tell(case_id, {"changed": True})
        return pages.answer(request, person, case_id, only, problem, code)

    return router


def _typed(
    item: CaseText = "",
    quantity: CaseText = "",
    place: CaseText = "",
    part: CaseText = "",
    strength: CaseText = "",
    additive_strength: CaseText = "",
    expiry: CaseText = "",
    container: CaseText = "",
    phase: CaseText = "",
    group: CaseText = "",
) -> Typed:
    return Typed(
        item=item,
        quantity=quantity,
        place=place,
        part=part,
        strength=strength,
        additive_strength=additive_strength,
        expiry=expiry,
        container=container,
        phase=phase,
        group=group,
    )


def _amended(line: Line, kit: Kit, typed: Typed, person: Person, again: str, sure: str) -> Decision:
    made = amended(line, kit, typed, person, datetime.now(UTC).date())
    if made.doubts and sure != "yes":
        raise NotUnderstood(f"{' '.join(made.doubts)} If it is so, tick “It is so” and keep it.")
    if made.implausible is not None and again.strip() != str(made.implausible):
        raise NotUnderstood(
            f"{made.implausible} is more than the kit says is plausible; enter it a second time."
        )
    return made.decision
