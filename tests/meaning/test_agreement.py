"""Readings of one sound that differ in a word and agree on what was meant."""

import pytest

LINE = "lidocaine one percent five milliliters"


def sentences(events) -> list[str]:
    return [question.sentence for event in events for question in event.questions]


@pytest.mark.parametrize(
    ("heard", "weak", "others"),
    [
        # one word in two forms
        (LINE, "milliliters", ((LINE.removesuffix("s"), 0.4, "grammar"), (LINE, 0.4, "open"))),
        ("laps five cancel that", "that",
         (("laps five cancel the last", 0.3, "grammar"), ("laps five cancel that", 0.4, "open"))),
        # the counting order decides between a teen and its ten
        ("needles eleven twelve thirteen", "", ()),
        ("kellys one two three four five six seven eight nine ten eleven twelve thirteen",
         "thirteen",
         (("kellys one two three four five six seven eight nine ten eleven twelve thirty", 0.3,
           "grammar"),
          ("kellys one two three four five six seven eight nine ten eleven twelve thirty", 0.4,
           "open"))),
    ],
)  # fmt: skip
def test_a_word_is_as_sure_as_what_it_means(hear, utter, heard, weak, others) -> None:
    plain = sentences(hear([utter(heard)]))
    assert sentences(hear([utter(heard, confidences={weak: 0.6}, others=others)])) == plain
    if weak:
        assert sentences(hear([utter(heard, confidences={weak: 0.6})])) != plain


def test_it_is_no_surer_than_the_utterance(hear, utter) -> None:
    weak = dict.fromkeys("laps five".split(), 0.9)
    events = hear([utter("laps five", confidences=weak, others=(("laps five", 1.0, "open"),))])
    assert len(sentences(events)) == 2
    assert events[0].confidence == 0.9


@pytest.mark.parametrize(
    "others",
    [
        (),  # nothing was decoded a second time
        (("laps nine", 0.3, "open"),),
        (("laps five", 0.6, "open"), ("laps nine", 0.2, "grammar")),
        (("laps five", 0.6, "open"), ("laps five in the wound", 0.2, "grammar")),
        (("laps five", 0.9, "open"), ("laps nine", 0.2, "grammar"), ("laps six", 0.2, "grammar")),
        (("laps five", 0.9, "open"), ("raytecs five", 0.1, "grammar")),
    ],
)
def test_readings_that_mean_something_else_lend_nothing(hear, utter, others) -> None:
    heard = sentences(hear([utter("laps five", confidences={"five": 0.6}, others=others)]))
    assert "“five” was not heard clearly." in heard


@pytest.mark.parametrize(
    ("heard", "other", "second", "share", "asks"),
    [
        ("laps fourteen", "laps forty", 0.9, 0.2, False),
        ("laps fourteen", "laps forty", 0.9, 0.35, True),
        ("laps fourteen", "laps forty", 0.6, 0.2, True),
        ("opened five laps", "five laps", 0.9, 0.2, False),
        ("opened five laps", "five laps", 0.6, 0.2, True),
        # of two items that sound alike both decodings may be sure
        ("kellys one", "needles one", 1.0, 0.1, True),
        ("kellys one", "<talk> one", 1.0, 0.1, True),
        # phases and verdicts
        ("recount the laps", "recount the <talk>", 0.9, 0.2, False),
        ("recount the laps", "recount the <talk>", 0.5, 0.2, True),
        ("final count", "closing count", 0.9, 0.2, False),
        ("counts are correct", "counts are not correct", 1.0, 0.05, True),
    ],
)
def test_a_weak_path_of_the_grammar_against_both_decodings(
    hear, utter, heard, other, second, share, asks
) -> None:
    others = ((other, share, "grammar"), (heard, second, "open"))
    assert bool(sentences(hear([utter(heard, others=others)]))) is asks
    sure = ((other, share, "grammar"), (other, second, "open"))
    assert sentences(hear([utter(heard, others=sure)]))


def test_a_count_over_several_utterances_is_surer_in_the_last_only(hear, utter) -> None:
    first = utter("laps one two", confidences={"laps": 0.5})
    last = utter(
        "three four", 2.0, confidences={"four": 0.8}, others=(("three four", 1.0, "open"),)
    )
    assert sentences(hear([first, last])) == ["“laps” was not heard clearly."]
