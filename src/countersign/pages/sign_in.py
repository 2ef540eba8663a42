"""Signing in and out."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse
from starlette.concurrency import run_in_threadpool

from countersign.confirm.amending import NotUnderstood, read_initials, read_role
from countersign.pages.guard import Pace
from countersign.pages.people import is_pin_of, read_people
from countersign.pages.served import Served
from countersign.pages.sessions import Sender, sign_in, sign_out
from countersign.tally.record import Role

Render = Callable[..., Response]

WRONG = "These initials, this role and this PIN do not belong together."
TOO_OFTEN = "Too many attempts; wait a few minutes."


def sign_in_routes(served: Served, render: Render) -> APIRouter:
    """The sign-in page. On this machine alone, initials and a role are enough while nobody has a
    PIN; on a network, or once somebody has one, the PIN is asked for.
    """
    router = APIRouter()
    by_address, by_person = Pace("20/minute"), Pace("6/5minutes")

    def show(request: Request, problem: str | None = None, code: int = 200) -> Response:
        needs_pin = served.network or bool(read_people(served.people))
        return render(
            request, "sign_in.html", code, roles=list(Role), needs_pin=needs_pin, problem=problem
        )

    @router.get("/sign-in")
    def page(request: Request) -> Response:
        return show(request)

    @router.post("/sign-in")
    async def enter(
        request: Request,
        initials: Annotated[str, Form(max_length=20)] = "",
        role: Annotated[str, Form(max_length=20)] = "",
        pin: Annotated[str, Form(max_length=80)] = "",
    ) -> Response:
        try:
            who, as_role = read_initials(initials), read_role(role)
        except NotUnderstood as problem:
            return show(request, str(problem), 422)
        address = request.client.host if request.client else "unknown"
        if not by_address.allows(address) or not by_person.allows(who, as_role.value):
            return show(request, TOO_OFTEN, 429)
        people = read_people(served.people)
        if (served.network or people) and not await run_in_threadpool(
            is_pin_of, people, who, as_role, pin
        ):
            return show(request, WRONG, 403)
        sign_in(request, who, as_role)
        return RedirectResponse("/", 303)

    @router.post("/sign-out")
    def leave(request: Request, _: Sender) -> Response:
        sign_out(request)
        return RedirectResponse("/sign-in", 303)

    return router
