"""The web application: its parts put together."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse
from fastapi.staticfiles import StaticFiles
from fastapi.templating import Jinja2Templates
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from starlette.exceptions import HTTPException
from starlette.middleware.base import BaseHTTPMiddleware
from starlette.middleware.sessions import SessionMiddleware
from starlette.middleware.trustedhost import TrustedHostMiddleware

from countersign.caution import NOT_CONFIRMED, TWO_PEOPLE, caution
from countersign.findings_view import discrepancy_text
from countersign.pages.amend_form import amend_fields
from countersign.pages.board import STANDING, expected_of, has_number
from countersign.pages.case_page import CasePage
from countersign.pages.checklist_page import checklist_routes
from countersign.pages.circulator import circulator_routes
from countersign.pages.deciding import deciding_routes
from countersign.pages.educator import LARGEST_UPLOAD, UPLOAD_PATH, educator_routes
from countersign.pages.guard import Pace, make_guard
from countersign.pages.look import look_of, look_routes
from countersign.pages.read_back import PHRASES
from countersign.pages.rooms import Rooms
from countersign.pages.searching import searching_routes
from countersign.pages.served import SESSION_HOURS, Served
from countersign.pages.sessions import NotSignedIn, Sessions, session_key
from countersign.pages.sign_in import sign_in_routes
from countersign.pages.sockets import socket_routes
from countersign.pages.studio import Studio
from countersign.problems import BadInput
from countersign.settings import beside
from countersign.wording import (
    PHASES,
    VERDICTS,
    clock_text,
    count_text,
    item_label,
    line_number_text,
    line_text,
    number_text,
    state_text,
    verdict_text,
)

_HERE = Path(__file__).parent


def create_app(served: Served) -> FastAPI:
    """The application for these settings; ``BadInput`` where the ledger cannot be used."""
    key = session_key(served.secret)
    rooms = Rooms(served)
    studio = Studio(served)
    templates = _templates()

    @asynccontextmanager
    async def running(_: FastAPI) -> AsyncIterator[None]:
        loop = asyncio.get_running_loop()
        rooms.attach(loop)
        await loop.run_in_executor(None, rooms.go_on)
        studio.go_on()
        yield
        await loop.run_in_executor(None, studio.close)
        await loop.run_in_executor(None, rooms.close)

    def render(request: Request, name: str, code: int = 200, **values: Any) -> Response:
        values["look"] = look_of(request)
        return templates.TemplateResponse(request, name, values, status_code=code)

    # no description of the interface is served: it helps nobody but a stranger
    app = FastAPI(title="countersign", lifespan=running, openapi_url=None)
    app.state.rooms, app.state.studio = rooms, studio
    app.state.sessions = Sessions(served)
    app.include_router(sign_in_routes(served, render))
    app.include_router(look_routes(served))
    pages = CasePage(rooms, render)
    app.include_router(circulator_routes(rooms, pages, render))
    app.include_router(deciding_routes(rooms, pages))
    app.include_router(searching_routes(rooms, pages))
    app.include_router(checklist_routes(served, studio.store, render))
    app.include_router(educator_routes(served, studio, render))
    app.include_router(socket_routes(rooms))
    app.mount("/static", StaticFiles(directory=_HERE / "static"), name="static")
    app.add_middleware(
        BaseHTTPMiddleware,
        dispatch=make_guard(
            Pace("600/minute"),
            large={UPLOAD_PATH: LARGEST_UPLOAD},
            disk=beside(served.ledger).parent,
        ),
    )
    app.add_middleware(
        SessionMiddleware,
        secret_key=key,
        session_cookie="countersign",
        max_age=SESSION_HOURS * 3600,
        same_site="strict",
        https_only=served.network,
    )
    if not served.network:
        app.add_middleware(TrustedHostMiddleware, allowed_hosts=served.hosts, www_redirect=False)
    _answer_problems(app, render)
    return app


def _answer_problems(app: FastAPI, render: Any) -> None:
    @app.exception_handler(NotSignedIn)
    async def to_sign_in(_: Request, __: Exception) -> Response:
        return RedirectResponse("/sign-in", 303)

    @app.exception_handler(BadInput)
    async def bad_input(request: Request, problem: Exception) -> Response:
        return render(request, "problem.html", 409, sentence=str(problem))  # type: ignore[no-any-return]

    @app.exception_handler(RequestValidationError)
    async def bad_form(request: Request, _: Exception) -> Response:
        sentence = "The form was not filled in as it should be; nothing was changed."
        return render(request, "problem.html", 422, sentence=sentence)  # type: ignore[no-any-return]

    @app.exception_handler(HTTPException)
    async def refused(request: Request, problem: Exception) -> Response:
        assert isinstance(problem, HTTPException)
        sentence = problem.detail if problem.status_code != 404 else problem.detail or "Not found."
        return render(request, "problem.html", problem.status_code, sentence=sentence)  # type: ignore[no-any-return]


def _templates() -> Jinja2Templates:
    environment = Environment(
        loader=FileSystemLoader(_HERE / "templates"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(
        amend_fields=amend_fields,
        caution=caution,
        discrepancy_text=discrepancy_text,
        expected_of=expected_of,
        has_number=has_number,
        phrases=PHRASES,
        standing=STANDING,
        clock=clock_text,
        item_label=item_label,
        line_number=line_number_text,
        line_text=line_text,
        not_confirmed=NOT_CONFIRMED,
        number=number_text,
        phases=PHASES,
        count_text=count_text,
        state_text=state_text,
        two_people=TWO_PEOPLE,
        verdict_text=verdict_text,
        verdicts=VERDICTS,
    )
    return Jinja2Templates(env=environment)
