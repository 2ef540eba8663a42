"""What is still open, and silence that closes it."""

import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from countersign.hearing.utterance import Silence, Utterance, Word
from countersign.meaning import Event, understand
from countersign.meaning.understand import LONGEST_PAUSE_S, MOST_OPEN
from countersign.number_words import spell

from .conftest import KIT, TODAY

Shown = list[list[tuple[str, str | None, object]]]


def brief(event: Event) -> tuple[str, str | None, object]:
    return (str(event.kind), event.item, event.quantity)


def follow(parts) -> tuple[list[Event], Shown]:
    shown: Shown = []
    events = list(
        understand(parts, KIT, TODAY, on_open=lambda found: shown.append([*map(brief, found)]))
    )
    return events, shown


def test_the_open_count_is_shown_after_each_utterance(utter) -> None:
    said = [
        utter("laps", 0.0),
        utter("one two", 1.0),
        utter("three", 3.0),
        utter("raytecs ten", 4.0),
    ]
    events, shown = follow(said)
    assert shown == [
        [("count", "lap", None)],
        [("count", "lap", 2)],
        [("count", "lap", 3)],
        [("count", "raytec", 10)],
        [],
    ]
    assert [brief(event) for event in events] == [("count", "lap", 3), ("count", "raytec", 10)]


def test_what_is_open_has_its_questions(utter) -> None:
    shown: list[tuple[Event, ...]] = []
    others = (("laps nine", 0.3, "grammar"),)
    stream = understand([utter("laps five", others=others)], KIT, TODAY, on_open=shown.append)
    (event,) = stream
    assert shown == [(event,), ()]
    assert event.questions


def test_closed_events_come_before_what_is_open(utter) -> None:
    order: list[str] = []
    said = [utter("laps five", 0.0), utter("raytecs ten", 3.0)]
    for event in understand(
        said, KIT, TODAY, on_open=lambda found: order.append(f"open {len(found)}")
    ):
        order.append(str(event.item))
    assert order == ["open 1", "lap", "open 1", "raytec", "open 0"]


def test_silence_closes_a_count_without_another_utterance(utter) -> None:
    end = utter("laps five").end_s
    given: list[str] = []

    def parts():
        yield utter("laps five")
        yield Silence(until_s=end + LONGEST_PAUSE_S)
        given.append("short")
        yield Silence(until_s=end + LONGEST_PAUSE_S + 0.1)
        given.append("long")

    stream = understand(parts(), KIT, TODAY)
    assert next(stream).quantity == 5
    assert given == ["short"]


def test_only_a_silence_that_closes_something_is_shown(utter) -> None:
    parts = [utter("laps five"), *(Silence(until_s=float(n)) for n in range(2, 30))]
    events, shown = follow(parts)
    assert len(events) == 1
    assert shown == [[("count", "lap", 5)], [], []]


def test_a_number_keeps_its_item_while_it_is_open(utter) -> None:
    """The item was counted longer ago than the longest pause, the number was not."""
    said = [utter("laps one two three"), utter("three on the field", 5.0)]
    later = said[-1].end_s + 5.0
    events, _ = follow([*said, Silence(until_s=later), utter("raytecs ten", later + 1.0)])
    assert [(event.item, event.place) for event in events][:2] == [("lap", None), ("lap", "field")]


WORDS = (
    "laps one two three|four five|raytecs ten|no nine|nine|strike that|five laps|initial count"
    "|three on the field|two on the mayo|count is correct|<talk>|the weather is fine|kellys"
    "|lidocaine one percent|expires june twenty twenty eight|drawing up|needle broke|two pieces"
).split("|")


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    st.lists(
        st.tuples(st.sampled_from(WORDS), st.floats(0.5, 20.0), st.integers(0, 4)),
        min_size=1,
        max_size=8,
    )
)
def test_silences_change_no_event(said) -> None:
    plain: list[Utterance] = []
    timed: list[Utterance | Silence] = []
    at = 0.0
    for text, pause, silences in said:
        timed += [
            Silence(until_s=round(at + pause * (n + 1) / (silences + 1), 3))
            for n in range(silences)
        ]
        at = round(at + pause, 3)
        words = tuple(
            Word(text=word, start_s=round(at + n * 0.4, 3), end_s=round(at + n * 0.4 + 0.3, 3))
            for n, word in enumerate(text.split())
        )
        at = words[-1].end_s
        plain.append(Utterance(words=words, start_s=words[0].start_s, end_s=at))
        timed.append(plain[-1])
    timed.append(Silence(until_s=at + 60.0))
    shown: list[tuple[Event, ...]] = []
    expected = list(understand(plain, KIT, TODAY))
    assert list(understand(timed, KIT, TODAY, on_open=shown.append)) == expected
    assert list(understand(plain, KIT, TODAY, on_open=shown.append)) == expected
    assert shown[-1] == ()


def test_what_nothing_ends_is_given_with_a_question_and_not_read_for_ever(
    monkeypatch: pytest.MonkeyPatch, utter
) -> None:
    """Each utterance reads again what is open, so that there is a most of it."""
    module = sys.modules["countersign.meaning.understand"]
    monkeypatch.setattr(module, "MOST_OPEN", 20)
    read, lengths = module.read, []

    def counted(doc, *more, **named):
        lengths.append(len(doc))
        return read(doc, *more, **named)

    monkeypatch.setattr(module, "read", counted)
    events, _ = follow([utter("laps five", 2.0 * n) for n in range(30)])
    assert max(lengths) <= 20 + 3
    assert len(events) > 3 and {(e.item, e.quantity) for e in events} == {("lap", 5)}
    assert all("very long" in event.questions[-1].sentence for event in events[:-1])
    assert " ".join(event.words for event in events) == " ".join(["laps five"] * 30)


def test_a_long_count_said_number_by_number_is_well_within_what_may_be_open() -> None:
    words = sum(len(spell(number).split()) + 1 for number in range(1, 121))
    assert words < MOST_OPEN


def test_a_repeat_that_was_the_next_number_is_not_asked_about(hear, utter) -> None:
    # "one" alone after a singular name may be a total that the second voice contradicts
    said = [utter("kelly clamp one"), utter("two", 2.4), utter("three", 3.6), utter("four", 4.8)]
    (event,) = hear(said)
    assert (event.quantity, event.sequence, event.questions) == (4, (1, 2, 3, 4), ())
    (event,) = hear(said[:2])
    assert [question.code.value for question in event.questions] == ["read_back_disagrees"]
