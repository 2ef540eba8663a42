"""Questions from confidence and from the other readings of the same sound."""

import pytest

from countersign.hearing import written
from countersign.kit import demo_kit_path, read_kit
from countersign.meaning import understand


def asked(events) -> list[tuple[str, str]]:
    return [(str(q.code), q.sentence) for event in events for q in event.questions]


def test_a_reading_that_agrees_raises_no_question(hear, utter) -> None:
    others = (("lap sponges fifteen", 0.4, "grammar"), ("lap sponges fifteen", 1.0, "open"))
    assert asked(hear([utter("lap sponges fifteen", others=others)])) == []


@pytest.mark.parametrize("teen", range(13, 20))
def test_teens_and_tens(hear, utter, teen: int) -> None:
    from countersign.number_words import spell

    first, second = spell(teen), spell((teen - 10) * 10)
    for heard, other in ((first, second), (second, first)):
        events = hear([utter(f"laps {heard}", others=((f"laps {other}", 0.3, "grammar"),))])
        assert asked(events) == [("teen_or_ten", f"Heard {heard}; it could be {other}.")]


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("lidocaine two percent thirteen mils", ["Heard thirteen; it could be thirty."]),
        ("drawing fifteen cc of lidocaine", ["Heard fifteen; it could be fifty."]),
        ("saline fifty mils", ["Heard fifty; it could be fifteen."]),
        ("saline two hundred fifty mils", []),
        ("lidocaine two percent thirty mils", []),
        ("lidocaine two percent twelve mils", []),
        ("lidocaine two percent ten mils expires june fifteen twenty twenty eight", []),
    ],
)
def test_a_volume_in_the_teens_may_be_a_ten(hear, utter, line: str, asks: list[str]) -> None:
    assert [sentence for _, sentence in asked(hear([utter(line)]))] == asks
    assert asked(hear([written(line, 1)])) == []


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
    assert asked(events)
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


@pytest.mark.parametrize(
    ("line", "share", "asks"),
    [
        ("laps one two three", 0.9, False),
        ("laps one two three", 0.5, True),
        ("laps three", 0.9, True),
        ("laps two three", 0.9, True),
        ("laps one two three that's three", 0.5, False),
        ("laps one two three four that's three", 0.5, True),
    ],
)
def test_the_order_and_the_open_decoding_prove_a_weak_last_number(
    hear, utter, line: str, share: float, asks: bool
) -> None:
    others = ((line, share, "open"), (f"{line} <talk>", 0.2, "grammar"))
    weak = dict.fromkeys(line.split(), 0.8)  # so that no word lends its confidence to others
    (event,) = hear([utter(line, confidences=weak, others=others)])
    assert ("“three” was not heard clearly." in str(event.questions)) is asks


def test_a_total_that_only_the_order_suggests_proves_nothing(hear, utter) -> None:
    line, other = "laps one two three that's three", "laps one two three that's <talk>"
    weak = dict.fromkeys(line.split(), 0.8)
    (event,) = hear([utter(line, confidences=weak, others=((other, 0.9, "open"),))])
    assert "“three” was not heard clearly." in str(event.questions)


def test_one_two_three_in_three_utterances_is_a_count(hear, utter) -> None:
    slow = [utter("kelly one", 0.0), utter("two", 1.5), utter("three", 3.0)]
    (event,) = hear(slow)
    assert (event.item, event.quantity, event.questions) == ("kelly", 3, ())
    assert [code for code, _ in asked(hear(slow[:2]))] == ["read_back_disagrees"]


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
    (event,) = hear([utter("add laps five", others=others)])
    assert (event.kind, asked([event])) == ("addition", [])
    events = hear([utter("add laps five", others=others, confidences={"add": 0.8})])
    assert asked(events) == [("other_reading", "Heard as an addition; it could be a count.")]


@pytest.mark.parametrize(
    ("heard", "other", "sentence"),
    [
        ("add laps five", "laps nine", "Heard five; it could be nine."),
        (
            "add laps five",
            "raytecs five",
            "Heard Laparotomy sponge; it could be X-ray detectable sponge.",
        ),
        ("laps five", "add laps five", "Heard as a count; it could be an addition."),
        ("add laps five", "bagged laps five", "Heard as an addition; it could be a removal."),
    ],
)
def test_a_sure_verb_settles_nothing_else(hear, utter, heard, other, sentence) -> None:
    assert sentence in [q for _, q in asked(hear([utter(heard, others=((other, 0.9, "open"),))]))]


@pytest.mark.parametrize(
    ("other", "share", "questions"),
    [
        ("laps one two four five", 0.9, ["Three was not heard between two and four."]),
        ("laps one two four five", 0.2, []),
        ("laps one two <talk> four five", 0.9, ["Three was not heard between two and four."]),
        ("laps one two three four five", 0.9, []),
    ],
)
def test_a_number_that_the_open_decoding_clearly_lacks(
    hear, utter, other, share, questions
) -> None:
    events = hear([utter("laps one two three four five", others=((other, share, "open"),))])
    assert [event.quantity for event in events] == [5]
    assert [q for _, q in asked(events)] == questions


@pytest.mark.parametrize(
    ("other", "share", "asked_about"),
    [("five", 0.04, True), ("nine", 0.04, False), ("five", 0.001, False)],
)
def test_talk_after_a_count_that_may_be_its_next_number(
    hear, utter, other: str, share: float, asked_about: bool
) -> None:
    talk = utter("<talk>", 4.0, others=((other, share, "grammar"),))
    (event,) = hear([utter("laps one two three four"), talk])
    assert event.quantity == 4
    questions = [q.sentence for q in event.questions]
    assert ("Heard four; it could be five." in questions) is asked_about
    (event,) = hear([utter("laps one two three four"), talk, utter("five six", 6.0)])
    assert (event.quantity, event.questions) == (6, ())


@pytest.mark.parametrize(
    ("heard", "other", "asks"),
    [
        ("add five laps", "add <talk> five laps", False),
        ("add five laps", "add five laps <talk>", False),
        ("add five laps", "add <talk> nine laps", True),
        ("laps one two three", "laps one <talk> three", True),
        ("needles total nine", "needle <talk> total nine", False),
        ("needles total nine", "needle <talk> total five", True),
    ],
)
def test_talk_where_there_is_no_room_for_a_word(hear, utter, heard, other, asks) -> None:
    # the words of these utterances are a tenth of a second apart
    events = hear([utter(heard, others=((other, 0.3, "grammar"),))])
    assert bool(asked(events)) is asks


def test_talk_in_a_gap_is_asked_about(hear, utter) -> None:
    said = utter("add five laps", others=(("add <talk> five laps", 0.3, "grammar"),))
    later = [
        word.model_copy(update={"start_s": word.start_s + 1, "end_s": word.end_s + 1})
        for word in said.words[1:]
    ]
    (event,) = hear([said.model_copy(update={"words": (said.words[0], *later)})])
    sentences = [q.sentence for q in event.questions]
    assert sentences == []  # what it does to the record is the same
    other = (("add <talk> nine laps", 0.3, "grammar"),)
    assert asked(hear([utter("add five laps", others=other)])) != []


@pytest.mark.parametrize(
    ("heard", "other", "asks"),
    [
        # the same words, talk elsewhere
        ("<talk> five laps", "five <talk> laps", False),
        # the counting order decides between a teen and its ten
        ("laps one two three four five six seven eight nine ten eleven twelve thirteen",
         "laps one two three four five six seven eight nine ten eleven twelve thirty", False),
        ("laps thirteen", "laps thirty", True),
        # a closing total that agrees stands against a reading that is askew
        ("laps one two three that's three", "laps one two three four that's three", False),
        ("laps one two three that's three", "laps one two three four that's four", True),
        ("laps one two three", "laps one two three four", True),
        # the number of a volume whose unit was lost
        ("drawing up five cc of saline", "drawing up five <talk> of saline", False),
        ("drawing up five cc of saline", "drawing up nine <talk> of saline", True),
    ],
)  # fmt: skip
def test_readings_that_cannot_change_the_line(hear, utter, heard, other, asks) -> None:
    plain = asked(hear([utter(heard)]))
    events = hear([utter(heard, others=((other, 0.3, "grammar"),))])
    assert (asked(events) != plain) is asks


@pytest.mark.parametrize(
    ("heard", "other", "share", "asks"),
    [
        ("counts are correct", "counts are not correct", 0.03, True),
        ("counts are correct", "counts are correct <talk>", 0.3, False),
        ("counts are correct", "counts are <talk>", 0.03, True),
        ("counts are not correct", "counts are correct", 0.3, True),
        ("sponge count is correct", "final count is correct", 0.3, True),
        ("closing count", "closing the cavity", 0.08, True),
        ("closing count", "final count", 0.01, False),
        ("final count", "final sponge count", 0.3, True),
    ],
)
def test_another_phase_or_verdict(hear, utter, heard, other, share, asks) -> None:
    (event,) = hear([utter(heard, others=((other, share, "grammar"),))])
    assert bool(event.questions) is asks


def test_a_verdict_keeps_clear_of_doubts_about_the_count_before_it(hear, utter) -> None:
    others = (("laps nine count is correct", 0.3, "grammar"),)
    laps, verdict = hear([utter("laps five count is correct", others=others)])
    assert laps.questions and not verdict.questions


def test_a_singular_before_six_is_asked_about(hear, utter) -> None:
    # "Kellys eight" and "kelly six" sound alike.
    assert [code for code, _ in asked(hear([utter("kelly six")]))] == ["other_reading"]


@pytest.mark.parametrize("line", ["kelly nine", "six kelly", "kellys six", "blade seventeen"])
def test_other_singulars_are_not(hear, utter, line: str) -> None:
    assert asked(hear([utter(line)])) == []


@pytest.mark.parametrize("line", ["16000 needle", "needle 16000", "4000 kelly clamp"])
def test_a_figure_too_large_for_a_count_is_not_lost(hear, utter, line: str) -> None:
    assert [code for code, _ in asked(hear([utter(line)]))] == ["no_quantity"]


@pytest.mark.parametrize(
    ("line", "other"),
    [
        ("adding five laps", "bagging"),
        ("bagging five laps", "adding"),
        ("seven laps packed", "bagged"),
    ],
)
def test_a_verb_heard_for_its_opposite_is_asked_about(hear, utter, line, other) -> None:
    (question,) = asked(hear([utter(line)]))
    assert question[0] == "other_reading" and question[1].endswith(f"sounds like “{other}”.")


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("right angle clamp one two raytec okay", True),
        ("right angle clamp one two raytec", True),
        ("right angle clamp one two raytec five", False),
        ("right angle clamp one two | raytec five", False),
        ("right angle clamp one two that's two raytec", False),
        ("one two raytec", False),
    ],
)
def test_numbers_that_run_into_a_bare_name_are_asked_about(line: str, asks: bool, utter) -> None:
    said = [utter(part.strip(), 5.0 * at) for at, part in enumerate(line.split("|"))]
    event, *_ = understand(said, read_kit(demo_kit_path()))
    told = [question.sentence for question in event.questions]
    assert any("Two was followed at once by “raytec”" in each for each in told) is asks
    event, *_ = understand([written(line.replace("|", ""), 1)], read_kit(demo_kit_path()))
    assert not any("at once by “raytec”" in question.sentence for question in event.questions)


@pytest.mark.parametrize("line", ["that is x-ray sponges ten", "that is three stick ties"])
def test_an_addition_heard_as_that_is_stays_asked_about(line: str, utter) -> None:
    kit = read_kit(demo_kit_path())
    later = utter("cancel the last", 2.0)
    for said in ([utter(line)], [utter(line), later]):
        event, *_ = understand(said, kit)
        assert "Heard “that is”, which sounds like “adding”." in [
            question.sentence for question in event.questions
        ]


def test_a_total_after_that_is_closes_its_count(hear, utter) -> None:
    assert asked(hear([utter("laps one two three"), utter("that is three", 3.0)])) == []


@pytest.mark.parametrize("line", ["adding five laps", "seven laps packed"])
def test_written_words_have_no_sound_to_mistake(hear, line: str) -> None:
    assert asked(hear([written(line, 1)])) == []


def test_a_volume_in_the_teens_that_both_decodings_are_sure_of_is_not(hear, utter) -> None:
    for number, share, asks in (("thirteen", 0.95, 0), ("thirteen", 0.8, 1), ("fifty", 1.0, 1)):
        line = f"drawing {number} mils of lidocaine"
        assert len(asked(hear([utter(line, others=((line, share, "open"),))]))) == asks


@pytest.mark.parametrize(("line", "other"), [("mesh one", "metz"), ("one metz", "mesh")])
def test_a_short_name_that_sounds_like_another_is_asked_about(utter, line, other) -> None:
    kit = read_kit(demo_kit_path())
    (question,) = asked(list(understand([utter(line)], kit)))
    assert question[0] == "other_reading" and question[1].endswith(f"sounds like “{other}”.")
    assert asked(list(understand([written(line, 1)], kit))) == []


@pytest.mark.parametrize(
    "line",
    ["mesh one", "metz one two three", "adding five laps", "bagging five laps", "two needles",
     "needle six"],
)  # fmt: skip
def test_words_that_the_open_decoding_is_sure_of_too_are_not(utter, line: str) -> None:
    kit = read_kit(demo_kit_path())
    for share, asks in ((1.0, False), (0.9, False), (0.8, True)):
        sure = utter(line, others=((line, share, "open"),))
        assert bool(asked(list(understand([sure], kit)))) is asks
    differs = utter(line, others=((f"{line.rsplit(maxsplit=1)[0]} nine", 1.0, "open"),))
    assert asked(list(understand([differs], kit)))


def test_packed_is_asked_about_however_sure(hear, utter) -> None:
    line = "seven laps packed"
    assert asked(hear([utter(line, others=((line, 1.0, "open"),))])) != []


@pytest.mark.parametrize("line", ["meshes two", "metzenbaums two", "kellys five"])
def test_a_longer_name_is_not(utter, line: str) -> None:
    assert asked(list(understand([utter(line)], read_kit(demo_kit_path())))) == []


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("two needles", True),
        ("laps five make that two needles", True),
        ("twenty two needles", False),
        ("needles one two", False),
        ("two laps", False),
        ("ten needles", False),
    ],
)
def test_two_before_an_n_may_be_ten(hear, utter, line: str, asks: bool) -> None:
    told = [sentence for _, sentence in asked(hear([utter(line)]))]
    assert ("Heard two, which sounds like ten." in told) is asks
    assert "Heard two, which sounds like ten." not in str(asked(hear([written(line, 1)])))


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("three needles and", True),
        ("needles three and", True),
        ("needles one two three and", False),
        ("three needles and two laps", False),
    ],
)
def test_and_at_the_end_may_be_added(hear, utter, line: str, asks: bool) -> None:
    sentence = "Heard “and” at the end, which sounds like “added”."
    assert (sentence in str(asked(hear([utter(line)])))) is asks
    assert (sentence in str(asked(hear([utter(line), utter("kellys two", 4.0)])))) is asks
    assert sentence not in str(asked(hear([written(line, 1)])))


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("ten needles on the field", True),
        ("ten needles added", True),
        ("nine ten needle drivers", False),
        ("ten laps", False),
        ("drawing up ten mils of lidocaine", False),
    ],
)
def test_ten_before_an_n_may_be_two_however_sure(hear, utter, line: str, asks: bool) -> None:
    told = str(asked(hear([utter(line, others=((line, 1.0, "open"),))])))
    assert ("Heard ten, which sounds like two." in told) is asks
    assert "Heard ten, which sounds like two." not in str(asked(hear([written(line, 1)])))
