"""Words of counting whose other words were heard as talk ask, while a count is going on."""

import pytest

from countersign.kit import demo_kit_path, read_kit
from countersign.meaning import understand

DEMO = read_kit(demo_kit_path())

ASKED = [
    # a verb of counting with an item and no number
    ("added needle", "addition needle"),
    ("passed off hypo", "removal hypo"),
    ("passed off <talk> hypo", "removal hypo"),
    ("passing off hypo | closing count", "removal hypo"),
    # an item beside a little talk, while a count is going on
    ("laps five | <talk> <talk> hypo | kellys two", "count hypo"),
    ("laps five | i have <talk> hypo | kellys two", "count hypo"),
    ("laps five | <talk> blades on the field", "count blade field"),
    ("laps five | laps and the <talk>", "count lap"),
    ("recount the needles | needles <talk>", "count needle"),
    ("recount the needles | <talk> needles", "count needle"),
    ("recount the laps | <talk> laps | count is correct", "count lap"),
    # only a place, a group or the first words
    ("laps five | <talk> on the mayo stand | kellys two", "count mayo_stand"),
    ("laps five | on the field <talk> <talk> | kellys two", "count field"),
    ("laps five | next <talk> sponges on the back table", "count sponges back_table"),
    ("laps five | i have <talk> <talk> | kellys two", "count"),
    ("laps five | and <talk> | kellys two", "count"),
    # a verdict or a count without its name
    ("laps five | <talk> are correct", "verdict sponges"),
    ("needles five | <talk> <talk> <talk> are correct", "verdict sharps"),
    ("laps five | <talk> sharps count | needles two", "phase sharps"),
    # numbers of which the name was lost, closed by their total
    ("laps five | <talk> one two total two | two kellys", "count 2"),
    # a correction without its number or object
    ("laps five | make that <talk>", "correction"),
    ("laps five | make that <talk> | kellys two", "correction"),
    ("laps five | make that <talk> | two kellys", "correction"),
    ("laps five | i mean", "correction"),
    ("laps five | i mean <talk> four", "correction lap 4"),
    ("laps five | correct <talk>", "correction"),
    ("laps five | cancel the", "correction"),
    ("laps five | cancel the <talk>", "correction"),
    # "cancel that", and then a count
    ("laps five | cancel the laps four", "correction lap 4"),
]


def rows(events, *, asked: bool) -> list[str]:
    return [
        " ".join(
            str(field)
            for field in (e.kind.value, e.item or e.group, e.quantity, e.place)
            if field is not None
        )
        for e in events
        if bool(e.questions) is asked
    ]


@pytest.mark.parametrize(("text", "expected"), ASKED)
def test_half_of_a_line_asks(say, text: str, expected: str) -> None:
    events = say(f"closing count | {text}")
    assert rows(events, asked=True) == [expected]


BESIDE = [
    # two lines joined: "cancel that", and then a count
    (
        "laps five | cancel the four laps | kellys two",
        ["count lap 5", "count lap 4", "count kelly 2"],
        ["correction"],
    ),
    (
        "laps five | cancel the four laps on the mayo stand | kellys two",
        ["count lap 5", "count lap 4 mayo_stand", "count kelly 2"],
        ["correction"],
    ),
    # a number of which the item was lost, and what may correct it
    (
        "three next fifty | <talk> laps nine | kellys two",
        ["count kelly 2"],
        ["count 3", "count lap 9"],
    ),
    # a line of which the item was lost, right after a draw
    (
        "drawing up two cc of lidocaine | two <talk> to the field | kellys two",
        ["draw lidocaine 2"],
        ["addition 2", "count kelly 2"],
    ),
]


@pytest.mark.parametrize(("text", "sure", "asked"), BESIDE)
def test_a_broken_line_asks_beside_others(
    say, text: str, sure: list[str], asked: list[str]
) -> None:
    events = say(f"closing count | {text}")
    assert rows(events, asked=False)[1:] == sure
    assert rows(events, asked=True) == asked


COUNTS = {
    "laps five": "count lap 5",
    "kellys two": "count kelly 2",
    "two kellys": "count kelly 2",
    "needles two": "count needle 2",
    "needles five": "count needle 5",
}


@pytest.mark.parametrize(("text", "expected"), ASKED)
def test_the_lines_around_it_stand(say, text: str, expected: str) -> None:
    around = [COUNTS[part] for part in text.split(" | ") if part in COUNTS]
    found = rows(say(f"closing count | {text}"), asked=False)
    assert [row for row in found if row.startswith("count")] == around


@pytest.mark.parametrize(
    "text",
    [
        # nothing but talk; talk on both sides of a name; a long sentence
        "okay <talk> <talk> <talk>",
        "<talk> hypo <talk>",
        "<talk> i have <talk> hypo <talk>",
        "<talk> <talk> <talk> <talk> hypo",
        "<talk> and <talk>",
        "i mean <talk> <talk> <talk>",
        "i mean it",
        "cancel the order",
    ],
)
def test_other_talk_in_a_count_stays_talk(say, text: str) -> None:
    events = say(f"closing count | laps five | {text} | kellys two")
    assert rows(events, asked=False)[1:] == ["count lap 5", "count kelly 2"]
    assert rows(events, asked=True) == []


ALONE = """
<talk> hypo
<talk> are correct
<talk> on the field
<talk> sharps count
i have <talk> hypo
and <talk>
make that <talk>
i mean
cancel the
hypo
""".strip().splitlines()


@pytest.mark.parametrize("text", ALONE)
def test_without_a_count_it_is_talk(say, text: str) -> None:
    assert say(text) == []


@pytest.mark.parametrize(
    ("text", "item", "quantity"),
    [
        ("laps five | i mean | four", "lap", 4),
        ("laps five | make that | four", "lap", 4),
    ],
)
def test_the_number_of_a_correction_may_follow_after_a_pause(say, text, item, quantity) -> None:
    correction = say(text)[-1]
    assert (correction.kind.value, correction.item) == ("correction", item)
    assert (correction.quantity, correction.questions) == (quantity, ())


def test_a_name_at_the_end_of_a_sentence_over_two_utterances_stays_talk(hear, utter) -> None:
    heard = ["closing count", "laps five", "<talk> hypo <talk>", "kellys two", "laps six"]
    events = hear([utter(text, at=3.0 * n) for n, text in enumerate(heard)])
    assert [event.item for event in events[1:]] == ["lap", "kelly", "lap"]


def test_a_number_that_came_with_the_verb_is_not_asked_for(say) -> None:
    assert rows(say("passed off hypo | one"), asked=False) == ["removal hypo 1"]


@pytest.mark.parametrize(
    ("text", "expected", "sounds_like"),
    [
        ("asepto bowl one", [("bulb_syringe", "bulb", 1)], "“bowl”, which sounds like “bulb”"),
        ("one asepto bowl", [("bulb_syringe", "bulb", 1)], "“bowl”, which sounds like “bulb”"),
        (
            "vessel loops one two three four metz four",
            [("vessel_loop", None, 4)],
            "“metz”, which sounds like “that's”",
        ),
        # another number, or no sequence before it: scissors
        ("vessel loops one two three four metz five", [], None),
        ("vessel loops four metz four", [], None),
    ],
)
def test_a_word_taken_for_one_that_sounds_like_it_is_understood_and_asked_about(
    utter, text: str, expected: list[tuple[str, str | None, int]], sounds_like: str | None
) -> None:
    events = list(understand([utter(text)], DEMO))
    if sounds_like is None:
        assert [event.item for event in events] == ["vessel_loop", "metzenbaum_scissors"]
        return
    assert [(event.item, event.part, event.quantity) for event in events] == expected
    assert [q.sentence for event in events for q in event.questions] == [f"Heard {sounds_like}."]


def test_a_count_at_a_place_said_again_beside_talk_is_asked_about(utter) -> None:
    heard = ["closing count", "four kelly clamps on the back table", "<talk> kelly clamps four"]
    starts = (0.0, 3.0, 8.0)
    events = list(understand(map(utter, heard, starts), DEMO))
    codes = [[question.code.value for question in event.questions] for event in events]
    assert "said_again" in codes[2] and "said_again" not in codes[1]
