"""The pages in a real browser, with a microphone that plays a recording.

Screenshots are written to the folder that COUNTERSIGN_SCREENSHOTS names, for people to look at.
"""

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from tests.pages.conftest import FIXTURES, play_into

from countersign.ledger import open_ledger, read_case
from countersign.pages import Served
from countersign.pages.read_back import can_speak
from countersign.review import Attempt, Store
from countersign.review.store import store_path
from countersign.tally import build_record

pytest.importorskip("playwright")
pytest.importorskip("axe_playwright_python")

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

WAIT_MS = 60_000
"""Long: the machine may be busy; nothing waits longer than it has to."""
expect.set_options(timeout=WAIT_MS)

WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


@pytest.fixture
def microphone(microphone_file: Path) -> None:
    """What the browser's microphone hears: a recording, then silence."""
    play_into(microphone_file, "sharps-three-items.flac")


def sign_in(page: Page, server: str, initials: str = "AB", role: str = "circulator") -> None:
    page.goto(server)
    page.get_by_label("Your initials").fill(initials)
    page.get_by_label(role, exact=True).check()
    page.get_by_role("button", name="Sign in").click()


def begin(page: Page) -> str:
    page.get_by_role("button", name="Begin a case").click()
    return page.url.rsplit("/", 1)[1]


def look(page: Page, name: str) -> None:
    folder = os.environ.get("COUNTERSIGN_SCREENSHOTS")
    if folder:
        page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)


def accessible(page: Page) -> None:
    """Fails on any violation of WCAG 2.2 A and AA that axe-core can find."""
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": WCAG}})
    violations: Any = found.response["violations"]
    assert not violations, found.generate_report()


def test_a_whole_case_from_speaking_to_a_confirmed_record(
    server: str, opened: Browser, microphone: None, settings: Served
) -> None:
    context = opened.new_context(permissions=["microphone"])
    page = context.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("console", lambda m: problems.append(m.text) if m.type == "error" else None)
    sign_in(page, server)
    look(page, "cases")
    case = begin(page)
    page.get_by_role("button", name="Tones").click()
    page.get_by_role("button", name="Switch the microphone on").click()
    expect(page.locator("#partial")).to_contain_text(re.compile("needles? one"), timeout=WAIT_MS)
    expect(page.locator(".being-said")).to_contain_text("NOT CONFIRMED", timeout=WAIT_MS)
    expect(page.locator("#line-2")).to_be_visible(timeout=WAIT_MS)
    expect(page.locator("body")).to_have_attribute("data-toned", re.compile("heard|question"))
    look(page, "case-speaking")
    accessible(page)
    page.reload()  # in the middle: every line is still there, once
    expect(page.locator("#line-2")).to_be_visible()
    page.get_by_role("button", name="End listening for this case").click()
    expect(page.locator("#line-3")).to_be_visible(timeout=WAIT_MS)
    while page.locator(".at-hand").count():
        number = page.locator(".at-hand h2").inner_text()
        page.locator(".at-hand").get_by_role("button", name="Accept").click()
        expect(page.locator(".at-hand h2", has_text=number)).to_have_count(0)
    expect(page.locator(".state")).to_contain_text("No line is open")
    look(page, "case-confirmed")
    accessible(page)
    assert problems == []
    ledger = open_ledger(settings.ledger)
    history = read_case(ledger, case)
    ledger.close()
    record = build_record(history.kit, history.events, history.decisions)
    assert [(line.confirmed_item, line.confirmed_quantity) for line in record.lines][:2] == [
        ("suture_needle", 6),
        ("knife_blade", 2),
    ]
    assert len(record.lines) == 3


def two_pages(opened: Browser, server: str) -> tuple[Page, Page]:
    pages = []
    for initials, role in (("AB", "circulator"), ("CD", "relief")):
        page = opened.new_context().new_page()
        sign_in(page, server, initials, role)
        pages.append(page)
    return pages[0], pages[1]


def written_case(settings: Served, *lines: str) -> str:
    from countersign.chain import read
    from countersign.kit import demo_kit_path, read_kit
    from countersign.ledger import append_event, open_case

    kit = read_kit(demo_kit_path())
    ledger = open_ledger(settings.ledger)
    case = open_case(ledger, kit, "written words")
    for event in read(lines, kit).events:
        append_event(ledger, case, event)
    ledger.close()
    return case


def test_two_browsers_see_the_same_and_the_slower_one_is_told(
    server: str, opened: Browser, settings: Served
) -> None:
    case = written_case(settings, "laps one two three four five", "needles six")
    first, second = two_pages(opened, server)
    for page in (first, second):
        page.goto(f"{server}/cases/{case}")
    first.locator("#line-1").get_by_role("button", name="Accept").click()
    expect(second.locator("#line-1")).to_contain_text("accepted AB", timeout=WAIT_MS)
    # both decide on line 2 from the same view: the second must look again
    old = second.locator("#line-2 [name=seen]").first.input_value()
    first.locator("#line-2").get_by_role("button", name="Accept").click()
    expect(second.locator("#line-2")).to_contain_text("accepted AB", timeout=WAIT_MS)
    second.locator("#line-2").get_by_role("button", name="Take back").click()
    expect(first.locator("#line-2")).to_contain_text("NOT CONFIRMED", timeout=WAIT_MS)
    second.locator("#line-2 form").first.evaluate(
        "(form, old) => { form.querySelector('[name=seen]').value = old; }", old
    )
    second.locator("#line-2").get_by_role("button", name="Accept").click()
    expect(second.get_by_role("alert")).to_contain_text("meanwhile")


def test_without_a_network_the_page_says_so_and_catches_up(
    server: str, opened: Browser, settings: Served
) -> None:
    case = written_case(settings, "laps one two three four five")
    first, second = two_pages(opened, server)
    for page in (first, second):
        page.goto(f"{server}/cases/{case}")
    expect(second.locator("#line-1")).to_contain_text("NOT CONFIRMED")
    second.context.set_offline(True)
    second.locator(".at-hand").get_by_role("button", name="Accept").click()
    expect(second.locator("#link-state")).to_contain_text("No connection")
    look(second, "no-network")
    first.locator(".at-hand").get_by_role("button", name="Accept").click()
    expect(first.locator("#line-1")).to_contain_text("accepted AB")
    second.context.set_offline(False)
    second.reload()
    expect(second.locator("#line-1")).to_contain_text("accepted AB", timeout=WAIT_MS)


def press_until(page: Page, name: str) -> None:
    """Tab until a control of this name has the focus."""
    for _ in range(60):
        page.keyboard.press("Tab")
        focused = page.evaluate("document.activeElement.innerText ?? ''")
        if name in focused:
            return
    raise AssertionError(f"the keyboard does not reach “{name}”")


def test_the_keyboard_alone_is_enough(server: str, opened: Browser, settings: Served) -> None:
    case = written_case(settings, "laps one two three four five")
    page = opened.new_context().new_page()
    page.goto(server)
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    expect(page.get_by_label("Your initials")).to_be_focused()
    page.keyboard.type("kb")
    page.keyboard.press("Tab")
    page.keyboard.press("Space")
    page.keyboard.press("ArrowDown")
    press_until(page, "Sign in")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Cases")).to_be_visible()
    page.goto(f"{server}/cases/{case}")
    press_until(page, "Amend")
    page.keyboard.press("Enter")
    form = page.locator("#now-amend-1")
    expect(form).to_have_attribute("open", "")
    page.keyboard.press("Tab")
    expect(form.get_by_label("Item")).to_be_focused()
    page.keyboard.press("Tab")
    expect(form.get_by_label("Number", exact=True)).to_be_focused()
    page.keyboard.type("4")
    expect(form.get_by_label("Number", exact=True)).to_have_value("4")
    page.keyboard.press("Enter")
    expect(page.locator("#line-1")).to_contain_text("Amended to Laparotomy sponge: 4")


def test_news_takes_nothing_out_of_a_persons_hands(
    server: str, opened: Browser, settings: Served
) -> None:
    case = written_case(settings, "laps one two three four five", "needles six")
    first, second = two_pages(opened, server)
    for page in (first, second):
        page.goto(f"{server}/cases/{case}")
    form = first.locator("#now-amend-1")
    form.locator("summary").focus()
    first.keyboard.press("Enter")
    second.locator("#line-2").get_by_role("button", name="Accept").click()
    expect(first.locator("#line-2")).to_contain_text("accepted CD", timeout=WAIT_MS)
    expect(form).to_have_attribute("open", "")
    expect(form.locator("summary")).to_be_focused()
    form.get_by_label("Item").fill("raytec")
    form.get_by_label("Number", exact=True).focus()
    first.keyboard.type("1")
    second.locator("#line-2").get_by_role("button", name="Take back").click()
    expect(first.locator("#line-2")).to_contain_text("NOT CONFIRMED", timeout=WAIT_MS)
    first.keyboard.type("0")
    expect(form.get_by_label("Item")).to_have_value("raytec")
    first.keyboard.press("Enter")
    expect(first.locator("#line-1")).to_contain_text("Amended to X-ray detectable")
    # the line at hand is another one now: its heading has the focus, not its buttons
    expect(first.locator("#at-hand-title")).to_be_focused()
    expect(first.locator("#at-hand-title")).to_contain_text("Line 2")


def test_a_second_tap_of_the_same_finger_decides_nothing(
    server: str, opened: Browser, settings: Served
) -> None:
    case = written_case(settings, "laps one two three four five", "needles six")
    page = opened.new_context().new_page()
    sign_in(page, server)
    page.goto(f"{server}/cases/{case}")
    accept = page.locator(".at-hand .main")
    accept.click()
    expect(page.locator("#at-hand-title")).to_contain_text("Line 2")
    accept.dispatch_event("click")
    expect(accept).to_be_enabled()
    expect(page.locator("#line-2")).to_contain_text("NOT CONFIRMED")
    accept.click()
    expect(page.locator("#line-2")).to_contain_text("accepted AB")


COVERED = """[...document.querySelectorAll("a, button, summary, input, select")]
  .filter((each) => each.checkVisibility() && !each.closest("#state") && !each.matches(".skip"))
  .filter((each) => {
    each.focus({ focusVisible: true });
    const box = each.getBoundingClientRect();
    const bar = document.getElementById("state").getBoundingClientRect();
    const apart = box.top >= bar.bottom || box.bottom <= bar.top;
    return !apart || box.top < 0 || box.bottom > innerHeight + 1;
  }).map((each) => each.outerHTML)"""
"""The controls that are under the bar at the top when the keyboard comes to them."""

HEIGHTS = """([mm]) => Object.fromEntries([
    "#state strong", ".at-hand .item", ".at-hand dd", ".at-hand .question", ".board .number",
  ].map((part) => {
    const size = parseFloat(getComputedStyle(document.querySelector(part)).fontSize);
    return [part, Math.atan(0.73 * size * mm / 2000) * 180 / Math.PI * 60];
  }))"""
"""How high capitals and figures are from two metres, in minutes of arc, where a pixel has ``mm``;
they are 0.73 em high in DejaVu Sans."""


@pytest.mark.parametrize(
    ("name", "width", "height", "scheme", "mm"),
    [
        ("phone", 360, 740, "light", None),  # in a hand
        ("tablet", 820, 1180, "dark", 0.192),  # 264 pixels an inch, two to a CSS pixel
        ("desk", 1280, 800, "light", 0.224),  # a notebook of 13.3 inches
        ("wall", 1920, 1080, "dark", 0.496),  # 43 inches
    ],
)
def test_every_screen_size_holds_the_page(
    server: str,
    opened: Browser,
    settings: Served,
    name: str,
    width: int,
    height: int,
    scheme: Any,
    mm: float | None,
) -> None:
    case = written_case(
        settings,
        "laps one two three four five",
        "raytecs one two three four five six seven eight nine",
        "needles one two three four five six",
        "sponge count is correct",
    )
    context: BrowserContext = opened.new_context(
        viewport={"width": width, "height": height}, color_scheme=scheme
    )
    page = context.new_page()
    sign_in(page, server)
    page.goto(f"{server}/cases/{case}")
    expect(page.locator("#line-4")).to_be_visible()
    page.locator("#line-1").get_by_role("button", name="Accept").click()
    expect(page.locator("#at-hand-title")).to_contain_text("Line 2")
    # WCAG 2.2, 2.4.11 and 2.4.12: what has the focus is in view
    assert page.evaluate(COVERED) == []
    look(page, f"case-{name}")
    if mm is not None:
        # who sees well reads 5 minutes of arc (ISO 8596, from memory); half as much again is asked
        heights = page.evaluate(HEIGHTS, [mm])
        assert min(heights.values()) >= 7.5, heights
        assert heights[".at-hand dd"] >= 15
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= width
    accessible(page)
    small = page.evaluate(
        """[...document.querySelectorAll("button, summary, input:not([type=hidden])")]
        .filter((e) => e.checkVisibility() && e.type !== "radio")
        .map((e) => e.getBoundingClientRect())
        .filter((box) => box.height < 44 || box.width < 44).length"""
    )
    assert small == 0  # WCAG 2.2, 2.5.5 (AAA): targets of at least 44 by 44 CSS pixels
    page.set_viewport_size({"width": 320, "height": 256})  # 1.4.10: 1280 by 1024 at 400 %
    assert page.evaluate("document.documentElement.scrollWidth") <= 320
    assert page.evaluate(COVERED) == []


def test_the_first_page_is_small(server: str, opened: Browser, settings: Served) -> None:
    case = written_case(settings, "laps one two three four five")
    page = opened.new_context().new_page()
    sign_in(page, server)
    sizes: list[int] = []
    page.on("response", lambda answer: sizes.append(len(answer.body())))
    with page.expect_response("**/record"):  # what the script asks for once it runs
        page.goto(f"{server}/cases/{case}")
    assert sizes
    assert sum(sizes) < 150_000


FULL_CASE = (
    "initial count",
    "laps one two three four five",
    "raytecs one two three four five six seven eight nine ten",
    "needles one two three four five six",
    "receiving lidocaine one percent plain thirty milliliters expires june twenty thirty"
    " labeled cup",
    "drawing up ten milliliters of lidocaine one percent",
    "kelly clamp on the mayo stand",
    "closing count",
    "laps one two three four",
    "count is not correct",
)


@pytest.mark.parametrize(
    ("name", "width", "height"), [("phone", 360, 740), ("desk", 1280, 800), ("wall", 1920, 1080)]
)
def test_everything_of_a_case_is_within_reach(
    server: str, opened: Browser, settings: Served, name: str, width: int, height: int
) -> None:
    case = written_case(settings, *FULL_CASE)
    page = opened.new_context(viewport={"width": width, "height": height}).new_page()
    sign_in(page, server)
    page.goto(f"{server}/cases/{case}")
    page.locator("#line-2").get_by_role("button", name="Accept").click()
    expect(page.locator(".deeds")).to_contain_text("AB (circulator) accepted line 2")
    page.get_by_role("button", name="Done: ").first.click()
    expect(page.locator(".steps li").first).to_contain_text("AB,")
    page.get_by_role("button", name="Dim").click()
    expect(page.locator("html")).to_have_attribute("data-look", "dim")
    expect(page.locator(".state")).to_contain_text("1 item differs")
    for part in ("The count", "What differs", "Medications", "Set-up", "Who did what"):
        expect(page.get_by_role("heading", name=part).first).to_be_visible()
    expect(page.locator(".whole")).to_contain_text("Lidocaine")
    expect(page.locator(".caution")).to_have_count(1)
    look(page, f"full-{name}")
    page.locator(".exception summary").first.click()
    page.locator("#line-amend-5 summary").click()
    page.locator("#line-aside-5 summary").click()
    accessible(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_the_count_is_read_back_beside_the_microphone_which_waits(
    server: str, opened: Browser, microphone_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not can_speak():
        pytest.skip("needs espeak-ng (Debian package espeak-ng)")
    play_into(microphone_file, "laps-passed-off.flac")
    monkeypatch.setattr("countersign.pages.rooms.asked_read_back", lambda _words: "all")
    page = opened.new_context(permissions=["microphone"]).new_page()
    sign_in(page, server)
    begin(page)
    page.evaluate(
        """() => {
          const state = document.getElementById("hearing-state");
          window.told = [];
          new MutationObserver(() => window.told.push(state.textContent))
            .observe(state, { childList: true });
        }"""
    )
    page.get_by_role("button", name="Read back aloud").click()
    page.get_by_role("button", name="Switch the microphone on").click()
    # it may be short: the voice stops as soon as somebody speaks
    expect(page.locator("body")).to_have_attribute("data-read-back", "all", timeout=WAIT_MS)
    page.wait_for_function(
        """() => window.told
          .slice(window.told.findIndex((words) => words.includes("the microphone waits")) + 1)
          .includes("The microphone is on.")""",
        timeout=WAIT_MS,
    )
    assert any("the microphone waits" in words for words in page.evaluate("window.told"))


@pytest.mark.parametrize(
    ("name", "width", "height", "scheme"),
    [("phone", 360, 740, "dark"), ("desk", 1280, 800, "light")],
)
def test_an_educator_looks_back_at_an_attempt(
    server: str,
    opened: Browser,
    settings: Served,
    measured: Callable[[str], Attempt],
    tmp_path: Path,
    name: str,
    width: int,
    height: int,
    scheme: Any,
) -> None:
    store = Store(store_path(settings.ledger))
    for recording in ("sharps-three-items.flac", "interrupted-by-talk.flac", "laps-five.flac"):
        store.keep(measured(recording), FIXTURES / recording)
    context = opened.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    problems: list[str] = []
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("console", lambda m: problems.append(m.text) if m.type == "error" else None)
    sign_in(page, server, "ED", "educator")
    page.get_by_role("link", name="Practice").click()
    look(page, f"attempts-{name}")
    accessible(page)
    page.get_by_role("link", name="Checklist").click()
    look(page, f"checklist-{name}")
    accessible(page)
    page.go_back()
    page.get_by_role("link", name="sharps-three-items.flac").click()
    # a click on a line goes to its sound, and what is heard is marked
    page.locator("#line-2 .at").click()
    page.wait_for_function("document.getElementById('sound').currentTime > 0.5")
    expect(page.locator("#line-2")).to_have_attribute("aria-current", "true")
    page.evaluate("document.getElementById('sound').pause()")
    expect(page.locator(".at-now").first).not_to_have_value("")
    page.get_by_role("textbox", name="Comment").fill("Slower between the needles.")
    page.get_by_role("button", name="Keep the comment").click()
    expect(page.locator("#marks")).to_contain_text("Slower between the needles.")
    page.get_by_label("Judge: Items were separated").click()
    page.locator("#judge-separated select").select_option("met")
    page.locator("#judge-separated button").click()
    expect(page.locator(".points")).to_contain_text("ED says so")
    look(page, f"attempt-{name}")
    accessible(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    with page.expect_download() as exported:
        page.get_by_role("link", name="Export as a page").click()
    exported.value.save_as(tmp_path / "review.html")
    alone = context.new_page()
    alone.goto((tmp_path / "review.html").as_uri())
    expect(alone.locator("body")).to_contain_text("Slower between the needles.")
    look(alone, f"export-{name}")
    accessible(alone)
    assert alone.evaluate("document.documentElement.scrollWidth") <= width
    alone.close()
    page.get_by_role("link", name="Over time").click()
    expect(page.locator(".figure-over")).to_have_count(5)
    look(page, f"compare-{name}")
    accessible(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert not problems


def test_a_tone_waits_for_who_is_heard_and_stops_when_somebody_speaks(
    server: str, opened: Browser
) -> None:
    page = opened.new_context().new_page()
    sign_in(page, server)
    found = page.evaluate(
        """async () => {
          const wait = (ms) => new Promise((done) => setTimeout(done, ms));
          const { Microphone } = await import("/static/microphone.js");
          const { Voice } = await import("/static/voice.js");
          localStorage.setItem("tones", "on");
          const microphone = new Microphone("case", () => {});
          microphone.on = true;
          const sound = (level, pieces) => {
            for (let at = 0; at < pieces; at++) microphone.weigh(new Int16Array(1600).fill(level));
          };
          const stopped = [];
          const stop = OscillatorNode.prototype.stop;
          OscillatorNode.prototype.stop = function (when) {
            stopped.push(when ?? "now");
            return stop.call(this, ...arguments);
          };
          const voice = new Voice(() => microphone);
          const toned = () => document.body.dataset.toned ?? "";
          const told = {};
          sound(40, 20);
          told.quiet = microphone.hears();
          sound(3000, 3);
          told.speech = microphone.hears();
          voice.tone(true);
          await wait(150);
          told.during = toned();
          await wait(500);
          told.after = toned();
          voice.somebodySpeaks(true);
          told.cut = stopped.filter((when) => when === "now").length;
          sound(600, 150);
          await wait(400);
          sound(600, 1);
          told.noise = microphone.hears();
          return told;
        }"""
    )
    assert found == {
        "quiet": False,
        "speech": True,
        "during": "",
        "after": "question",
        "cut": 2,
        "noise": False,
    }


def test_a_microphone_of_another_rate_is_brought_to_ours(server: str, opened: Browser) -> None:
    page = opened.new_context().new_page()
    page.goto(f"{server}/sign-in")
    for rate in (48_000, 44_100, 8_000):
        check_rate(rate, page)


def check_rate(rate: int, page: Page) -> None:
    made = page.evaluate(
        """async (rate) => {
          window.sampleRate = rate;
          window.AudioWorkletProcessor = class {
            port = { postMessage: (piece) => window.pieces.push(...piece) };
          };
          window.registerProcessor = (_, made) => { window.Recorder = made; };
          await import(`/static/recorder.js?${rate}`);
          return [1000, 3000, 10000].map((pitch) => {
            window.pieces = [];
            const recorder = new window.Recorder();
            for (let start = 0; start < rate; start += 128) {
              const angle = (2 * Math.PI * pitch) / rate;
              recorder.process([[Float32Array.from({ length: 128 }, (_, at) =>
                0.5 * Math.sin(angle * (start + at)))]]);
            }
            return window.pieces;
          });
        }""",
        rate,
    )
    seconds = np.arange(1_600, 14_000) / 16_000
    for pitch, heard in zip((1_000, 3_000, 10_000), made, strict=True):
        assert len(heard) in (14_400, 16_000)  # a second but for what is not a whole piece
        samples = np.array(heard[1_600:14_000]) / 32_767
        if pitch < rate / 2 and pitch < 8_000:
            assert np.abs(samples - 0.5 * np.sin(2 * np.pi * pitch * seconds)).max() < 0.01
        elif rate > 16_000:  # above half of our rate it would be heard as another pitch
            assert np.abs(samples).max() < 0.003
