"""What every request passes: its size, its origin, its pace; and the headers of every answer."""

import shutil
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path
from urllib.parse import urlsplit

from fastapi import Request, Response
from fastapi.requests import HTTPConnection
from fastapi.responses import PlainTextResponse
from limits import parse
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

from countersign.pages.sessions import NotSignedIn, who_is

LARGEST_FORM = 64 * 1024
"""Bytes of a form; uploads of recordings have their own route and limit."""

KEPT_FREE = 1024 * 1024 * 1024
"""Bytes of the disk that no upload may take: the ledger and the sound of live cases need them."""

_SAFE = frozenset({"GET", "HEAD", "OPTIONS"})

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "media-src 'self'; connect-src 'self'; worker-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    ),
    "Permissions-Policy": "microphone=(self), camera=(), geolocation=()",
    "Referrer-Policy": "same-origin",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}

Next = Callable[[Request], Awaitable[Response]]


class Pace:
    """How often one address may do a thing; counted in memory of this server."""

    def __init__(self, allowed: str) -> None:
        """``allowed`` is such as ``5/minute`` (the notation of the library ``limits``)."""
        self._limit = parse(allowed)
        self._limiter = MovingWindowRateLimiter(MemoryStorage())

    def allows(self, *who: str) -> bool:
        """Count one more, and say whether it is within the pace."""
        return self._limiter.hit(self._limit, *who)


def is_own_origin(connection: HTTPConnection) -> bool:
    """Whether a request comes from a page of this server (or from no page, such as a test)."""
    origin = connection.headers.get("origin")
    if origin is None:
        return connection.headers.get("sec-fetch-site", "same-origin") in ("same-origin", "none")
    return urlsplit(origin).netloc == connection.headers.get("host")


def make_guard(
    pace: Pace, *, large: Mapping[str, int] | None = None, disk: Path | None = None
) -> Callable[[Request, Next], Awaitable[Response]]:
    """The middleware; ``large`` are paths with the most bytes that may be sent there, which only
    people who are signed in may do, and only while there is room on ``disk``.
    """
    largest = large or {}

    async def guard(request: Request, call_next: Next) -> Response:
        refused = _refusal(request, pace, largest) or _large_refusal(request, largest, disk)
        response = refused or await call_next(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        if not request.url.path.startswith("/static/"):
            response.headers.setdefault("Cache-Control", "no-store")
        return response

    return guard


def _refusal(request: Request, pace: Pace, large: Mapping[str, int]) -> Response | None:
    address = request.client.host if request.client else "unknown"
    if not pace.allows(address):
        return PlainTextResponse("Too many requests; wait a moment.", 429)
    if request.method in _SAFE:
        return None
    if not is_own_origin(request):
        return PlainTextResponse("This request comes from another site.", 403)
    length = request.headers.get("content-length")
    if length is None or not length.isdecimal():
        return PlainTextResponse("The request does not say how long it is.", 411)
    if int(length) > large.get(request.url.path, LARGEST_FORM):
        return PlainTextResponse("The request is too long.", 413)
    return None


def _large_refusal(
    request: Request, large: Mapping[str, int], disk: Path | None
) -> Response | None:
    """Uploads are judged before they are read: the form itself is checked only behind its end."""
    if request.method in _SAFE or request.url.path not in large:
        return None
    try:
        who_is(request)
    except NotSignedIn:
        return PlainTextResponse("Sign in first.", 403)
    if disk is not None:
        left = shutil.disk_usage(disk).free - int(request.headers["content-length"])
        if left < KEPT_FREE:
            return PlainTextResponse("There is too little room on the disk for this.", 507)
    return None
