"""The stream: times, words, pauses, context, speed."""

import time

from countersign.hearing.utterance import written
from countersign.meaning import understand
from countersign.meaning.pipeline import pipeline
from countersign.meaning.understand import LONGEST_PAUSE_S


def test_times_words_and_speaker_come_from_the_words(hear, utter) -> None:
    laps, raytecs = hear(
        [
            utter("lap sponges", 10.0, speaker="scrub"),
            utter("one two", 12.0, speaker="scrub"),
            utter("raytecs ten", 15.0),
        ]
    )
    assert (laps.start_s, laps.end_s) == (10.0, 12.9)
    assert laps.words == "lap sponges one two"
    assert laps.sequence == (1, 2)
    assert laps.unit == "each"
    assert laps.speaker == "scrub"
    assert (raytecs.start_s, raytecs.words) == (15.0, "raytecs ten")


def test_a_long_silence_ends_a_count(hear, utter) -> None:
    after = 0.9 + LONGEST_PAUSE_S
    joined = hear([utter("laps one", 0.0), utter("two three", after - 0.5)])
    assert [(e.item, e.quantity) for e in joined] == [("lap", 3)]
    apart = hear([utter("laps one", 0.0), utter("two three", after + 0.5)])
    assert [(e.item, e.quantity) for e in apart] == [("lap", 1)]


def test_events_are_given_as_soon_as_they_are_closed(kit) -> None:
    given: list[int] = []

    def lines():
        for number, text in enumerate(["initial count", "laps five", "raytecs ten", "needles six"]):
            given.append(number)
            yield written(text, number + 1)

    stream = understand(lines(), kit)
    assert next(stream).kind == "phase"
    assert given == [0]
    assert next(stream).item == "lap"
    assert given == [0, 1, 2]


def test_an_unannounced_item_may_not_have_ended_the_count(say) -> None:
    events = say("raytecs one two three | kelly | four five six")
    assert [(e.item, e.quantity) for e in events] == [("raytec", 6)]
    assert [str(q.code) for e in events for q in e.questions] == ["other_reading"]
    both = say("raytecs one two three | kellys | four")
    assert all(event.questions for event in both)


def test_talk_after_a_pause_does_not_touch_a_finished_count(say) -> None:
    events = say("five laps | the weather is fine today | ten raytecs | how was your weekend")
    assert [(e.item, e.quantity) for e in events] == [("lap", 5), ("raytec", 10)]


def test_a_phase_lasts_until_its_verdict(say) -> None:
    assert [str(q.code) for q in say("initial count | lap")[-1].questions] == ["no_quantity"]
    assert say("initial count | count is correct | lap")[-1].kind == "verdict"


def test_empty_utterances_and_streams(say, kit) -> None:
    assert list(understand([], kit)) == []
    assert say("") == []
    assert say("<talk> | [unk] | <talk> <talk>") == []
    assert say("... | !") == []


def test_understanding_is_repeatable(say) -> None:
    text = "initial count | laps one two | three | no four | raytecs ten | count is correct"
    assert say(text) == say(text)


def test_one_pipeline_for_one_kit(kit) -> None:
    assert pipeline(kit) is pipeline(kit.model_copy(update={"title": "Another title"}))


def test_a_thousand_utterances_take_less_than_three_seconds(kit) -> None:
    said = ["laps one two three", "four five", "raytecs ten", "the weather is fine today"] * 250
    pipeline(kit)
    started = time.process_time()
    events = list(understand([written(text, n + 1) for n, text in enumerate(said)], kit))
    assert time.process_time() - started < 3.0
    assert len(events) == 500
