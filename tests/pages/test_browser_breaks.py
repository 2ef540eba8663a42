"""A page that listens in a real browser, and what breaks: the server, the page, the tablet."""

import time
from pathlib import Path

import pytest
from tests.pages.conftest import FIXTURES, play_into
from tests.pages.serving import Serving

from countersign.chain import listen
from countersign.hearing import Ears
from countersign.kit import Kit
from countersign.ledger import CaseHistory, open_ledger, read_case
from countersign.pages import Served

pytest.importorskip("playwright")

from playwright.sync_api import Browser, Page, expect

WAIT_MS = 60_000
expect.set_options(timeout=WAIT_MS)
RECORDING = "sharps-three-items.flac"

Kept = list[tuple[object, ...]]


@pytest.fixture(scope="module")
def lines(kit: Kit, ears: Ears) -> Kept:
    """What the recording gives when it is heard as a file."""
    events = listen(FIXTURES / RECORDING, kit, ears=ears).events
    return [(event.kind, event.item, event.quantity) for event in events]


def listening(opened: Browser, address: str) -> tuple[Page, str]:
    """A page with its microphone on; its sockets can be reached from here."""
    page = opened.new_context(permissions=["microphone"]).new_page()
    page.add_init_script(
        """window.sockets = [];
        window.WebSocket = class extends WebSocket {
          constructor(...given) { super(...given); window.sockets.push(this); }
        };"""
    )
    page.goto(address)
    page.get_by_label("Your initials").fill("AB")
    page.get_by_label("circulator", exact=True).check()
    page.get_by_role("button", name="Sign in").click()
    page.get_by_role("button", name="Begin a case").click()
    page.get_by_role("button", name="Switch the microphone on").click()
    return page, page.url.rsplit("/", 1)[1]


def ended(page: Page, ledger: Path, case: str) -> CaseHistory:
    page.get_by_role("button", name="End listening for this case").click()
    expect(page.get_by_role("button", name="End listening")).to_have_count(0)
    kept = open_ledger(ledger)
    history = read_case(kept, case)
    kept.close()
    return history


def kept_lines(history: CaseHistory) -> Kept:
    return [(event.kind, event.item, event.quantity) for event in history.events]


def test_a_restart_of_the_server_while_somebody_counts(
    serving: Serving, launched: Browser, opened: Browser, microphone_file: Path, lines: Kept
) -> None:
    play_into(microphone_file, RECORDING)
    page, case = listening(opened, serving.address)
    expect(page.locator("#partial")).to_contain_text("needles one")
    serving.kill()  # in the middle of the first count
    expect(page.locator("#link-state")).to_contain_text("No connection")
    expect(page.locator("#hearing-state")).to_contain_text("are kept here and will be sent")
    time.sleep(1)  # the second is said meanwhile
    serving.begin()
    expect(page.locator("#hearing-state")).to_contain_text("The microphone is on.")
    expect(page.locator("#link-state")).to_be_hidden()
    expect(page.locator("#line-2")).to_be_visible()
    history = ended(page, serving.folder / "ledger.sqlite3", case)
    assert kept_lines(history) == lines
    assert not [note for note in history.notes if note.topic == "remark"]  # no sound is missing
    expect(page.locator(".lines > li")).to_have_count(len(lines))


def test_a_tablet_sleeps_and_its_page_is_loaded_anew(
    server: str, opened: Browser, settings: Served, microphone_file: Path, lines: Kept
) -> None:
    play_into(microphone_file, RECORDING)
    page, case = listening(opened, server)
    expect(page.locator("#line-1")).to_be_visible()
    devices = page.context.new_cdp_session(page)
    page.evaluate("window.sockets.forEach((each) => each.close())")
    page.context.set_offline(True)
    devices.send("Page.setWebLifecycleState", {"state": "frozen"})
    other = opened.new_context().new_page()
    other.goto(server)
    other.get_by_label("Your initials").fill("CD")
    other.get_by_label("relief", exact=True).check()
    other.get_by_role("button", name="Sign in").click()
    other.goto(f"{server}/cases/{case}")
    other.locator("#line-1").get_by_role("button", name="Accept").click()
    expect(other.locator("#line-1")).to_contain_text("accepted CD")
    time.sleep(1.5)
    page.context.set_offline(False)
    devices.send("Page.setWebLifecycleState", {"state": "active"})
    expect(page.locator("#line-1")).to_contain_text("accepted CD")
    expect(page.locator("#hearing-state")).to_contain_text("The microphone is on.")
    # what comes from here on is not sent: the page goes with a second and a half of it
    page.evaluate(
        """window.sockets.filter((each) => each.url.endsWith("/hear"))
        .forEach((each) => { each.send = () => {}; })"""
    )
    page.wait_for_timeout(1500)
    page.reload()
    expect(page.locator("#hearing-state")).to_contain_text("The microphone is on.")
    expect(page.locator("body")).to_contain_text("of sound did not arrive")  # while it was away
    history = ended(page, settings.ledger, case)
    found = kept_lines(history)
    assert found[: len(lines)] == lines
    # the microphone of the test begins its recording again, a person would not
    assert len(found) <= 2 * len(lines)
