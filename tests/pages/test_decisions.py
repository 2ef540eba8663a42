"""What a person does with a line on the page."""

from fastapi.testclient import TestClient
from tests.pages.conftest import case_of_words, rooms_of, signed_in

from countersign.ledger import read_case
from countersign.tally import build_record
from countersign.tally.record import CountRecord, LineState


def record_of(client: TestClient, case: str) -> CountRecord:
    history = read_case(rooms_of(client).ledger, case)
    return build_record(history.kit, history.events, history.decisions)


def send(client: TestClient, case: str, line: int, token: str, **form: str) -> tuple[int, str]:
    seen = str(read_case(rooms_of(client).ledger, case).last_entry)
    answer = client.post(
        f"/cases/{case}/lines/{line}", data={"form_token": token, "seen": seen, **form}
    )
    return answer.status_code, answer.text


def test_accepting_and_taking_back(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five", "needles six")
    token = signed_in(client)
    assert send(client, case, 1, token, act="accept")[0] == 200
    record = record_of(client, case)
    assert [line.state for line in record.lines] == [LineState.ACCEPTED, LineState.HEARD]
    assert record.lines[0].decision is not None
    assert record.lines[0].decision.initials == "AB"
    assert send(client, case, 1, token, act="undo")[0] == 200
    assert record_of(client, case).lines[0].state is LineState.HEARD
    assert len(read_case(rooms_of(client).ledger, case).decisions) == 2  # nothing is erased


def test_amending_item_and_number(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five")
    token = signed_in(client)
    code, page = send(client, case, 1, token, act="amend", item="raytec", quantity="10", part="1")
    assert code == 200
    assert "Amended to X-ray detectable sponge" in page
    line = record_of(client, case).lines[0]
    assert (line.confirmed_item, line.confirmed_quantity) == ("raytec", 10)


def test_what_cannot_be_used_is_said_and_keeps_nothing(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five")
    token = signed_in(client)
    tries = (
        {"act": "amend", "quantity": "many"},
        {"act": "amend"},
        {"act": "amend", "item": "spaceship"},
        {"act": "amend", "quantity": "900"},
        {"act": "set_aside", "reason": "  "},
        {"act": "undo"},
        {"act": "explode"},
    )
    for form in tries:
        code, page = send(client, case, 1, token, part="1", **form)
        assert code == 422, form
        assert 'role="alert"' in page
    assert send(client, case, 9, token, act="accept")[0] == 422
    assert read_case(rooms_of(client).ledger, case).decisions == ()


def test_an_implausible_number_is_entered_twice(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five")
    token = signed_in(client)
    assert send(client, case, 1, token, act="amend", quantity="90", again="80")[0] == 422
    assert send(client, case, 1, token, act="amend", quantity="90", again="90")[0] == 200


def test_a_confirmation_sent_again_or_too_late_changes_nothing(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five")
    token = signed_in(client)
    old = {"form_token": token, "seen": "1", "act": "accept"}
    assert client.post(f"/cases/{case}/lines/1", data=old).status_code == 200
    assert send(client, case, 1, token, act="undo")[0] == 200
    replayed = client.post(f"/cases/{case}/lines/1", data=old)
    assert replayed.status_code == 409
    assert "meanwhile" in replayed.text
    assert record_of(client, case).lines[0].state is LineState.HEARD


def test_all_open_lines_at_once_only_when_nothing_is_asked(client: TestClient) -> None:
    asking = case_of_words(client, "laps one two four five")
    token = signed_in(client)
    assert "Accept all" not in client.get(f"/cases/{asking}").text
    form = {"form_token": token, "seen": "1"}
    assert client.post(f"/cases/{asking}/whole", data=form).status_code == 422
    clear = case_of_words(client, "laps one two three four five")
    assert "Accept all" in client.get(f"/cases/{clear}").text
    assert client.post(f"/cases/{clear}/whole", data={**form, "seen": "0"}).status_code == 409
    assert client.post(f"/cases/{clear}/whole", data=form).status_code == 200
    assert record_of(client, clear).confirmed


def test_words_from_the_room_cannot_become_a_script(client: TestClient) -> None:
    from countersign.ledger import append_event
    from countersign.meaning.event import Event, EventKind

    case = case_of_words(client)
    evil = "<script>alert(1)</script>"
    event = Event(kind=EventKind.REMARK, start_s=0, end_s=0, words=evil, confidence=1)
    append_event(rooms_of(client).ledger, case, event)
    signed_in(client)
    page = client.get(f"/cases/{case}").text
    assert evil not in page


def test_a_case_that_is_not_there(client: TestClient) -> None:
    signed_in(client)
    for path in ("/cases/nowhere", "/cases/..%2f..%2fetc%2fpasswd", "/cases/nowhere/lines/1/sound"):
        assert client.get(path).status_code == 404
