"""Signing in to a server of the pages, and what is asked of it there without a browser."""

import ipaddress
import re
import ssl
from collections.abc import Callable
from http.client import HTTPException
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode, urlsplit
from urllib.request import HTTPCookieProcessor, HTTPSHandler, OpenerDirector, build_opener

from pydantic import BaseModel, ConfigDict

from countersign.problems import BadInput
from countersign.tally.record import Role

_ANSWERS_S = 20.0
_MOST_BYTES = 1_000_000
_TOKEN = re.compile(r'name="form_token" value="([^"]+)"')
_CASE = re.compile(r"/cases/([A-Za-z0-9-]+)")
_REFUSALS = {
    403: "These initials, this role and this PIN do not belong together.",
    422: "The server did not understand the initials or the role.",
    429: "Too many attempts; wait a few minutes.",
}

AskPin = Callable[[], str]


class Session(BaseModel):
    """A signed-in client: the address of the server, and what it must carry."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    address: str
    cookies: str
    form_token: str
    trust: ssl.SSLContext | None


def sign_in(
    address: str, initials: str, role: Role, ask_pin: AskPin, authority: Path | None = None
) -> Session:
    """Begin a session on the server at ``address``; the PIN is asked for only where it asks.

    ``authority`` is a certificate (PEM) to trust besides the usual ones. ``BadInput`` where the
    server does not answer, is not one of ours, or refuses.
    """
    base, trust = _base(address), _trust(address, authority)
    jar = CookieJar()
    opener = build_opener(HTTPCookieProcessor(jar), HTTPSHandler(context=trust))
    asks = 'name="pin"' in _asked(opener, f"{base}/sign-in")[1]
    form = {"initials": initials, "role": role.value, **({"pin": ask_pin()} if asks else {})}
    page = _asked(opener, f"{base}/sign-in", form)[1]
    token = _TOKEN.search(page)
    if token is None:
        raise BadInput(f"{base} is no server of countersign's pages.")
    cookies = "; ".join(f"{cookie.name}={cookie.value}" for cookie in jar)
    return Session(address=base, cookies=cookies, form_token=token[1], trust=trust)


def begin_case(session: Session) -> str:
    """Open a case on the server; gives its name."""
    url, _ = _asked(_opener(session), f"{session.address}/cases", _form(session))
    case = _CASE.fullmatch(urlsplit(url).path)
    if case is None:
        raise BadInput(f"{session.address} did not open a case.")
    return case[1]


def end_case(session: Session, case: str) -> None:
    """End the listening of a case: what is still being said is finished."""
    _asked(_opener(session), f"{session.address}/cases/{case}/end", _form(session))


def _opener(session: Session) -> OpenerDirector:
    opener = build_opener(HTTPSHandler(context=session.trust))
    opener.addheaders = [("Cookie", session.cookies)]
    return opener


def _form(session: Session) -> dict[str, str]:
    return {"form_token": session.form_token}


def _base(address: str) -> str:
    try:
        parts = urlsplit(address)
        host, _ = parts.hostname, parts.port
    except ValueError:
        host = None
    if host is None or parts.scheme not in ("http", "https") or parts.username is not None:
        raise BadInput(f"{address} is no address such as https://ward.example:8734.")
    if parts.scheme == "http" and not _is_this_machine(host):
        raise BadInput(f"To {host}, another machine, sound and PIN go over https only.")
    return f"{parts.scheme}://{parts.netloc}"


def _is_this_machine(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _trust(address: str, authority: Path | None) -> ssl.SSLContext | None:
    if urlsplit(address).scheme != "https":
        return None
    context = ssl.create_default_context()
    if authority is not None:
        try:
            context.load_verify_locations(authority)
        except (OSError, ssl.SSLError) as error:
            raise BadInput(
                f"The certificate {authority} cannot be used ({error.strerror})."
            ) from None
    return context


def _asked(opener: OpenerDirector, url: str, form: dict[str, str] | None = None) -> tuple[str, str]:
    """Ask the server, following where it leads; gives the last address and the page."""
    data = None if form is None else urlencode(form).encode()
    try:
        with opener.open(url, data, _ANSWERS_S) as answer:
            return answer.geturl(), answer.read(_MOST_BYTES).decode("utf-8", "replace")
    except HTTPError as refused:
        refused.close()
        sentence = _REFUSALS.get(refused.code, f"The server refused ({refused.code}).")
        raise BadInput(sentence) from None
    except URLError as error:
        raise BadInput(f"{_host(url)} does not answer ({_why(error)}).") from None
    except (OSError, HTTPException) as error:
        raise BadInput(f"{_host(url)} does not answer ({error}).") from None


def _host(url: str) -> str:
    return urlsplit(url).netloc


def _why(error: URLError) -> str:
    return getattr(error.reason, "strerror", None) or str(error.reason)
