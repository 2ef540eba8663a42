"""Attacks on the pages, each of which succeeds where its protection is taken away."""

import json
import shutil
import time
from base64 import b64encode
from collections.abc import Callable
from pathlib import Path

import itsdangerous
import pytest
from fastapi.testclient import TestClient
from starlette.routing import Route
from tests.pages.conftest import ORIGIN, case_of_words, rooms_of, signed_in, token_in
from tests.pages.test_decisions import record_of

from countersign.ledger import read_case
from countersign.pages import Served
from countersign.pages import guard as guard_module
from countersign.pages.people import add_person, remove_person
from countersign.tally.record import LineState, Role

PIN = "redoak42"
FIVE = "laps one two three four five"
SECRET = b"the pilot's own secret"


def decisions(client: TestClient, case: str) -> int:
    return len(read_case(rooms_of(client).ledger, case).decisions)


# Who is asked for, and from where


def test_a_name_elsewhere_that_points_here_is_refused(client: TestClient) -> None:
    """DNS rebinding: the page's origin and the Host header agree, and neither is ours."""
    elsewhere = {"host": "rebound.example:8734", "origin": "http://rebound.example:8734"}
    assert client.get("/sign-in", headers=elsewhere).status_code == 400
    form = {"initials": "AB", "role": "circulator"}
    assert client.post("/sign-in", data=form, headers=elsewhere).status_code == 400
    for own in ("localhost:8734", "127.0.0.1:8734", "[::1]:8734"):
        assert client.get("/sign-in", headers={"host": own}).status_code == 200, own


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://elsewhere.example"},
        {"origin": "http://127.0.0.1.elsewhere.example"},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_another_site_changes_nothing(client: TestClient, headers: dict[str, str]) -> None:
    case = case_of_words(client, FIVE)
    token = signed_in(client)  # even where it knows the token
    form = {"form_token": token, "act": "accept", "seen": "1"}
    answer = client.post(f"/cases/{case}/lines/1", data=form, headers=headers)
    assert answer.status_code == 403
    assert decisions(client, case) == 0
    signing = {"initials": "ZZ", "role": "scrub"}  # nor signs this browser in as somebody else
    assert client.post("/sign-in", data=signing, headers=headers).status_code == 403


def test_the_token_of_another_session_is_refused(make_client: Callable[..., TestClient]) -> None:
    one, two = make_client(), make_client()
    case = case_of_words(one, FIVE)
    stolen = signed_in(one, "AB")
    signed_in(two, "CD")
    form = {"form_token": stolen, "act": "accept", "seen": "1"}
    assert two.post(f"/cases/{case}/lines/1", data=form).status_code == 403
    assert decisions(one, case) == 0


def test_nothing_is_shown_to_strangers_on_any_route(client: TestClient) -> None:
    case = case_of_words(client, FIVE)
    app = client.app
    tried = 0
    for route in app.routes:  # type: ignore[attr-defined]
        for inner in getattr(getattr(route, "original_router", None), "routes", [route]):
            if not isinstance(inner, Route) or inner.path == "/sign-in":
                continue
            path = inner.path.replace("{case_id}", case).replace("{number}", "1")
            path = path.replace("{attempt_id}", "0" * 16)
            for method in inner.methods or ():
                answer = client.request(method, path, follow_redirects=False)
                assert answer.status_code in (303, 403, 405, 411, 422), (method, path)
                assert case not in answer.text
                tried += 1
    assert tried > 20


def test_the_interface_is_not_described_to_anyone(client: TestClient) -> None:
    for path in ("/openapi.json", "/docs", "/redoc"):
        assert client.get(path).status_code == 404


# Sessions


def cookie(key: str, content: object) -> str:
    return itsdangerous.TimestampSigner(key).sign(b64encode(json.dumps(content).encode())).decode()


def test_no_forged_cookie_is_believed(client: TestClient, settings: Served) -> None:
    who = {"initials": "ZZ", "role": "circulator", "until": time.time() + 9e4, "form_token": "t"}
    real = settings.secret.read_text(encoding="ascii")
    honest = cookie(real, {"who": who})
    forged = {
        "other key": cookie("guess" * 10, {"who": who}),
        "empty key": cookie("", {"who": who}),
        "no signature": b64encode(json.dumps({"who": who}).encode()).decode(),
        "cut signature": honest[:-4],
        "other content": b64encode(json.dumps({"who": {**who, "role": "scrub"}}).encode()).decode()
        + honest[honest.index(".") :],
        "expired": cookie(real, {"who": {**who, "until": time.time() - 1}}),
        "for ever": cookie(real, {"who": {**who, "until": "Infinity!"}}),
    }
    for name, value in forged.items():
        client.cookies.set("countersign", value)
        assert client.get("/", follow_redirects=False).status_code in (303, 400), name
    client.cookies.set("countersign", honest)
    assert client.get("/", follow_redirects=False).status_code == 200  # the test can tell


def test_a_copied_cookie_is_worthless_once_signed_out(
    make_client: Callable[..., TestClient],
) -> None:
    client = make_client()
    token = signed_in(client)
    copied = client.cookies["countersign"]
    client.post("/sign-out", data={"form_token": token})
    for server in (client, make_client()):  # also after a restart
        server.cookies.set("countersign", copied)
        assert server.get("/", follow_redirects=False).status_code == 303


def test_who_is_taken_off_the_list_is_signed_out(
    make_client: Callable[..., TestClient], settings: Served
) -> None:
    """What the lost tablet asks for: a new PIN, or none, ends every session of the old one."""
    add_person(settings.people, "AB", Role.CIRCULATOR, PIN)
    add_person(settings.people, "CD", Role.SCRUB, "7 white geese")
    client = make_client()
    form = {"initials": "AB", "role": "circulator", "pin": PIN}
    assert client.post("/sign-in", data=form).status_code == 200
    add_person(settings.people, "AB", Role.CIRCULATOR, "another one")
    assert client.get("/", follow_redirects=False).status_code == 303
    assert client.post("/sign-in", data={**form, "pin": "another one"}).status_code == 200
    remove_person(settings.people, "AB", Role.CIRCULATOR)
    assert client.get("/", follow_redirects=False).status_code == 303


def test_a_session_without_a_pin_ends_when_pins_begin(
    make_client: Callable[..., TestClient], settings: Served
) -> None:
    client = make_client()
    signed_in(client)
    add_person(settings.people, "AB", Role.CIRCULATOR, PIN)
    assert client.get("/", follow_redirects=False).status_code == 303


# Confirmations


def test_a_replayed_confirmation_decides_nothing(client: TestClient) -> None:
    case = case_of_words(client, FIVE, "needles six")
    token = signed_in(client)
    taken = {"form_token": token, "seen": "2", "act": "accept"}
    assert client.post(f"/cases/{case}/lines/1", data=taken).status_code == 200
    for _ in range(3):
        assert client.post(f"/cases/{case}/lines/1", data=taken).status_code == 409
    assert decisions(client, case) == 1
    whole = {"form_token": token, "seen": "2"}
    assert client.post(f"/cases/{case}/whole", data=whole).status_code == 409
    assert decisions(client, case) == 1


def test_two_who_accept_all_at_once_decide_once(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second request looked at the record before the first one wrote."""
    from countersign.pages import case_page

    case = case_of_words(client, FIVE, "needles six")
    token = signed_in(client)
    before = read_case(rooms_of(client).ledger, case)
    form = {"form_token": token, "seen": "2"}
    assert client.post(f"/cases/{case}/whole", data=form).status_code == 200
    made = decisions(client, case)
    monkeypatch.setattr(case_page, "read_case", lambda *_: before)
    assert client.post(f"/cases/{case}/whole", data=form).status_code == 409
    assert decisions(client, case) == made


@pytest.mark.parametrize("path", ["lines/1", "whole", "steps", "end"])
def test_an_educator_confirms_nothing_whatever_the_form_says(client: TestClient, path: str) -> None:
    case = case_of_words(client, FIVE)
    token = signed_in(client, role="educator")
    form = {
        "form_token": token, "act": "accept", "seen": "1", "role": "circulator", "initials": "ZZ",
        "item": "lap", "line": "1", "step": "x", "done": "yes",
    }  # fmt: skip
    assert client.post(f"/cases/{case}/{path}", data=form).status_code == 403
    assert decisions(client, case) == 0


def test_nobody_confirms_in_the_name_of_another(client: TestClient) -> None:
    case = case_of_words(client, FIVE)
    token = signed_in(client, "AB", "scrub")
    form = {"form_token": token, "act": "accept", "seen": "1", "role": "circulator",
            "initials": "ZZ", "at": "2001-01-01T00:00:00Z", "entry": "1"}  # fmt: skip
    assert client.post(f"/cases/{case}/lines/1", data=form).status_code == 200
    (made,) = read_case(rooms_of(client).ledger, case).decisions
    assert (made.initials, made.role) == ("AB", Role.SCRUB)
    assert made.at.year > 2001
    assert record_of(client, case).lines[0].state is LineState.ACCEPTED


@pytest.mark.parametrize("number", ["-1", "2147483649", "9" * 30, "1e3", "0x1", "NaN", ""])
def test_numbers_that_no_ledger_holds_are_refused(client: TestClient, number: str) -> None:
    case = case_of_words(client, FIVE)
    token = signed_in(client)
    form = {"form_token": token, "act": "accept", "seen": number}
    assert client.post(f"/cases/{case}/lines/1", data=form).status_code == 422
    step = {"form_token": token, "item": "lap", "line": number, "step": "x", "done": "yes"}
    assert client.post(f"/cases/{case}/steps", data=step).status_code == 422
    assert client.post(f"/cases/{case}/lines/{number or 'x'}", data=form).status_code == 422


# Paths


UP = ("..", "../..", "..%2f..", "%2e%2e/%2e%2e", "..%5c..", "....//....//", "%00", "..%c0%af")


@pytest.mark.parametrize("up", UP)
def test_no_path_leads_out_of_its_folder(
    client: TestClient, settings: Served, tmp_path: Path, up: str
) -> None:
    signed_in(client)
    settings.sound.mkdir(exist_ok=True)
    for name in ("secret.txt", "sound.wav", "sound.flac", "attempt.json"):
        (tmp_path / name).write_bytes(SECRET)
        (tmp_path.parent / name).write_bytes(SECRET)
    for path in (
        f"/static/{up}/secret.txt",
        f"/static/{up}/app.py",
        f"/cases/{up}",
        f"/cases/{up}/lines/1/sound",
        f"/cases/{up}/read-back",
        f"/attempts/{up}",
        f"/attempts/{up}/sound",
        f"/attempts/{up}/export.json",
    ):
        answer = client.get(path)
        assert SECRET not in answer.content, path
        assert b"create_app" not in answer.content, path
        assert answer.status_code < 500, path


def test_a_link_in_the_static_folder_is_the_only_way_out_and_there_is_none() -> None:
    static = Path(guard_module.__file__).parent / "static"
    assert [each for each in static.rglob("*") if each.is_symlink()] == []


def test_an_uploads_name_is_no_path(
    client: TestClient, settings: Served, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from countersign.pages.studio import Studio

    monkeypatch.setattr(Studio, "_enqueue", lambda _self, _jobs: None)
    token = signed_in(client)
    for name in (
        "../../planted",
        "/etc/planted",
        "..\\..\\planted",
        "a\x00b",
        "planted\n",
        "x" * 999,
    ):
        files = [("recordings", (name, b"RIFF", "audio/wav"))]
        client.post("/attempts", data={"form_token": token, "learner": "L1"}, files=files)
    incoming = settings.ledger.parent / "attempts" / "incoming"
    kept = sorted(incoming.iterdir())
    assert kept
    assert all(set(each.name.split(".")[0]) <= set("0123456789abcdef") for each in kept)
    assert not list(tmp_path.parent.rglob("*planted*"))
    for learner in ("../x", "L1/../..", "a b", "L" * 13, "\u202eL"):
        answer = client.post(
            "/attempts",
            data={"form_token": token, "learner": learner},
            files=[("recordings", ("a.wav", b"RIFF", "audio/wav"))],
        )
        assert answer.status_code in (403, 422), learner


# Size


def test_an_upload_is_refused_before_it_is_read(client: TestClient) -> None:
    """Nobody who is not signed in can make the server take in a body at all."""

    def endless() -> object:
        raise AssertionError("the body was read")
        yield b""

    length = {"content-length": "100000000"}
    answer = client.post("/attempts", content=endless(), headers=length)  # type: ignore[arg-type]
    assert answer.status_code == 403
    signed_in(client)
    for path, size in (("/attempts", 10**9), ("/cases", 65_537), ("/attempts/folder", 65_537)):
        answer = client.post(
            path,
            content=endless(),  # type: ignore[arg-type]
            headers={"content-length": str(size)},
        )
        assert answer.status_code == 413, path


def test_no_upload_fills_the_disk(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    token = signed_in(client)
    usage = shutil.disk_usage("/")._replace(free=guard_module.KEPT_FREE + 10)
    monkeypatch.setattr(guard_module.shutil, "disk_usage", lambda _: usage)
    files = [("recordings", ("a.wav", b"RIFF", "audio/wav"))]
    answer = client.post("/attempts", data={"form_token": token}, files=files)
    assert answer.status_code == 507


def test_a_form_of_thousands_of_fields_is_refused(client: TestClient) -> None:
    token = signed_in(client)
    body = f"form_token={token}&" + "&".join(f"a{n}=" for n in range(5000))
    answer = client.post(
        "/cases", content=body, headers={"content-type": "application/x-www-form-urlencoded"}
    )
    assert 400 <= answer.status_code < 500


def test_too_many_requests_are_slowed_down(client: TestClient) -> None:
    codes = {client.get("/sign-in").status_code for _ in range(650)}
    assert codes == {200, 429}


def test_the_page_goes_back_only_to_this_server(client: TestClient) -> None:
    token = signed_in(client)
    for back in ("//elsewhere.example", "/\\elsewhere.example", "https://elsewhere.example",
                 "/\t/elsewhere.example", "javascript:alert(1)", "/\r\nX-Evil: 1"):  # fmt: skip
        answer = client.post(
            "/look",
            data={"form_token": token, "look": "dim", "back": back},
            follow_redirects=False,
        )
        where = answer.headers["location"]
        assert where.startswith("/") and not where.startswith(("//", "/\\", "/\t")), back
        assert "x-evil" not in answer.headers
    assert token_in(client.get("/").text)
    assert ORIGIN == "http://127.0.0.1"
