"""A page that listens in a real browser, and what breaks: the server, the page, the tablet."""

import re
import time
from pathlib import Path

import pytest
from tests.pages.conftest import FIXTURES, play_into, play_silence
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
HELD_S, SPOKEN_S = 7.5, 9.8
"""Its last count is said between these."""

Kept = list[tuple[object, ...]]


@pytest.fixture(scope="module")
def lines(kit: Kit, ears: Ears) -> Kept:
    """What the recording gives when it is heard as a file."""
    events = listen(FIXTURES / RECORDING, kit, ears=ears).events
    return [(event.kind, event.item, event.quantity) for event in events]


AT_THE_RATE_OF_THE_DEVICE = """
  const connect = AudioContext.prototype.createMediaStreamSource;
  AudioContext.prototype.createMediaStreamSource = function (stream) {
    if (this.sampleRate === 16000) throw new DOMException("rates differ", "NotSupportedError");
    return connect.call(this, stream);
  };"""
"""As Firefox does it."""


def listening(opened: Browser, address: str, before: str = "") -> tuple[Page, str]:
    """A page with its microphone on; its sockets can be reached from here."""
    page = opened.new_context(permissions=["microphone"]).new_page()
    page.add_init_script(before)
    page.add_init_script(
        """window.sockets = [];
        window.WebSocket = class extends WebSocket {
          constructor(...given) { super(...given); window.sockets.push(this); }
          send(piece) { // what was said after window.held is not sent
            const first = piece.byteLength ? new DataView(piece).getBigUint64(0, true) : 0;
            if (Number(first) / 16000 >= window.held) window.spoken = Number(first) / 16000;
            else super.send(piece);
          }
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
    page, case = listening(opened, serving.address, AT_THE_RATE_OF_THE_DEVICE)
    expect(page.locator("#partial")).to_contain_text(re.compile("needles? one"))
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
    server: str,
    opened: Browser,
    settings: Served,
    microphone_file: Path,
    lines: Kept,
) -> None:
    other = opened.new_context().new_page()
    other.goto(server)
    other.get_by_label("Your initials").fill("CD")
    other.get_by_label("relief", exact=True).check()
    other.get_by_role("button", name="Sign in").click()
    play_into(microphone_file, RECORDING)
    page, case = listening(opened, server)
    page.evaluate("(seconds) => { window.held = seconds; }", HELD_S)
    other.goto(f"{server}/cases/{case}")
    expect(page.locator("#line-1")).to_be_visible()
    devices = page.context.new_cdp_session(page)
    page.evaluate("window.sockets.forEach((each) => each.close())")
    page.context.set_offline(True)
    devices.send("Page.setWebLifecycleState", {"state": "frozen"})
    other.locator("#line-1").get_by_role("button", name="Accept").click()
    expect(other.locator("#line-1")).to_contain_text("accepted CD")
    page.context.set_offline(False)
    devices.send("Page.setWebLifecycleState", {"state": "active"})
    expect(page.locator("#line-1")).to_contain_text("accepted CD")
    expect(page.locator("#hearing-state")).to_contain_text("The microphone is on.")
    # the last count is said, and the page goes with it before any of it was sent
    page.wait_for_function("(seconds) => window.spoken > seconds", arg=SPOKEN_S)
    play_silence(microphone_file)  # else the microphone of the test begins its recording again
    page.reload()
    expect(page.locator("#hearing-state")).to_contain_text("The microphone is on.")
    expect(page.locator("body")).to_contain_text("of sound did not arrive")  # while it was away
    history = ended(page, settings.ledger, case)
    assert kept_lines(history) == lines  # none is lost, and none is there twice
