"""Bright or dim: the look of the pages, kept in a cookie of its own; works without scripts."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse

from countersign.pages.served import Served
from countersign.pages.sessions import Sender

LOOKS = ("device", "bright", "dim")
"""``device`` follows the setting of the device."""

_COOKIE = "countersign_look"
_YEAR_S = 365 * 24 * 3600


def look_of(request: Request) -> str:
    """The look this browser asked for."""
    look = request.cookies.get(_COOKIE, "")
    return look if look in LOOKS else "device"


def look_routes(served: Served) -> APIRouter:
    """The switch."""
    router = APIRouter()

    @router.post("/look")
    def choose(
        _: Sender,
        look: Annotated[str, Form(max_length=10)],
        back: Annotated[str, Form(max_length=200)] = "/",
    ) -> RedirectResponse:
        # only to a page of this server: "//elsewhere" and "/\\elsewhere" are other sites
        own = back.startswith("/") and not back.startswith(("//", "/\\"))
        answer = RedirectResponse(back if own else "/", 303)
        answer.set_cookie(
            _COOKIE,
            look if look in LOOKS else "device",
            max_age=_YEAR_S,
            httponly=True,
            samesite="strict",
            secure=served.network,
        )
        return answer

    return router
