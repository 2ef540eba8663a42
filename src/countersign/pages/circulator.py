"""The circulator's page: the list of cases, the page of a case, its sound."""

import tempfile
from pathlib import Path

from fastapi import APIRouter, HTTPException, Request, Response
from fastapi.responses import FileResponse, RedirectResponse
from starlette.background import BackgroundTask

from countersign.confirm.amending import NotUnderstood
from countersign.confirm.playing import MARGIN_S
from countersign.ledger import CaseHistory, list_cases
from countersign.listening.listener import SOUND_FILE
from countersign.listening.retention import deleted_text
from countersign.pages.case_page import CasePage, line_of
from countersign.pages.read_back import WHOLE, read_back_text, spoken
from countersign.pages.rooms import Rooms
from countersign.pages.sessions import Anyone, Decider
from countersign.pages.sign_in import Render
from countersign.problems import BadInput
from countersign.sound import write_clip


def circulator_routes(rooms: Rooms, pages: CasePage, render: Render) -> APIRouter:
    """The list of cases, and one page a case."""
    router = APIRouter()

    @router.get("/")
    def cases(request: Request, person: Anyone) -> Response:
        found = [(case, rooms.is_live(case)) for case in list_cases(rooms.ledger)]
        return render(request, "cases.html", person=person, cases=found[::-1])

    @router.post("/cases")
    def begin(person: Decider) -> Response:
        return RedirectResponse(f"/cases/{rooms.begin()}", 303)

    @router.get("/cases/{case_id}")
    def page(request: Request, case_id: str, person: Anyone) -> Response:
        return pages.show(request, person, case_id, whole=True)

    @router.get("/cases/{case_id}/record")
    def part(request: Request, case_id: str, person: Anyone) -> Response:
        return pages.show(request, person, case_id, whole=False)

    @router.post("/cases/{case_id}/end")
    def end(case_id: str, person: Decider) -> Response:
        pages.kept(case_id)
        rooms.end(case_id)
        return RedirectResponse(f"/cases/{case_id}", 303)

    @router.get("/cases/{case_id}/read-back")
    def read_back(case_id: str, person: Anyone, group: str = WHOLE) -> Response:
        history, record = pages.kept(case_id)
        try:
            sound = spoken(read_back_text(record, history.kit, group))
        except BadInput as problem:
            raise HTTPException(404, str(problem)) from None
        return Response(sound, media_type="audio/wav")

    @router.get("/cases/{case_id}/lines/{number}/sound")
    def sound(case_id: str, number: int, person: Anyone) -> Response:
        history, record = pages.kept(case_id)
        try:
            event = line_of(record, number).event
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


def _recording(rooms: Rooms, history: CaseHistory) -> Path:
    """The sound of a case: kept here, or the recording it came from."""
    kept = rooms.served.sound / history.case_id / SOUND_FILE
    if history.sound_deleted is not None:
        raise BadInput(deleted_text(history.sound_deleted))
    source = kept if kept.is_file() else Path(history.source)
    if not source.is_absolute() or not source.is_file():
        raise BadInput("There is no recording of this line.")
    return source
