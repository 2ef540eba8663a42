"""What the scrub can say without touching anything, and the count read back."""

import io

import pytest
import soundfile
from fastapi.testclient import TestClient
from tests.pages.conftest import case_of_words, rooms_of, signed_in

from countersign.chain import read
from countersign.hearing.grammar import CUES
from countersign.kit import Kit
from countersign.ledger import read_case, record_of
from countersign.meaning import EventKind
from countersign.pages.read_back import PHRASES, asked_read_back, can_speak, read_back_text
from countersign.tally.record import LineState


@pytest.mark.parametrize(
    ("words", "group"),
    [
        ("for the record", "all"),
        ("the count for the record", "all"),
        ("sponge count for the record", "sponges"),
        ("sharps for the record", "sharps"),
        ("needle count for the record", "sharps"),
        ("small items for the record", "small_items"),
        ("instruments for the record", "instruments"),
        # what comes after is a remark, and what is counted before is a count
        ("for the record we opened at eight", None),
        ("laps five for the record", None),
        ("sponges and sharps for the record", None),
        ("sponge count", None),
        ("", None),
    ],
)
def test_what_asks_for_the_count_to_be_read_back(words: str, group: str | None) -> None:
    assert asked_read_back(words) == group


def test_every_phrase_on_the_page_can_be_heard_and_has_its_effect(kit: Kit) -> None:
    effects = {
        "begins a count": EventKind.PHASE,
        "ends a count": EventKind.VERDICT,
        "asks for it to be counted again": EventKind.VERDICT,
        "strikes the last line": EventKind.CORRECTION,
    }
    heard = {word for cue in CUES for word in cue.split()}
    for phrases, effect in PHRASES:
        for phrase in phrases.replace(",", "").split(" · "):
            assert set(phrase.split()) <= heard, phrase
            if effect in effects:
                events = read(["laps five", phrase], kit).events
                assert events[-1].kind is effects[effect], phrase
            else:
                assert asked_read_back(phrase) is not None, phrase
    struck = read(["laps five", "strike that"], kit).record
    assert struck.lines[0].state is LineState.STRUCK


def test_what_is_read_back_says_what_is_not_confirmed(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five", "needles six")
    token = signed_in(client)
    form = {"form_token": token, "act": "accept", "seen": "9"}
    assert client.post(f"/cases/{case}/lines/1", data=form).status_code == 200
    history = read_case(rooms_of(client).ledger, case)
    text = read_back_text(record_of(history), history.kit, "all")
    assert "Laparotomy sponge: 5. " in text
    assert "Atraumatic suture needle: 6, not confirmed." in text
    assert "1 line waits" in text
    assert "needle" not in read_back_text(record_of(history), history.kit, "sponges")


def test_the_count_is_spoken_by_the_server_alone(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five")
    signed_in(client)
    for group in ("../../etc", "sponges; reboot", "no such group"):
        answer = client.get(f"/cases/{case}/read-back", params={"group": group})
        assert answer.status_code == 404
    if not can_speak():
        pytest.skip("needs espeak-ng (Debian package espeak-ng)")
    answer = client.get(f"/cases/{case}/read-back", params={"group": "sponges"})
    assert answer.headers["content-type"] == "audio/wav"
    samples, rate = soundfile.read(io.BytesIO(answer.content))
    assert 1.0 < len(samples) / rate < 10.0
    assert abs(samples).max() > 0.05


def test_steps_of_a_search_are_entered_on_the_page(client: TestClient) -> None:
    case = case_of_words(
        client,
        "initial count",
        "laps one two three four five",
        "closing count",
        "laps one two three four",
    )
    token = signed_in(client)
    history = read_case(rooms_of(client).ledger, case)
    (found,) = record_of(history).discrepancies
    page = client.get(f"/cases/{case}").text
    step = page.split('name="step" value="')[1].split('"')[0]
    form = {"form_token": token, "item": found.item, "line": str(found.line), "step": step}
    for poor in ({"item": "nothing"}, {"line": "9"}, {"step": "no_such_step"}):
        answer = client.post(f"/cases/{case}/steps", data={**form, "done": "yes", **poor})
        assert answer.status_code == 422
    assert client.post(f"/cases/{case}/steps", data={**form, "done": "yes"}).status_code == 200
    (after,) = record_of(read_case(rooms_of(client).ledger, case)).discrepancies
    assert [(made.step, made.initials) for made in after.steps] == [(step, "AB")]
    assert client.post(f"/cases/{case}/steps", data={**form, "done": "no"}).status_code == 200
    (undone,) = record_of(read_case(rooms_of(client).ledger, case)).discrepancies
    assert undone.steps == ()
    educator = signed_in(client, role="educator")
    refused = client.post(
        f"/cases/{case}/steps", data={**form, "form_token": educator, "done": "yes"}
    )
    assert refused.status_code == 403
