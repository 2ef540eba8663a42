"""What people enter about a difference: steps of the search, and exceptions that two sign."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, Response

from countersign.confirm.amending import NotUnderstood, read_initials
from countersign.confirm.searching import open_ones, signed_exception, step_done
from countersign.ledger import append_exception, append_step
from countersign.pages.case_page import (
    CasePage,
    CaseText,
    LineNumber,
    Reason,
    as_person,
    policy_of,
)
from countersign.pages.guard import Pace
from countersign.pages.people import is_pin_of, people_of
from countersign.pages.rooms import Rooms
from countersign.pages.sessions import Decider, SignedIn
from countersign.tally.record import CountRecord, Discrepancy, Packed, Role

NOT_OPEN = "This difference is not open any more; look at it again."
NOT_YOU = "One of the two who sign an exception is whoever is signed in here."
NOT_SIGNED = "The other person's initials, role and PIN do not belong together."


def searching_routes(rooms: Rooms, pages: CasePage) -> APIRouter:
    """The forms below a difference."""
    router = APIRouter()
    signatures = Pace("6/5minutes")

    @router.post("/cases/{case_id}/steps")
    def enter_step(
        request: Request,
        case_id: str,
        person: Decider,
        item: CaseText,
        line: LineNumber,
        step: CaseText,
        done: CaseText,
        remark: Reason = "",
        only: CaseText = "",
    ) -> Response:
        history, record = pages.kept(case_id)
        problem, code = "", 200
        try:
            policy = policy_of(history)
            made = step_done(
                _open_one(record, item, line),
                policy,
                step,
                as_person(person),
                history.kit,
                remark=remark,
                done=done == "yes",
            )
            append_step(rooms.ledger, case_id, made, policy)
            rooms.tell(case_id, {"changed": True})
        except NotUnderstood as refused:
            problem, code = str(refused), 422
        return pages.answer(request, person, case_id, only, problem, code)

    @router.post("/cases/{case_id}/exceptions")
    def sign(
        request: Request,
        case_id: str,
        person: Decider,
        item: CaseText,
        line: LineNumber,
        reason: Reason = "",
        scrub: CaseText = "",
        circulator: CaseText = "",
        pin: Annotated[str, Form(max_length=80)] = "",
        withdrawn: CaseText = "",
        only: CaseText = "",
    ) -> Response:
        _, record = pages.kept(case_id)
        problem, code = "", 200
        try:
            found = _to_sign_for(record, item, line)
            if withdrawn and found.exception is None:
                raise NotUnderstood("No exception is signed here.")
            stands = found.exception.reason if withdrawn and found.exception else reason
            made = signed_exception(found, stands, scrub, circulator, withdrawn=bool(withdrawn))
            _check_both(person, made.scrub, made.circulator, pin)
            append_exception(rooms.ledger, case_id, made)
            rooms.tell(case_id, {"changed": True})
        except NotUnderstood as refused:
            problem, code = str(refused), 422
        return pages.answer(request, person, case_id, only, problem, code)

    def _check_both(person: SignedIn, scrub: str, circulator: str, pin: str) -> None:
        """Both are there: one is signed in, and the other gives a PIN where people have one."""
        mine = read_initials(person.initials)
        if mine not in (scrub, circulator):
            raise NotUnderstood(NOT_YOU)
        if not pages.asks_pins():
            return
        other, role = (circulator, Role.CIRCULATOR) if mine == scrub else (scrub, Role.SCRUB)
        if not signatures.allows(other):
            raise NotUnderstood("Too many attempts; wait a few minutes.")
        people = people_of(rooms.served.people)
        if not any(is_pin_of(people, other, each, pin) for each in (role, Role.RELIEF)):
            raise NotUnderstood(NOT_SIGNED)

    return router


def _open_one(record: CountRecord, item: str, line: int) -> Discrepancy:
    found = next((d for d in open_ones(record) if (d.item, d.line) == (item, line)), None)
    if found is None:
        raise NotUnderstood(NOT_OPEN)
    return found


def _to_sign_for(record: CountRecord, item: str, line: int) -> Discrepancy | Packed:
    packed = next((p for p in record.packed if (p.item, p.line) == (item, line)), None)
    return packed or _open_one(record, item, line)
