"""Who is signed in: a signed cookie that expires, and a token that every form must carry."""

import os
import secrets
import time
from pathlib import Path
from typing import Annotated

from fastapi import Depends, HTTPException, Request
from fastapi.requests import HTTPConnection
from pydantic import BaseModel, ConfigDict, ValidationError

from countersign.pages.served import SESSION_HOURS
from countersign.problems import BadInput
from countersign.tally.record import Role

_KEY = "who"


class SignedIn(BaseModel):
    """The person behind a request. ``form_token`` must come back with every form of the session."""

    model_config = ConfigDict(frozen=True)

    initials: str
    role: Role
    until: float
    form_token: str

    @property
    def may_decide(self) -> bool:
        """Whether this person confirms lines; an educator only looks back at them."""
        return self.role is not Role.EDUCATOR

    @property
    def may_review(self) -> bool:
        """Whether this person marks and scores attempts."""
        return self.role is Role.EDUCATOR


class NotSignedIn(Exception):
    """Nobody is signed in, or the session has ended."""


def session_key(path: Path) -> str:
    """The key that signs sessions, made at first use and readable by its owner only."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        with os.fdopen(handle, "r+", encoding="ascii", errors="replace") as file:
            key = file.read().strip()
            if len(key) < 43:
                key = secrets.token_urlsafe(32)
                file.seek(0)
                file.truncate()
                file.write(key)
    except OSError as error:
        raise BadInput(f"The session key {path} cannot be kept ({error.strerror}).") from None
    return key


def sign_in(request: Request, initials: str, role: Role) -> SignedIn:
    """Begin a session; an older one of this browser ends."""
    person = SignedIn(
        initials=initials,
        role=role,
        until=time.time() + SESSION_HOURS * 3600,
        form_token=secrets.token_urlsafe(24),
    )
    request.session.clear()
    request.session[_KEY] = person.model_dump(mode="json")
    return person


def sign_out(request: Request) -> None:
    """End the session of this browser."""
    request.session.clear()


def who_is(connection: HTTPConnection) -> SignedIn:
    """The person behind a request or socket; ``NotSignedIn`` where there is none."""
    try:
        person = SignedIn.model_validate(connection.session.get(_KEY))
    except ValidationError:
        raise NotSignedIn from None
    if person.until < time.time():
        raise NotSignedIn
    return person


def _person(request: Request) -> SignedIn:
    return who_is(request)


async def _with_form(request: Request, person: Annotated[SignedIn, Depends(_person)]) -> SignedIn:
    form = await request.form()
    token = form.get("form_token")
    if not isinstance(token, str) or not secrets.compare_digest(token, person.form_token):
        raise HTTPException(403, "This form is not from this session; load the page again.")
    return person


def _deciding(person: Annotated[SignedIn, Depends(_with_form)]) -> SignedIn:
    if not person.may_decide:
        raise HTTPException(403, "An educator looks back at a count and does not confirm it.")
    return person


def _reviewing(person: Annotated[SignedIn, Depends(_with_form)]) -> SignedIn:
    if not person.may_review:
        raise HTTPException(403, "Only an educator marks and scores attempts.")
    return person


Anyone = Annotated[SignedIn, Depends(_person)]
"""A signed-in person who looks."""

Sender = Annotated[SignedIn, Depends(_with_form)]
"""A signed-in person who sends a form of this session."""

Decider = Annotated[SignedIn, Depends(_deciding)]
"""A sender whose role confirms lines."""

Reviewer = Annotated[SignedIn, Depends(_reviewing)]
"""A sender who is an educator."""
