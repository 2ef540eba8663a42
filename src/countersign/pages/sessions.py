"""Who is signed in: a signed cookie that expires, and a token that every form must carry."""

import hashlib
import json
import os
import secrets
import threading
import time
from datetime import datetime
from pathlib import Path
from typing import Annotated

from fastapi import Depends, HTTPException, Request
from fastapi.requests import HTTPConnection
from pydantic import BaseModel, ConfigDict, ValidationError

from countersign.pages.people import people_of
from countersign.pages.served import SESSION_HOURS, Served
from countersign.problems import BadInput
from countersign.tally.record import Role

_KEY = "who"


class SignedIn(BaseModel):
    """The person behind a request. ``form_token`` must come back with every form of the session.

    ``credential`` stands for the PIN that was used, so that a new PIN ends the sessions of the old
    one; it is empty where no PIN was asked for.
    """

    model_config = ConfigDict(frozen=True)

    initials: str
    role: Role
    until: float
    form_token: str
    credential: str = ""

    @property
    def may_decide(self) -> bool:
        """Whether this person confirms lines; an educator only looks back at them."""
        return self.role is not Role.EDUCATOR

    @property
    def ends_soon(self) -> datetime | None:
        """When the session ends, if that is within the hour: listening ends with it."""
        left_s = self.until - time.time()
        return datetime.fromtimestamp(self.until).astimezone() if left_s < 3600 else None

    @property
    def may_review(self) -> bool:
        """Whether this person marks and scores attempts."""
        return self.role is Role.EDUCATOR


class NotSignedIn(Exception):
    """Nobody is signed in, or the session has ended."""


class Sessions:
    """Which sessions hold although their time is not over.

    A session lives in its cookie, which anybody who copied it can send again. So what was signed
    out is remembered here until its time is over, also through a restart; and who was taken off the
    list of people, or was given a new PIN, is signed out everywhere.
    """

    def __init__(self, served: Served) -> None:
        """Read which sessions were signed out before."""
        self._served = served
        self._file = served.secret.with_name("signed-out.json")
        self._lock = threading.Lock()
        self._ended: dict[str, float] = {}
        try:
            kept = json.loads(self._file.read_text(encoding="utf-8"))
            self._ended = {str(token): float(until) for token, until in kept.items()}
        except FileNotFoundError:
            pass
        except (OSError, ValueError, TypeError, AttributeError):
            raise BadInput(
                f"The file {self._file} is damaged; delete it, and the key "
                f"{served.secret} with it, to end every session."
            ) from None

    def end(self, person: SignedIn) -> None:
        """This session holds no more."""
        with self._lock:
            now = time.time()
            self._ended = {t: until for t, until in self._ended.items() if until > now}
            self._ended[_digest(person.form_token)] = person.until
            part = self._file.with_suffix(".part")
            try:
                part.write_text(json.dumps(self._ended), encoding="utf-8")
                part.replace(self._file)
            except OSError as error:
                raise BadInput(
                    f"You are signed out until the server is started again, since {self._file} "
                    f"cannot be written ({error.strerror})."
                ) from None

    def holds(self, person: SignedIn) -> bool:
        """Whether the session was not ended and its PIN is still the one of this person."""
        return (
            person.until > time.time()
            and _digest(person.form_token) not in self._ended
            and person.credential == self.credential(person.initials, person.role)
        )

    def credential(self, initials: str, role: Role) -> str | None:
        """What stands for this person's PIN; empty where none is asked for, ``None`` where this
        person has none.
        """
        people = people_of(self._served.people)
        if not people and not self._served.network:
            return ""
        known = [p.pin_hash for p in people if (p.initials, p.role) == (initials, role)]
        return _digest(known[0]) if known else None


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:32]


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
        credential=_sessions(request).credential(initials, role) or "",
    )
    request.session.clear()
    request.session[_KEY] = person.model_dump(mode="json")
    return person


def sign_out(request: Request) -> None:
    """End the session of this browser, also for whoever copied its cookie."""
    person = who_is(request)
    request.session.clear()
    _sessions(request).end(person)


def who_is(connection: HTTPConnection) -> SignedIn:
    """The person behind a request or socket; ``NotSignedIn`` where there is none."""
    try:
        person = SignedIn.model_validate(connection.session.get(_KEY))
    except ValidationError:
        raise NotSignedIn from None
    if not _sessions(connection).holds(person):
        raise NotSignedIn
    return person


def _sessions(connection: HTTPConnection) -> Sessions:
    sessions: Sessions = connection.app.state.sessions
    return sessions


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
