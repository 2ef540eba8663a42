"""The checklist of practice as a page: read by everybody, written by an educator."""

from itertools import count
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from pydantic import BaseModel, ConfigDict, ValidationError

from countersign.pages.served import Served
from countersign.pages.sessions import Anyone, Reviewer, SignedIn
from countersign.pages.sign_in import Render
from countersign.problems import BadInput
from countersign.review import Checklist, Store
from countersign.review.checklist import (
    Check,
    checklist_path,
    named_checklist,
    read_checklist,
    write_checklist,
)

MOST_POINTS = 50
_NEW_ROWS = 3

CHECKS = {
    "": "a person judges it",
    Check.ORDER.value: "order kept",
    Check.ONE_BY_ONE.value: "counted aloud one by one",
    Check.BOTH_VOICES.value: "both voices (listen for it: the program does not tell them apart)",
    Check.LABELS.value: "labels complete",
    Check.EXPIRY.value: "expiry read",
    Check.INTERRUPTIONS.value: "interruptions handled",
    Check.STEADY.value: "no long pause",
    Check.VERDICT.value: "closed aloud",
}
"""What judges a point, in words; the names are those of the file."""

_NAMED = "The checklist is the file that this server was started with; change that file."
_NOT_COMPLETE = (
    "A checklist has a title and at least one point; a point is a sentence of at most 200 letters."
)

Lines = Annotated[list[str], Form(max_length=MOST_POINTS + _NEW_ROWS)]


class Row(BaseModel):
    """One row of the form, as it was typed."""

    model_config = ConfigDict(frozen=True)

    id: str = ""
    say: str = ""
    check: str = ""
    weight: str = "1"


def checklist_routes(served: Served, store: Store, render: Render) -> APIRouter:
    """Reading and writing it. A checklist that was named when the server was started is not
    written here, so that nobody wonders why what they wrote has no effect.
    """
    router = APIRouter()

    def show(
        request: Request, person: SignedIn, title: str, rows: list[Row], problem: str = ""
    ) -> Response:
        named = named_checklist(served.checklist) is not None
        return render(
            request,
            "checklist.html",
            422 if problem else 200,
            person=person,
            title=title,
            rows=rows + [Row()] * min(_NEW_ROWS, MOST_POINTS - len(rows)),
            checks=CHECKS,
            may_write=person.may_review and not named,
            note=_NAMED if named and person.may_review else "",
            problem=problem,
        )

    @router.get("/attempts/checklist")
    def page(request: Request, person: Anyone) -> Response:
        checklist = read_checklist(checklist_path(served.checklist, store.written_checklist))
        rows = [
            Row(
                id=point.id,
                say=point.say,
                check=point.check.value if point.check else "",
                weight=str(point.weight),
            )
            for point in checklist.points
        ]
        return show(request, person, checklist.title, rows)

    @router.post("/attempts/checklist")
    def write(
        request: Request,
        person: Reviewer,
        say: Lines,
        point: Lines,
        check: Lines,
        weight: Lines,
        title: Annotated[str, Form(max_length=200)] = "",
    ) -> Response:
        if named_checklist(served.checklist) is not None:
            raise BadInput(_NAMED)
        typed = [
            Row(id=each[0], say=each[1].strip(), check=each[2], weight=each[3])
            for each in zip(point, say, check, weight, strict=False)
        ]
        rows = [row for row in typed if row.say]
        try:
            checklist = Checklist.model_validate({"title": title.strip(), "points": _points(rows)})
        except ValidationError:
            return show(request, person, title, rows, _NOT_COMPLETE)
        write_checklist(store.written_checklist, checklist)
        return RedirectResponse("/attempts/checklist", 303)

    return router


def _points(rows: list[Row]) -> list[dict[str, str | None]]:
    """The points of the form. A point keeps its id, and with it the verdicts that were given."""
    known = {row.id for row in rows}
    free = (f"point_{number}" for number in count(1) if f"point_{number}" not in known)
    return [
        {
            "id": row.id or next(free),
            "say": row.say,
            "check": row.check or None,
            "weight": row.weight,
        }
        for row in rows
    ]
