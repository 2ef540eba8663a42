"""What a person does with a line on the page."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.pages.conftest import case_of_words, rooms_of, signed_in, token_in

from countersign.chain import read
from countersign.kit import Kit
from countersign.ledger import append_event, read_case
from countersign.ledger import record_of as ledger_record
from countersign.meaning.event import Event, EventKind, Phase
from countersign.pages import Served
from countersign.pages.people import add_person
from countersign.policy import read_policy
from countersign.tally import build_record
from countersign.tally.record import CountRecord, LineState, Role


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
    code, page = send(
        client, case, 1, token, act="amend", item="raytec", quantity="10", only="record"
    )
    assert code == 200
    assert "Amended to X-ray detectable sponge" in page
    line = record_of(client, case).lines[0]
    assert (line.confirmed_item, line.confirmed_quantity) == ("raytec", 10)


def test_amending_which_count_was_announced(client: TestClient) -> None:
    words = ("initial count", "needles six", "final count", "needles six")
    case = case_of_words(client, *words)
    token = signed_in(client)
    page = client.get(f"/cases/{case}").text
    form = re.search(r'id="line-amend-3".*?</details>', page, re.S)
    assert form is not None
    assert '<select name="phase"><option value="">final count, as heard</option>' in form[0]
    assert 'name="again"' not in form[0]
    assert send(client, case, 3, token, act="amend", phase="lunch")[0] == 422
    code, page = send(client, case, 3, token, act="amend", phase="closing", only="record")
    assert code == 200
    assert "Amended to closing count" in page
    assert "amended line 3, begins: final count, to closing count" in page.lower()
    record = record_of(client, case)
    assert [line.phase for line in record.lines[2:]] == [Phase.CLOSING, Phase.CLOSING]


def test_what_was_found_stands_with_what_is_searched_for(client: TestClient) -> None:
    words = ("initial count", "needles six", "closing count", "needles five", "found the needle")
    case = case_of_words(client, *words)
    signed_in(client)
    page = client.get(f"/cases/{case}").text
    assert "› Said at line 5: “found the needle”" in page
    assert record_of(client, case).discrepancies[0].is_open


def test_amending_of_what_a_count_was_announced(client: TestClient) -> None:
    words = ("initial sponge count", "needles six", "initial sharps count", "laps five")
    case = case_of_words(client, *words)
    token = signed_in(client)
    form = re.search(r'id="line-amend-1".*?</details>', client.get(f"/cases/{case}").text, re.S)
    assert form is not None
    assert '<select name="group"><option value="">sponges, as heard</option>' in form[0]
    assert '<option value="all">all groups</option>' in form[0]
    assert send(client, case, 1, token, act="amend", group="lunch")[0] == 422
    code, page = send(client, case, 1, token, act="amend", group="sharps", only="record")
    assert code == 200
    assert "Amended to initial count, sharps" in page
    assert "begins: initial count, sponges, to initial count, sharps" in page
    code, page = send(client, case, 3, token, act="amend", group="all", only="record")
    assert code == 200
    assert "begins: initial count, sharps, to initial count</li>" in page
    record = record_of(client, case)
    assert [record.lines[at].group for at in (0, 2)] == ["sharps", None]
    assert [line.phase for line in record.lines] == [Phase.INITIAL] * 4


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
        code, page = send(client, case, 1, token, only="record", **form)
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
    alone = case_of_words(client, "laps one two three four five")
    assert "Accept all" not in client.get(f"/cases/{alone}").text  # one line has its own button
    clear = case_of_words(client, "laps one two three four five", "needles six")
    assert "Accept all 2" in client.get(f"/cases/{clear}").text
    assert client.post(f"/cases/{clear}/whole", data=form).status_code == 409  # two since
    both = {**form, "seen": "2"}
    assert client.post(f"/cases/{clear}/whole", data=both).status_code == 200
    assert record_of(client, clear).confirmed


def test_words_from_the_room_cannot_become_a_script(client: TestClient) -> None:
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


def test_amending_what_is_on_a_label(client: TestClient) -> None:
    case = case_of_words(
        client, "receiving lidocaine one percent thirty milliliters expires june twenty ninety"
    )
    token = signed_in(client)
    assert "Volume in mL" in client.get(f"/cases/{case}").text
    doubted = {"act": "amend", "strength": "4 %", "expiry": "2020-01", "container": "basin"}
    code, page = send(client, case, 1, token, only="record", **doubted)
    assert code == 422
    assert "The expiry 2020-01-31 has passed." in page
    assert record_of(client, case).lines[0].decision is None
    assert send(client, case, 1, token, **doubted, sure="yes")[0] == 200
    detail = record_of(client, case).lines[0].medication
    assert detail is not None
    assert detail.strength is not None
    assert (detail.strength.value, detail.strength.unit) == (4, "%")
    assert (str(detail.expiry), detail.container) == ("2020-01-31", "basin")


def test_amending_place_and_part(client: TestClient) -> None:
    case = case_of_words(client)
    counted = Event(
        kind=EventKind.COUNT,
        item="bulb_syringe",
        quantity=1,
        place="field",
        part="bulb",
        start_s=0,
        end_s=0,
        words="bulb one",
        confidence=1,
    )
    append_event(rooms_of(client).ledger, case, counted)
    token = signed_in(client)
    form = {"act": "amend", "place": "mayo_stand", "part": "all"}
    code, page = send(client, case, 1, token, only="record", **form)
    assert code == 200, page
    line = record_of(client, case).lines[0]
    assert (line.confirmed_place, line.confirmed_part) == ("mayo_stand", None)


DIFFERS = (
    "initial count",
    "laps one two three four five",
    "closing count",
    "laps one two three four",
)


def enter_step(client: TestClient, case: str, token: str, **form: str) -> int:
    record = ledger_record(read_case(rooms_of(client).ledger, case))
    found = record.discrepancies[0]
    sent = {"form_token": token, "item": found.item, "line": str(found.line), **form}
    return client.post(f"/cases/{case}/steps", data=sent).status_code


def test_the_policy_is_kept_with_the_first_step_and_stays_the_cases_own(
    client: TestClient, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = case_of_words(client, *DIFFERS)
    token = signed_in(client)
    first = read_policy().steps[0]
    assert enter_step(client, case, token, step=first.id, done="yes", remark="twice") == 200
    history = read_case(rooms_of(client).ledger, case)
    assert history.policy == read_policy()
    assert history.steps[0].remark == "twice"
    file = tmp_path / "policy.toml"
    file.write_text(
        'title = "Another"\ncaution = "Ours."\n[[step]]\nid = "look"\nsay = "Look about."\n',
        encoding="utf-8",
    )
    monkeypatch.setenv("COUNTERSIGN_POLICY", str(file))
    page = client.get(f"/cases/{case}").text
    assert first.say in page
    assert "Look about." not in page
    other = case_of_words(client, *DIFFERS)
    assert "Look about." in client.get(f"/cases/{other}").text
    file.write_text("title = ", encoding="utf-8")  # a damaged policy keeps nobody from the count
    answer = client.get(f"/cases/{other}")
    assert answer.status_code == 200
    assert "policy.toml" in answer.text


def sign(client: TestClient, case: str, token: str, **form: str) -> tuple[int, str]:
    found = ledger_record(read_case(rooms_of(client).ledger, case)).discrepancies[0]
    sent = {"form_token": token, "item": found.item, "line": str(found.line), **form}
    answer = client.post(f"/cases/{case}/exceptions", data={**sent, "only": "record"})
    return answer.status_code, answer.text


def test_two_people_sign_an_exception_and_withdraw_it(client: TestClient) -> None:
    case = case_of_words(client, *DIFFERS)
    token = signed_in(client)
    both = {"scrub": "CD", "circulator": "AB"}
    for poor in ({"reason": " ", **both}, {"reason": "x", "scrub": "AB", "circulator": "AB"}):
        assert sign(client, case, token, **poor)[0] == 422
    others = {"scrub": "CD", "circulator": "EF", "reason": "x-ray was clear"}
    assert "signed in here" in sign(client, case, token, **others)[1]
    code, page = sign(client, case, token, reason="x-ray was clear", **both)
    assert code == 200
    assert "signed by CD (scrub) and AB (circulator)" in page
    history = read_case(rooms_of(client).ledger, case)
    assert ledger_record(history).discrepancies[0].exception is not None
    assert sign(client, case, token, withdrawn="yes", **both)[0] == 200
    history = read_case(rooms_of(client).ledger, case)
    assert ledger_record(history).discrepancies[0].exception is None
    assert len(history.exceptions) == 2  # nothing is erased


def test_where_people_have_pins_the_other_one_gives_theirs(
    make_client: Callable[..., TestClient], settings: Served
) -> None:
    add_person(settings.people, "AB", Role.CIRCULATOR, "redoak42")
    add_person(settings.people, "CD", Role.SCRUB, "7 white geese")
    client = make_client()
    case = case_of_words(client, *DIFFERS)
    form = {"initials": "AB", "role": "circulator", "pin": "redoak42"}
    token = token_in(client.post("/sign-in", data=form).text)
    signing = {"scrub": "CD", "circulator": "AB", "reason": "x-ray was clear"}
    assert sign(client, case, token, **signing)[0] == 422
    assert sign(client, case, token, **signing, pin="redoak42")[0] == 422
    assert sign(client, case, token, **signing, pin="7 white geese")[0] == 200


def test_the_state_says_how_many_lines_who_confirmed(client: TestClient) -> None:
    case = case_of_words(client, "laps one two three four five", "needles six", "blades two")
    for initials, line in (("AB", 1), ("CD", 2)):
        token = signed_in(client, initials)
        form = {"form_token": token, "act": "accept", "seen": "99"}
        assert client.post(f"/cases/{case}/lines/{line}", data=form).status_code == 200
    state = client.get(f"/cases/{case}").text.split('id="state"')[1].split("</section>")[0]
    assert "<strong>✓ 2</strong> of 3 confirmed: AB 1, CD 1" in state


def test_a_number_that_waits_for_an_answer_stands_in_the_count_with_its_sign(
    client: TestClient,
) -> None:
    case = case_of_words(client, "raytecs one two three four five six seven eight nine")
    signed_in(client)
    page = client.get(f"/cases/{case}").text
    assert '<td class="number">9&nbsp;?</td>' in page  # a pack of ten is short


def test_what_is_being_said_shows_its_number_what_should_be_and_its_questions(
    client: TestClient, kit: Kit
) -> None:
    token = signed_in(client)
    answer = client.post("/cases", data={"form_token": token}, follow_redirects=False)
    case = answer.headers["location"].rsplit("/", 1)[1]
    said = read(["laps one two four"], kit).events
    rooms_of(client)._open(case, said)
    page = client.get(f"/cases/{case}/record").text
    being_said = page.split('class="being-said"')[1].split("</section>")[0]
    assert "Laparotomy sponge" in being_said
    assert re.search(r"so far</span>\s+4 .*should be</span> 5<", being_said)
    for question in said[0].questions:
        assert question.sentence in being_said
    assert said[0].questions
