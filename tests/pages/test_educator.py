"""The educator's pages, and what must not get through them."""

import json
import re
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.pages.conftest import FIXTURES, signed_in

from countersign.pages import Served
from countersign.pages.educator import LARGEST_UPLOAD
from countersign.pages.studio import Studio
from countersign.review import Attempt, Store, common_checklist_path, read_checklist


@pytest.fixture
def attempt(settings: Served, measured: Callable[[str], Attempt]) -> str:
    return keep(settings, measured("sharps-three-items.flac"))


def keep(settings: Served, found: Attempt, learner: str = "L1") -> str:
    store = Store(settings.ledger.parent / "attempts")
    store.keep(found.model_copy(update={"learner": learner}), FIXTURES / found.name)
    return found.attempt_id


def wait_for_attempts(client: TestClient, count: int) -> str:
    deadline = time.monotonic() + 90
    while time.monotonic() < deadline:
        page = client.get("/attempts").text
        if len(set(re.findall(r"/attempts/[0-9a-f]{16}", page))) >= count:
            return page
        time.sleep(0.3)
    raise AssertionError(page)


@pytest.mark.slow
def test_an_upload_is_measured_in_the_background_under_a_name_of_our_own(
    client: TestClient, settings: Served
) -> None:
    token = signed_in(client, role="scrub")
    sound = (FIXTURES / "laps-five.flac").read_bytes()
    files = [
        ("recordings", ("../../../../etc/evil <b>.flac", sound, "audio/flac")),
        ("recordings", ("notes.wav", b"these are only words", "audio/wav")),
    ]
    answer = client.post("/attempts", data={"form_token": token, "learner": "L7"}, files=files)
    assert answer.status_code == 200
    page = wait_for_attempts(client, 1)
    deadline = time.monotonic() + 30
    while "notes.wav" not in page and time.monotonic() < deadline:
        time.sleep(0.3)
        page = client.get("/attempts").text
    assert "notes.wav is not a sound file" in page
    assert "evil &lt;b&gt;.flac" in page
    assert "etc" not in page
    incoming = settings.ledger.parent / "attempts" / "incoming"
    assert list(incoming.iterdir()) == []


def test_a_stopped_server_goes_on_with_what_was_uploaded(
    settings: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    # in a thread: processes are tried above, and take seconds to begin
    monkeypatch.setattr("countersign.pages.studio.workers", lambda: ThreadPoolExecutor(1))
    first = Studio(settings)
    first._stop.set()  # it is stopped before the recording's turn comes
    with (FIXTURES / "laps-five.flac").open("rb") as file:
        first.take("laps.flac", "L1", file)
    first.close()
    assert not first.store.attempts()
    second = Studio(settings)
    second.go_on()
    deadline = time.monotonic() + 60
    while not second.store.attempts() and time.monotonic() < deadline:
        time.sleep(0.2)
    second.close()
    assert [each.name for each in second.store.attempts()] == ["laps.flac"]


def test_uploads_are_bounded_and_need_the_form(client: TestClient) -> None:
    token = signed_in(client)
    files = {"recordings": ("a.wav", b"x", "audio/wav")}
    assert client.post("/attempts", data={"form_token": "guessed"}, files=files).status_code == 403
    named = {"form_token": token, "learner": "Jo Public"}
    assert client.post("/attempts", data=named, files=files).status_code == 422
    length = {"content-length": str(LARGEST_UPLOAD + 1)}
    assert client.post("/attempts", content=b"x", headers=length).status_code == 413
    assert client.post("/attempts/x/entries", content=b"x" * 70_000).status_code == 413


def test_the_timeline_is_in_step_with_the_sound(client: TestClient, attempt: str) -> None:
    signed_in(client, role="educator")
    page = client.get(f"/attempts/{attempt}").text
    assert page.count('class="wave"') == 1
    assert 'href="#line-3"' in page
    part = client.get(f"/attempts/{attempt}/sound", headers={"range": "bytes=0-99"})
    assert part.status_code == 206  # so that a browser can jump
    assert part.content[:4] == b"fLaC"


def add(client: TestClient, attempt: str, token: str, **fields: str) -> int:
    form = {"form_token": token, **fields}
    return client.post(f"/attempts/{attempt}/entries", data=form).status_code


def test_comments_marks_corrections_and_verdicts_are_kept(client: TestClient, attempt: str) -> None:
    token = signed_in(client, role="educator", initials="ED")
    evil = "<script>alert(1)</script>"
    assert add(client, attempt, token, kind="comment", text=evil, at="1.5") == 200
    assert add(client, attempt, token, kind="mark", at="2", text="here") == 200
    assert add(client, attempt, token, kind="correction", line="2", quantity="3") == 200
    assert add(client, attempt, token, kind="point", point="separated", verdict="partly") == 200
    page = client.get(f"/attempts/{attempt}").text
    assert evil not in page
    assert "&lt;script&gt;" in page
    assert "◐ partly" in page
    exported = client.get(f"/attempts/{attempt}/export.json")
    body = json.loads(exported.text)
    assert [each["kind"] for each in body["entries"]] == ["comment", "mark", "correction", "point"]
    assert body["entries"][2]["quantity"] == 3
    whole = client.get(f"/attempts/{attempt}/export.html")
    assert "attachment" in whole.headers["content-disposition"]
    assert evil not in whole.text
    assert "src=" not in whole.text  # nothing is loaded from anywhere
    assert "no count record" in whole.text


@pytest.mark.parametrize(
    "fields",
    [
        {"kind": "comment"},
        {"kind": "nonsense", "text": "x"},
        {"kind": "mark", "at": "later"},
        {"kind": "mark", "at": "99999"},
        {"kind": "mark", "at": "-1"},
        {"kind": "correction", "line": "99", "quantity": "3"},
        {"kind": "correction", "line": "1", "quantity": "many"},
        {"kind": "point", "point": "no_such_point", "verdict": "met"},
        {"kind": "point", "point": "order", "verdict": "splendid"},
    ],
)
def test_an_entry_that_does_not_fit_is_refused(
    client: TestClient, attempt: str, settings: Served, fields: dict[str, str]
) -> None:
    token = signed_in(client, role="educator")
    assert add(client, attempt, token, **fields) == 422
    assert Store(settings.ledger.parent / "attempts").entries(attempt) == []


def test_only_educators_write_and_nobody_is_let_in_unsigned(
    client: TestClient, attempt: str
) -> None:
    for path in ("", f"/{attempt}", f"/{attempt}/sound", f"/{attempt}/export.json", "/progress"):
        assert client.get(f"/attempts{path}", follow_redirects=False).status_code == 303
    token = signed_in(client, role="circulator")
    assert add(client, attempt, token, kind="comment", text="x") == 403
    folder = {"form_token": token, "path": "/"}
    assert client.post("/attempts/folder", data=folder).status_code == 403


def test_an_attempt_that_is_not_there(client: TestClient) -> None:
    signed_in(client, role="educator")
    for name in ("0" * 16, "..%2f..%2fetc", "nowhere", "%00"):
        for path in ("", "/sound", "/export.json", "/export.html"):
            assert client.get(f"/attempts/{name}{path}").status_code == 404
    assert client.get("/attempts/compare").status_code == 404
    assert client.get("/attempts/compare?attempt=..%2f..").status_code == 404


def test_folders_are_opened_only_on_the_machine_itself(client: TestClient, tmp_path: Path) -> None:
    token = signed_in(client, role="educator")
    for path in ("relative/folder", str(tmp_path / "nowhere"), "/dev/null", "\0"):
        answer = client.post("/attempts/folder", data={"form_token": token, "path": path})
        assert answer.status_code == 422
        assert 'role="alert"' in answer.text


def test_attempts_of_one_learner_are_compared(
    client: TestClient, attempt: str, settings: Served, measured: Callable[[str], Attempt]
) -> None:
    second = keep(settings, measured("laps-five.flac"))
    other = keep(settings, measured("two-packs.flac"), learner="L2")
    signed_in(client, role="educator")
    page = client.get(f"/attempts/compare?attempt={attempt}&attempt={second}").text
    assert page.count('class="figure-over"') == 5
    assert "sharps-three-items.flac" in page
    assert client.get("/attempts/compare?learner=L1").text.count('scope="col"') == 3
    mixed = client.get(f"/attempts/compare?attempt={attempt}&attempt={other}")
    assert mixed.status_code == 422


def test_a_look_is_kept_and_leads_only_to_pages_of_this_server(client: TestClient) -> None:
    token = signed_in(client)
    for back in ("//elsewhere.example", "https://elsewhere.example", "/\\elsewhere.example"):
        form = {"form_token": token, "look": "dim", "back": back}
        answer = client.post("/look", data=form, follow_redirects=False)
        assert answer.headers["location"] == "/"
    assert 'data-look="dim"' in client.get("/").text
    client.post("/look", data={"form_token": token, "look": '"><script>', "back": "/"})
    assert 'data-look="device"' in client.get("/").text


def checklist_form(client: TestClient, token: str, *points: tuple[str, str, str, str]) -> int:
    form = {
        "form_token": token,
        "title": "Our skills lab",
        "point": [each[0] for each in points],
        "say": [each[1] for each in points],
        "check": [each[2] for each in points],
        "weight": [each[3] for each in points],
    }
    return client.post("/attempts/checklist", data=form).status_code


def test_the_educator_writes_the_checklist_and_attempts_are_scored_by_it(
    client: TestClient, attempt: str, settings: Served
) -> None:
    token = signed_in(client, role="educator", initials="ED")
    assert "Every item was counted aloud" in client.get("/attempts/checklist").text
    ours = ("separated", "Items lay apart & in view.", "", "3")
    kept = checklist_form(
        client,
        token,
        ours,
        ("", "One by one, aloud.", "one_by_one", "1"),
        ("verdict", "   ", "verdict", "1"),  # emptied: taken out
        ("", "", "", "1"),
    )
    assert kept == 200
    assert add(client, attempt, token, kind="point", point="separated", verdict="partly") == 200
    page = client.get(f"/attempts/{attempt}").text
    assert page.count('class="point"') == 2
    assert "Items lay apart &amp; in view." in page
    assert "All were counted one by one (3)." in page
    exported = json.loads(client.get(f"/attempts/{attempt}/export.json").text)
    assert exported["score"]["percent"] == 62  # (3 halves + 1) of 4, rounded half to even
    # what cannot be kept is asked for again with what was typed, and nothing is lost
    for poor in (("x", "word", "no_such_check", "1"), ("Bad id", "word", "", "1")):
        assert checklist_form(client, token, ours, poor) == 422
    written = read_checklist(Store(settings.ledger.parent / "attempts").written_checklist)
    assert [(each.id, each.weight) for each in written.points] == [("separated", 3), ("point_1", 1)]


def test_the_checklist_is_the_educators_or_the_file_that_was_named(
    make_client: Callable[..., TestClient], settings: Served
) -> None:
    client = make_client()
    token = signed_in(client, role="circulator")
    assert "Keep the checklist" not in client.get("/attempts/checklist").text
    assert checklist_form(client, token, ("a", "word", "", "1")) == 403
    named = make_client(settings.model_copy(update={"checklist": common_checklist_path()}))
    token = signed_in(named, role="educator")
    assert "change that file" in named.get("/attempts/checklist").text
    assert checklist_form(named, token, ("a", "word", "", "1")) == 409
    assert not Store(settings.ledger.parent / "attempts").written_checklist.exists()
