"""Who may come in, and what every request must carry."""

import json
import time
from base64 import b64encode
from collections.abc import Callable

import itsdangerous
import pytest
from fastapi.testclient import TestClient
from tests.pages.conftest import case_of_words, signed_in, token_in

from countersign.pages import Served
from countersign.pages.people import add_person, is_pin_of, read_people, remove_person
from countersign.pages.served import SESSION_HOURS
from countersign.pages.server import check_reach
from countersign.problems import BadInput
from countersign.tally.record import Role

PIN = "redoak42"


def test_nobody_sees_a_page_without_signing_in(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five")
    for path in ("/", f"/cases/{case}", f"/cases/{case}/record", f"/cases/{case}/lines/1/sound"):
        answer = client.get(path, follow_redirects=False)
        assert answer.status_code == 303
        assert answer.headers["location"] == "/sign-in"


def test_signing_out_ends_the_session(client: TestClient) -> None:
    token = signed_in(client)
    client.post("/sign-out", data={"form_token": token})
    assert client.get("/", follow_redirects=False).status_code == 303


def test_a_form_without_the_token_of_its_session_is_refused(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five")
    signed_in(client)
    for token in ("", "guessed", "x" * 32):
        form = {"form_token": token, "act": "accept", "seen": "1"}
        answer = client.post(f"/cases/{case}/lines/1", data=form)
        assert answer.status_code == 403
    assert "NOT CONFIRMED" in client.get(f"/cases/{case}").text


def test_a_form_from_another_site_is_refused(client: TestClient) -> None:
    token = signed_in(client)
    for headers in (
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
    ):
        answer = client.post("/cases", data={"form_token": token}, headers=headers)
        assert answer.status_code == 403


def test_a_forged_or_expired_session_is_nobody(client: TestClient, settings: Served) -> None:
    person = {"initials": "ZZ", "role": "circulator", "until": time.time() + 9e6, "form_token": "t"}

    def cookie(key: str, content: dict[str, object]) -> str:
        data = b64encode(json.dumps({"who": content}).encode())
        return itsdangerous.TimestampSigner(key).sign(data).decode()

    real = settings.secret.read_text(encoding="ascii")
    tries = {
        "forged": cookie("another key" * 4, person),
        "expired": cookie(real, {**person, "until": time.time() - 1}),
        "odd": cookie(real, {**person, "role": "surgeon"}),
    }
    for name, value in tries.items():
        client.cookies.set("countersign", value)
        assert client.get("/", follow_redirects=False).status_code == 303, name
    client.cookies.set("countersign", cookie(real, person))
    assert client.get("/", follow_redirects=False).status_code == 200  # the test can tell


def test_the_last_hour_of_a_session_is_told(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = case_of_words(client, "laps one two three four five")
    signed_in(client)
    assert "Your session ends" not in client.get(f"/cases/{case}").text
    later = time.time() + (SESSION_HOURS - 0.5) * 3600
    monkeypatch.setattr("countersign.pages.sessions.time.time", lambda: later)
    assert "Your session ends at" in client.get(f"/cases/{case}").text
    monkeypatch.setattr("countersign.pages.sessions.time.time", lambda: later + 1801)
    assert client.get(f"/cases/{case}", follow_redirects=False).status_code == 303


def test_the_session_key_is_the_owners_only(client: TestClient, settings: Served) -> None:
    assert settings.secret.stat().st_mode & 0o077 == 0
    assert len(settings.secret.read_text(encoding="ascii")) >= 43


def test_an_educator_looks_and_does_not_confirm(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five")
    token = signed_in(client, role="educator")
    page = client.get(f"/cases/{case}").text
    assert "Accept" not in page
    form = {"form_token": token, "act": "accept", "seen": "1"}
    assert client.post(f"/cases/{case}/lines/1", data=form).status_code == 403


def test_every_answer_carries_the_headers_that_browsers_obey(client: TestClient) -> None:
    for path in ("/sign-in", "/static/page.css", "/nowhere"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "DENY"


def test_cookies_are_closed_to_scripts_and_other_sites(client: TestClient) -> None:
    answer = client.post(
        "/sign-in", data={"initials": "AB", "role": "scrub"}, follow_redirects=False
    )
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_guessing_pins_is_slowed_down(
    make_client: Callable[..., TestClient], settings: Served
) -> None:
    add_person(settings.people, "AB", Role.CIRCULATOR, PIN)
    client = make_client()
    form = {"initials": "AB", "role": "circulator", "pin": "wrong one"}
    codes = [client.post("/sign-in", data=form).status_code for _ in range(8)]
    assert codes[0] == 403
    assert codes[-1] == 429
    right = client.post("/sign-in", data={**form, "pin": PIN})
    assert right.status_code == 429  # also the right one, until the pace allows it


def test_once_somebody_has_a_pin_it_is_asked_for(
    make_client: Callable[..., TestClient], settings: Served
) -> None:
    add_person(settings.people, "AB", Role.CIRCULATOR, PIN)
    client = make_client()
    form = {"initials": "AB", "role": "circulator"}
    assert client.post("/sign-in", data=form).status_code == 403
    assert client.post("/sign-in", data={**form, "role": "scrub", "pin": PIN}).status_code == 403
    assert token_in(client.post("/sign-in", data={**form, "pin": PIN}).text)


def test_people_are_kept_without_their_pins(settings: Served) -> None:
    add_person(settings.people, "AB", Role.CIRCULATOR, PIN)
    add_person(settings.people, "CD", Role.SCRUB, "7 white geese")
    assert PIN not in settings.people.read_text(encoding="utf-8")
    assert settings.people.stat().st_mode & 0o077 == 0
    people = read_people(settings.people)
    assert is_pin_of(people, "AB", Role.CIRCULATOR, PIN)
    assert not is_pin_of(people, "AB", Role.SCRUB, PIN)
    assert not is_pin_of(people, "AB", Role.CIRCULATOR, PIN + "x")
    remove_person(settings.people, "AB", Role.CIRCULATOR)
    assert [p.initials for p in read_people(settings.people)] == ["CD"]
    for poor in ("12345", "111111", "x" * 65):
        with pytest.raises(BadInput):
            add_person(settings.people, "EF", Role.SCRUB, poor)


def test_a_network_needs_tls_and_people(settings: Served) -> None:
    check_reach(settings, "127.0.0.1", None, None)
    check_reach(settings, "localhost", None, None)
    with pytest.raises(BadInput, match="--network"):
        check_reach(settings, "0.0.0.0", None, None)
    with pytest.raises(BadInput, match="TLS"):
        check_reach(settings.model_copy(update={"network": True}), "0.0.0.0", None, None)


def test_a_body_that_is_too_long_or_of_no_length_is_refused(client: TestClient) -> None:
    signed_in(client)
    assert client.post("/cases", content=b"x" * 70_000).status_code == 413
    assert client.post("/cases", content=iter([b"x"])).status_code == 411
