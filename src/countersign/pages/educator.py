"""The educator's pages: attempts, their timeline, entries, scores, comparison and export."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, HTTPException, Query, Request, Response, UploadFile
from fastapi.responses import FileResponse, JSONResponse, RedirectResponse
from markupsafe import Markup
from pydantic import BaseModel, ConfigDict, ValidationError

from countersign.pages.served import Served
from countersign.pages.sessions import Anyone, Reviewer, Sender
from countersign.pages.sign_in import Render
from countersign.pages.studio import Studio
from countersign.plain_json import json_text
from countersign.printable import clean
from countersign.problems import BadInput
from countersign.review import Attempt, Checklist, Entry, EntryKind, Score, is_learner, score
from countersign.review import Verdict as PointVerdict
from countersign.review.attempt import HESITATION_S
from countersign.review.checklist import checklist_path, read_checklist
from countersign.review.entries import LONGEST_TEXT
from countersign.review.pictures import over_attempts, timeline

UPLOAD_PATH = "/attempts"
LARGEST_UPLOAD = 512 * 1024 * 1024
"""Bytes of one upload, all its recordings together: some hours of uncompressed sound."""

MOST_COMPARED = 50
_LONGEST_NAME = 80

Words = Annotated[str, Form(max_length=LONGEST_TEXT)]
Short = Annotated[str, Form(max_length=60)]


class Judged(BaseModel):
    """An attempt with its entries and its score."""

    model_config = ConfigDict(frozen=True)

    attempt: Attempt
    entries: tuple[Entry, ...]
    score: Score


def educator_routes(served: Served, studio: Studio, render: Render) -> APIRouter:
    """Everything about attempts: who is signed in looks and brings recordings, educators write."""
    router = APIRouter()
    store = studio.store

    def points() -> Checklist:
        return read_checklist(checklist_path(served.checklist, store.written_checklist))

    def judged(attempt: Attempt, checklist: Checklist) -> Judged:
        entries = tuple(store.entries(attempt.attempt_id))
        return Judged(attempt=attempt, entries=entries, score=score(attempt, checklist, entries))

    def kept(attempt_id: str) -> Judged:
        try:
            attempt = store.read(attempt_id)
        except BadInput as problem:
            raise HTTPException(404, str(problem)) from None
        return judged(attempt, points())

    def listed(request: Request, person: Anyone, problem: str = "", code: int = 200) -> Response:
        checklist = points()
        by_learner: dict[str, list[Judged]] = {}
        for attempt in store.attempts():
            by_learner.setdefault(attempt.learner, []).append(judged(attempt, checklist))
        return render(
            request,
            "attempts.html",
            code,
            person=person,
            learners=by_learner,
            progress=studio.progress,
            on_this_machine=not served.network,
            problem=problem,
        )

    @router.get("/attempts")
    def attempts(request: Request, person: Anyone) -> Response:
        return listed(request, person)

    @router.post("/attempts")
    def bring(
        request: Request,
        person: Sender,
        recordings: list[UploadFile],
        learner: Short = "",
    ) -> Response:
        if not is_learner(learner):
            return listed(request, person, _NO_CODE, 422)
        given = [each for each in recordings if each.filename]
        if not given:
            return listed(request, person, "Choose a recording first.", 422)
        for each in given:
            name = clean(Path(each.filename or "").name)[:_LONGEST_NAME]
            studio.take(name, learner, each.file)
        return RedirectResponse("/attempts", 303)

    @router.post("/attempts/folder")
    def folder(
        request: Request,
        person: Reviewer,
        path: Annotated[str, Form(max_length=1000)],
        learner: Short = "",
    ) -> Response:
        if served.network:  # who is elsewhere does not look through this machine's folders
            raise HTTPException(403, "Folders are opened only on the machine itself.")
        try:
            given = Path(path.strip())
            if not given.is_absolute():
                raise BadInput("Give the whole path of the folder, from its root.")
            studio.take_folder(given, learner)
        except (BadInput, ValueError) as problem:
            return listed(request, person, str(problem), 422)
        return RedirectResponse("/attempts", 303)

    @router.get("/attempts/progress")
    def progress(person: Anyone) -> Response:
        now = studio.progress
        return JSONResponse({"total": now.total, "done": now.done})

    @router.get("/attempts/compare")
    def compare(
        request: Request,
        person: Anyone,
        attempt: Annotated[list[str] | None, Query(max_length=MOST_COMPARED)] = None,
        learner: str | None = None,
    ) -> Response:
        checklist = points()
        if attempt:
            chosen = [kept(each) for each in dict.fromkeys(attempt)]
        else:
            found = [each for each in store.attempts() if each.learner == learner]
            chosen = [judged(each, checklist) for each in found[-MOST_COMPARED:]]
        if not chosen:
            raise HTTPException(404, "Choose at least one attempt.")
        if len({each.attempt.learner for each in chosen}) > 1:
            raise HTTPException(422, "Attempts of one learner are compared, not of several.")
        chosen.sort(key=lambda each: each.attempt.measured_at)
        return render(
            request,
            "compare.html",
            person=person,
            chosen=chosen,
            checklist=checklist,
            pictures=[_drawn(picture) for picture in _pictures(chosen)],
        )

    @router.get("/attempts/{attempt_id}")
    def page(request: Request, attempt_id: str, person: Anyone) -> Response:
        return show(request, attempt_id, person)

    def show(
        request: Request, attempt_id: str, person: Anyone, problem: str = "", code: int = 200
    ) -> Response:
        found = kept(attempt_id)
        return render(
            request,
            "attempt.html",
            code,
            person=person,
            found=found,
            attempt=found.attempt,
            picture=_drawn(timeline(found.attempt)),
            hesitation_s=HESITATION_S,
            verdicts_of_points=list(PointVerdict),
            problem=problem,
        )

    @router.get("/attempts/{attempt_id}/sound")
    def sound(attempt_id: str, person: Anyone) -> Response:
        try:
            return FileResponse(store.sound(attempt_id), media_type="audio/flac")
        except BadInput as problem:
            raise HTTPException(404, str(problem)) from None

    @router.post("/attempts/{attempt_id}/entries")
    def add(
        request: Request,
        attempt_id: str,
        person: Reviewer,
        kind: Short,
        text: Words = "",
        at: Short = "",
        line: Short = "",
        item: Short = "",
        quantity: Short = "",
        point: Short = "",
        verdict: Short = "",
    ) -> Response:
        found = kept(attempt_id)
        given = {
            "kind": kind,
            "role": person.role,
            "initials": person.initials,
            "made_at": datetime.now(UTC),
            "text": text.strip(),
            "at_s": at.strip() or None,
            "line": line.strip() or None,
            "item": item.strip(),
            "quantity": quantity.strip() or None,
            "point": point,
            "verdict": verdict or None,
        }
        try:
            entry = Entry.model_validate(given)
        except ValidationError:
            return show(request, attempt_id, person, _NOT_COMPLETE, 422)
        known_point = entry.kind is not EntryKind.POINT or entry.point in {
            each.point.id for each in found.score.points
        }
        past_end = entry.at_s is not None and entry.at_s > found.attempt.duration_s + 1
        if not known_point or past_end or (entry.line or 0) > len(found.attempt.lines):
            return show(request, attempt_id, person, _NOT_COMPLETE, 422)
        store.add(attempt_id, entry)
        return RedirectResponse(f"/attempts/{attempt_id}#{kind}s", 303)

    @router.get("/attempts/{attempt_id}/export.json")
    def export_json(attempt_id: str, person: Anyone) -> Response:
        found = kept(attempt_id)
        body = {
            "caution": _PRACTICE,
            "attempt": found.attempt,
            "pace": found.attempt.pace,
            "hesitations": found.attempt.hesitations,
            "restarts": found.attempt.restarts,
            "score": found.score,
            "entries": found.entries,
        }
        return _file(json_text(body, indent=1), "application/json", attempt_id, "json")

    @router.get("/attempts/{attempt_id}/export.html")
    def export_html(request: Request, attempt_id: str, person: Anyone) -> Response:
        found = kept(attempt_id)
        answer = render(
            request,
            "export.html",
            found=found,
            attempt=found.attempt,
            picture=_drawn(timeline(found.attempt)),
            hesitation_s=HESITATION_S,
            practice=_PRACTICE,
        )
        return _file(bytes(answer.body).decode(), "text/html; charset=utf-8", attempt_id, "html")

    return router


_PRACTICE = "This is a review of practice. It is no count record, and nobody confirmed it."
_NO_CODE = "A learner's code is of letters, figures and dashes, at most twelve; no names."
_NOT_COMPLETE = "The entry is not complete, or does not fit this attempt; nothing was kept."


def _drawn(picture: str) -> Markup:
    """An SVG of our own, which escapes every word in it."""
    return Markup(picture)  # nosec B704


def _file(text: str, media_type: str, attempt_id: str, ending: str) -> Response:
    name = f"attempt-{attempt_id}.{ending}"
    return Response(
        text,
        media_type=media_type,
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _pictures(chosen: list[Judged]) -> list[str]:
    attempts = [each.attempt for each in chosen]
    return [
        over_attempts("Pace", "numbers a minute", [each.pace for each in attempts]),
        over_attempts(
            "Pauses", f"over {HESITATION_S:g} s", [each.hesitations for each in attempts]
        ),
        over_attempts(
            "Errors in counting",
            "number or group out of turn",
            [each.slips for each in attempts],
        ),
        over_attempts("Lines that asked", "number", [each.asked for each in attempts]),
        over_attempts("Score", "percent", [each.score.percent for each in chosen], top=100),
    ]
