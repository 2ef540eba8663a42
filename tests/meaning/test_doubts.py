"""Questions from confidence and from the other readings of the same sound."""

import pytest


def asked(events) -> list[tuple[str, str]]:
    return [(str(q.code), q.sentence) for event in events for q in event.questions]


def test_a_reading_that_agrees_raises_no_question(hear, utter) -> None:
    others = (("lap sponges fifteen", 0.4, "grammar"), ("lap sponges fifteen", 1.0, "open"))
    assert asked(hear([utter("lap sponges fifteen", others=others)])) == []


@pytest.mark.parametrize("teen", range(13, 20))
def test_teens_and_tens(hear, utter, teen: int) -> None:
    from countersign.meaning.numbers import spell

    first, second = spell(teen), spell((teen - 10) * 10)
    for heard, other in ((first, second), (second, first)):
        events = hear([utter(f"laps {heard}", others=((f"laps {other}", 0.3, "grammar"),))])
        assert asked(events) == [("teen_or_ten", f"Heard {heard}; it could be {other}.")]


def test_another_number(hear, utter) -> None:
    events = hear([utter("laps five", others=(("laps nine", 0.3, "open"),))])
    assert asked(events) == [("other_reading", "Heard five; it could be nine.")]


def test_another_item(hear, utter) -> None:
    events = hear([utter("laps five", others=(("raytecs five", 0.3, "open"),))])
    assert asked(events) == [
        ("other_reading", "Heard Laparotomy sponge; it could be X-ray detectable sponge.")
    ]


def test_another_kind(hear, utter) -> None:
    others = (("adding five laps", 0.3, "grammar"),)
    events = hear([utter("passing five laps", others=others)])
    assert ("other_reading", "Heard as a count; it could be an addition.") in asked(events) or (
        events == []
    )
    events = hear([utter("bagged five laps", others=others)])
    assert asked(events) == [("other_reading", "Heard as a removal; it could be an addition.")]


def test_another_strength(hear, utter) -> None:
    others = (("lidocaine two percent", 0.3, "open"),)
    events = hear([utter("lidocaine one percent", others=others)])
    assert asked(events) == [("other_reading", "The strength could be heard in two ways.")]


def test_a_reading_without_the_event(hear, utter) -> None:
    events = hear([utter("laps five", others=(("<talk> <talk>", 0.9, "open"),))])
    assert asked(events) == [
        ("low_confidence", "Another reading of this sound has nothing about Laparotomy sponge.")
    ]


def test_an_unlikely_path_of_the_grammar_is_left_aside_but_not_an_open_one(hear, utter) -> None:
    unlikely = (("laps nine", 0.001, "grammar"),)
    assert asked(hear([utter("laps five", others=unlikely)])) == []
    assert asked(hear([utter("laps five", others=(("laps nine", 0.001, "open"),))])) != []


def test_questions_are_asked_once(hear, utter) -> None:
    others = (("laps nine", 0.3, "open"), ("laps nine", 0.3, "grammar"))
    assert len(asked(hear([utter("laps five", others=others)]))) == 1


@pytest.mark.parametrize("weak", ["laps", "five"])
def test_a_weak_word_is_asked_about(hear, utter, weak: str) -> None:
    events = hear([utter("laps five", confidences={weak: 0.3})])
    assert asked(events) == [("low_confidence", f"“{weak}” was not heard clearly.")]
    assert events[0].confidence == 0.3


def test_the_order_proves_a_weak_number_inside_a_sequence(hear, utter) -> None:
    events = hear([utter("laps one two three", confidences={"two": 0.3})])
    assert asked(events) == []
    events = hear([utter("laps one two three", confidences={"three": 0.3})])
    assert len(asked(events)) == 1


def test_a_doubt_about_a_number_is_settled_when_the_count_goes_on(hear, utter) -> None:
    first = utter("laps one two three", others=(("laps one two <talk>", 0.3, "open"),))
    assert ("other_reading", "Heard three; it could be two.") in asked(hear([first]))
    assert asked(hear([first, utter("four five", 3.0)])) == []


def test_a_doubt_about_a_number_in_an_utterance_of_its_own(hear, utter) -> None:
    utterances = [
        utter("laps", 0.0),
        utter("fifteen", 1.0, others=(("fifty", 0.2, "grammar"),)),
        utter("raytecs ten", 3.0),
    ]
    events = hear(utterances)
    assert [(e.item, e.quantity) for e in events] == [("lap", 15), ("raytec", 10)]
    assert asked(events) == [("teen_or_ten", "Heard fifteen; it could be fifty.")]


def test_a_doubt_stays_with_its_event(hear, utter) -> None:
    others = (("laps five raytecs nine", 0.3, "open"),)
    laps, raytecs = hear([utter("laps five raytecs ten", others=others)])
    assert laps.questions == ()
    assert [q.sentence for q in raytecs.questions] == ["Heard ten; it could be nine."]


def test_an_open_reading_that_only_lacks_a_sure_verb_raises_no_question(hear, utter) -> None:
    others = (("laps five", 0.9, "open"),)
    (event,) = hear([utter("adding laps five", others=others)])
    assert (event.kind, asked([event])) == ("addition", [])
    events = hear([utter("adding laps five", others=others, confidences={"adding": 0.8})])
    assert asked(events) == [("other_reading", "Heard as an addition; it could be a count.")]


@pytest.mark.parametrize(
    ("heard", "other", "sentence"),
    [
        ("adding laps five", "laps nine", "Heard five; it could be nine."),
        (
            "adding laps five",
            "raytecs five",
            "Heard Laparotomy sponge; it could be X-ray detectable sponge.",
        ),
        ("laps five", "adding laps five", "Heard as a count; it could be an addition."),
        ("adding laps five", "bagged laps five", "Heard as an addition; it could be a removal."),
    ],
)
def test_a_sure_verb_settles_nothing_else(hear, utter, heard, other, sentence) -> None:
    assert sentence in [q for _, q in asked(hear([utter(heard, others=((other, 0.9, "open"),))]))]


@pytest.mark.parametrize(
    ("other", "share", "questions"),
    [
        ("laps one two four five", 0.9, ["Three was not heard between two and four."]),
        ("laps one two four five", 0.2, []),
        ("laps one two <talk> four five", 0.9, ["Heard five; it could be two."]),
        ("laps one two three four five", 0.9, []),
    ],
)
def test_a_number_that_the_open_decoding_clearly_lacks(
    hear, utter, other, share, questions
) -> None:
    events = hear([utter("laps one two three four five", others=((other, share, "open"),))])
    assert [event.quantity for event in events] == [5]
    assert [q for _, q in asked(events)] == questions
