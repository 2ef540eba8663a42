"""The script, and how what was heard of it is judged."""

from collections import Counter

import pytest

from countersign import chain
from countersign.kit import Group, Kit
from countersign.kit.model import Item
from countersign.meaning import EventKind
from countersign.meaning.event import Event, Question, QuestionCode
from countersign.voice_check.score import Outcome, deal_out, same, score_line
from countersign.voice_check.script import LINES, Prompt, script


@pytest.fixture(scope="module")
def prompts(kit: Kit) -> tuple[Prompt, ...]:
    return script(kit)


def test_the_script_covers_what_is_counted(prompts: tuple[Prompt, ...], kit: Kit) -> None:
    assert len(prompts) == LINES
    assert [prompt.number for prompt in prompts] == list(range(1, LINES + 1))
    assert len({prompt.text for prompt in prompts}) == LINES
    kinds = Counter(prompt.event.kind for prompt in prompts)
    assert kinds[EventKind.COUNT] >= 8
    assert {EventKind.ADDITION, EventKind.REMOVAL, EventKind.RECEIPT, EventKind.DRAW} <= set(kinds)
    assert sum(len(prompt.event.sequence) > 1 for prompt in prompts) >= 4
    counted = {prompt.event.item for prompt in prompts if prompt.event.kind is EventKind.COUNT}
    assert {kit.item(str(item)).group for item in counted} == set(Group)
    # Two minutes: people read numbers and names at 100 to 150 words a minute (common practice, no
    # source) and breathe about two seconds between lines.
    words = sum(len(prompt.text.split()) for prompt in prompts)
    assert 60 < words / 125 * 60 + 2 * LINES < 150


def test_every_line_reads_as_one_event_without_a_question(
    prompts: tuple[Prompt, ...], kit: Kit
) -> None:
    for prompt in prompts:
        (event,) = chain.read([prompt.text], kit).events
        assert same(prompt.event, event)
        assert event.questions == ()


def test_a_small_kit_gives_a_short_script() -> None:
    item = Item(id="lap", label="Lap", group=Group.SPONGES, spoken=("lap", "laps"), pack=5)
    prompts = script(Kit(title="t", procedure="p", items=(item,)))
    assert 3 <= len(prompts) < LINES
    assert any(prompt.text == "laps one two three four five" for prompt in prompts)


def event(item: str | None = "lap", quantity: int | None = 5, asks: bool = False) -> Event:
    code = QuestionCode.LOW_CONFIDENCE
    questions = (Question(code=code, sentence="Sure?"),) if asks else ()
    return Event(
        kind=EventKind.COUNT,
        item=item,
        quantity=quantity,
        unit="each",
        start_s=0,
        end_s=1,
        words=f"{quantity} {item}",
        questions=questions,
    )


LINE = Prompt(number=1, text="five laps", event=event())
REMARK = Event(kind=EventKind.REMARK, start_s=0, end_s=1, words="hm")


@pytest.mark.parametrize(
    ("heard", "outcome", "questions"),
    [
        ([], Outcome.MISSED, 0),
        ([REMARK], Outcome.MISSED, 0),
        ([event()], Outcome.EXACT, 0),
        ([event(), REMARK], Outcome.EXACT, 0),
        ([event(asks=True)], Outcome.EXACT, 1),
        ([event(quantity=9)], Outcome.SILENT, 0),
        ([event(item="sponge")], Outcome.SILENT, 0),
        ([event(item=None, asks=True)], Outcome.ASKED, 1),
        ([event(quantity=9, asks=True)], Outcome.ASKED, 1),
        ([event(), event(quantity=9, asks=True)], Outcome.ASKED, 1),
        ([event(), event(quantity=9)], Outcome.SILENT, 0),
        ([event(), event()], Outcome.SILENT, 0),
        ([event(quantity=9, asks=True), event(quantity=8)], Outcome.SILENT, 1),
    ],
)
def test_outcomes(heard: list[Event], outcome: Outcome, questions: int) -> None:
    scored = score_line(LINE, heard)
    assert (scored.outcome, scored.questions) == (outcome, questions)


def lines(*quantities: int) -> list[Prompt]:
    return [
        Prompt(number=n, text=str(q), event=event(quantity=q))
        for n, q in enumerate(quantities, start=1)
    ]


@pytest.mark.parametrize(
    ("heard", "dealt"),
    [
        ([1, 2, 3, 4], [[1], [2], [3], [4]]),
        ([], [[], [], [], []]),
        ([1, 3, 4], [[1], [], [3], [4]]),
        ([1, 9, 3, 4], [[1], [9], [3], [4]]),
        ([9, 8, 3, 4], [[9], [8], [3], [4]]),
        ([1, 9, 8, 7, 4], [[1], [9], [8, 7], [4]]),
        ([1, 2, 3, 4, 9], [[1], [2], [3], [4, 9]]),
        ([9, 1, 2, 3, 4], [[9, 1], [2], [3], [4]]),
        ([9], [[9], [], [], []]),
        ([9, 9, 9, 9, 8, 7], [[9], [9], [9], [9, 8, 7]]),
        ([4, 1], [[], [], [], [4, 1]]),
    ],
)
def test_events_of_one_recording_go_to_their_lines(
    heard: list[int], dealt: list[list[int]]
) -> None:
    given = deal_out(lines(1, 2, 3, 4), [event(quantity=q) for q in heard])
    found = [[one.quantity for one in events] for events in given]
    assert sum(map(len, found)) == len(heard)
    assert found == dealt
