"""The circulator's page: the whole count, the line at hand, and what a person does with it."""

import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Request, Response
from fastapi.responses import FileResponse, RedirectResponse
from starlette.background import BackgroundTask

from countersign import settings
from countersign.confirm.amending import (
    COUNTED,
    MEDICATED,
    NotUnderstood,
    is_more_than_plausible,
    read_item,
    read_quantity,
    what_is_missing,
)
from countersign.confirm.playing import MARGIN_S
from countersign.confirm.searching import open_ones, step_done
from countersign.confirm.walk import Person
from countersign.kit import Kit
from countersign.ledger import (
    CaseHistory,
    Overtaken,
    append_decision,
    append_step,
    list_cases,
    read_case,
    record_of,
)
from countersign.listening.listener import SOUND_FILE
from countersign.listening.retention import deleted_text
from countersign.pages.board import board
from countersign.pages.read_back import WHOLE, can_speak, read_back_text, spoken
from countersign.pages.rooms import Rooms
from countersign.pages.sessions import Anyone, Decider, SignedIn
from countersign.pages.sign_in import Render
from countersign.pages.whole_view import deeds, differences, medications, set_up_places
from countersign.policy import read_policy
from countersign.problems import BadInput
from countersign.sound import write_clip
from countersign.tally import reasons_against_whole
from countersign.tally.record import Act, CountRecord, Decision, Line
from countersign.wording import is_confirmed

LONGEST_REASON = 200

_LARGEST_NUMBER = 2**31

CaseText = Annotated[str, Form(max_length=80)]
Seen = Annotated[int, Form(ge=0, le=_LARGEST_NUMBER)]
"""The newest entry of the ledger that the person had in view."""


def circulator_routes(rooms: Rooms, render: Render) -> APIRouter:
    """The list of cases, and one page a case."""
    router = APIRouter()

    def kept(case_id: str) -> tuple[CaseHistory, CountRecord]:
        try:
            history = read_case(rooms.ledger, case_id)
        except BadInput as problem:
            raise HTTPException(404, str(problem)) from None
        return history, record_of(history)

    def show(
        request: Request,
        person: SignedIn,
        case_id: str,
        *,
        whole: bool,
        problem: str = "",
        code: int = 200,
    ) -> Response:
        history, record = kept(case_id)
        policy = read_policy(settings.policy_path())
        return render(
            request,
            "case.html" if whole else "record.html",
            code,
            person=person,
            history=history,
            record=record,
            board=board(history, record),
            confirmed_lines=sum(map(is_confirmed, record.lines)),
            live=rooms.has_sound(case_id) and not history.heard_to_the_end,
            open_events=rooms.open_events(case_id),
            can_speak=can_speak(),
            medications=medications(record, history.kit),
            set_up_places=set_up_places(record, history.kit),
            policy=policy,
            differences=differences(record, history.kit, policy, person.role),
            deeds=deeds(history, record),
            against_whole=reasons_against_whole(record),
            problem=problem,
        )

    def answer(
        request: Request, person: SignedIn, case_id: str, part: str, problem: str, code: int
    ) -> Response:
        """The part that a script asked for, else the whole page (by its address if all is well)."""
        if not part and not problem:
            return RedirectResponse(f"/cases/{case_id}", 303)
        return show(request, person, case_id, whole=not part, problem=problem, code=code)

    @router.get("/")
    def cases(request: Request, person: Anyone) -> Response:
        found = [(case, rooms.is_live(case.case_id)) for case in list_cases(rooms.ledger)]
        return render(request, "cases.html", person=person, cases=found[::-1])

    @router.post("/cases")
    def begin(person: Decider) -> Response:
        return RedirectResponse(f"/cases/{rooms.begin()}", 303)

    @router.get("/cases/{case_id}")
    def page(request: Request, case_id: str, person: Anyone) -> Response:
        return show(request, person, case_id, whole=True)

    @router.get("/cases/{case_id}/record")
    def part(request: Request, case_id: str, person: Anyone) -> Response:
        return show(request, person, case_id, whole=False)

    @router.post("/cases/{case_id}/end")
    def end(case_id: str, person: Decider) -> Response:
        kept(case_id)
        rooms.end(case_id)
        return RedirectResponse(f"/cases/{case_id}", 303)

    @router.post("/cases/{case_id}/lines/{number}")
    def decide(
        request: Request,
        case_id: str,
        number: int,
        person: Decider,
        act: CaseText,
        seen: Seen,
        item: CaseText = "",
        quantity: CaseText = "",
        again: CaseText = "",
        reason: Annotated[str, Form(max_length=LONGEST_REASON)] = "",
        part: CaseText = "",
    ) -> Response:
        history, record = kept(case_id)
        problem, code = "", 200
        try:
            line = _line(record, number)
            decision = _decision(line, person, history.kit, act, item, quantity, again, reason)
            append_decision(rooms.ledger, case_id, decision, seen=seen)
            rooms.tell(case_id, {"changed": True, "line": number})
        except NotUnderstood as refused:
            problem, code = str(refused), 422
        except Overtaken:
            problem = f"Someone else decided on line {number} meanwhile; look at it again."
            code = 409
        return answer(request, person, case_id, part, problem, code)

    @router.post("/cases/{case_id}/whole")
    def whole(
        request: Request,
        case_id: str,
        person: Decider,
        seen: Seen,
        part: CaseText = "",
    ) -> Response:
        history, record = kept(case_id)
        problem, code = "", 200
        if history.last_entry != seen:
            problem, code = "The record changed meanwhile; look at it again.", 409
        elif reasons := reasons_against_whole(record):
            problem, code = reasons[0], 422
        else:
            try:
                for line in record.lines:
                    if not line.is_open:
                        continue
                    missing = what_is_missing(line.acts_as, line.item, line.quantity)
                    if missing is None:
                        decision = _made(line, Act.ACCEPT, person)
                        append_decision(rooms.ledger, case_id, decision, seen=seen)
            except Overtaken:
                problem, code = "Someone else decided meanwhile; look at the record again.", 409
            rooms.tell(case_id, {"changed": True})
        return answer(request, person, case_id, part, problem, code)

    @router.post("/cases/{case_id}/steps")
    def enter_step(
        request: Request,
        case_id: str,
        person: Decider,
        item: CaseText,
        line: Annotated[int, Form(ge=1, le=_LARGEST_NUMBER)],
        step: CaseText,
        done: CaseText,
        part: CaseText = "",
    ) -> Response:
        history, record = kept(case_id)
        problem, code = "", 200
        try:
            found = next((d for d in open_ones(record) if (d.item, d.line) == (item, line)), None)
            if found is None:
                raise NotUnderstood("This difference is not open any more; look at it again.")
            made = step_done(
                found,
                read_policy(settings.policy_path()),
                step,
                Person(role=person.role, initials=person.initials),
                history.kit,
                done=done == "yes",
            )
            append_step(rooms.ledger, case_id, made)
            rooms.tell(case_id, {"changed": True})
        except NotUnderstood as refused:
            problem, code = str(refused), 422
        return answer(request, person, case_id, part, problem, code)

    @router.get("/cases/{case_id}/read-back")
    def read_back(case_id: str, person: Anyone, group: str = WHOLE) -> Response:
        history, record = kept(case_id)
        try:
            sound = spoken(read_back_text(record, history.kit, group))
        except BadInput as problem:
            raise HTTPException(404, str(problem)) from None
        return Response(sound, media_type="audio/wav")

    @router.get("/cases/{case_id}/lines/{number}/sound")
    def sound(case_id: str, number: int, person: Anyone) -> Response:
        history, record = kept(case_id)
        try:
            event = _line(record, number).event
            source = _recording(rooms, history)
            folder = tempfile.TemporaryDirectory(prefix="countersign-")
            clip = write_clip(
                source,
                max(0.0, event.start_s - MARGIN_S),
                event.end_s + MARGIN_S,
                Path(folder.name) / "line.wav",
            )
        except (NotUnderstood, BadInput) as problem:
            raise HTTPException(404, str(problem)) from None
        return FileResponse(clip, media_type="audio/wav", background=BackgroundTask(folder.cleanup))

    return router


def _line(record: CountRecord, number: int) -> Line:
    if not 1 <= number <= len(record.lines):
        raise NotUnderstood(f"There is no line {number}.")
    return record.lines[number - 1]


def _recording(rooms: Rooms, history: CaseHistory) -> Path:
    """The sound of a case: kept here, or the recording it came from."""
    kept = rooms.served.sound / history.case_id / SOUND_FILE
    if history.sound_deleted is not None:
        raise BadInput(deleted_text(history.sound_deleted))
    source = kept if kept.is_file() else Path(history.source)
    if not source.is_absolute() or not source.is_file():
        raise BadInput("There is no recording of this line.")
    return source


def _decision(
    line: Line,
    person: SignedIn,
    kit: Kit,
    act: str,
    item: str,
    quantity: str,
    again: str,
    reason: str,
) -> Decision:
    match act:
        case "accept":
            missing = what_is_missing(line.acts_as, line.item, line.quantity)
            if missing is not None:
                raise NotUnderstood(missing)
            return _made(line, Act.ACCEPT, person)
        case "amend":
            return _amendment(line, person, kit, item, quantity, again)
        case "set_aside":
            if not reason.strip():
                raise NotUnderstood("A line is set aside only with a reason; nothing was changed.")
            return _made(line, Act.SET_ASIDE, person, reason=reason.strip())
        case "undo":
            if line.decision is None or line.decision.act is Act.UNDO:
                raise NotUnderstood(f"There is no decision on line {line.number} to take back.")
            return _made(line, Act.UNDO, person)
    raise NotUnderstood("A line is accepted, amended, set aside or taken back.")


def _amendment(
    line: Line, person: SignedIn, kit: Kit, item: str, quantity: str, again: str
) -> Decision:
    event = line.event
    if event.kind not in COUNTED | MEDICATED:
        raise NotUnderstood("This line has no item or number to amend; accept it or set it aside.")
    heard_item = event.item if line.item is None else line.item
    heard_quantity = event.quantity if line.quantity is None else line.quantity
    now_item = read_item(item, event, kit) if item.strip() else heard_item
    now_quantity = read_quantity(quantity, event) if quantity.strip() else heard_quantity
    if (now_item, now_quantity) == (heard_item, heard_quantity):
        raise NotUnderstood("Nothing was changed; accept the line if it is as heard.")
    missing = what_is_missing(line.acts_as, now_item, now_quantity)
    if missing is not None:
        raise NotUnderstood(missing)
    if (
        now_quantity is not None
        and is_more_than_plausible(now_quantity, now_item, kit)
        and again.strip() != str(now_quantity)
    ):
        raise NotUnderstood(
            f"{now_quantity} is more than the kit says is plausible; enter it a second time."
        )
    return _made(
        line,
        Act.AMEND,
        person,
        item=None if now_item == heard_item else now_item,
        quantity=None if now_quantity == heard_quantity else str(now_quantity),
    )


def _made(line: Line, act: Act, person: SignedIn, **more: str | None) -> Decision:
    return Decision.model_validate(
        {
            "line": line.number,
            "act": act,
            "role": person.role,
            "initials": person.initials,
            "at": datetime.now(UTC),
            **more,
        }
    )
