"""Talk, verbs and pauses around a count: what a search with random talk once got wrong.

Each row is what was said, the lines that may stand without a question, and the lines that have to
be there with a question.
"""

import pytest

FOUND = [
    # a verb that comes after a pause
    ("kellys | one | adding to that", [], ["count kelly 1"]),
    ("kellys one adding to that", [], ["count kelly 1"]),
    ("kellys one | open the fascia | adding kellys two", ["count kelly 1", "addition kelly 2"], []),
    ("twenty five laps open the fascia", [], ["count lap 25"]),
    ("eleven raytecs | open the fascia", ["count raytec 11"], []),
    ("five laps | adding | ten raytecs", ["count lap 5", "addition raytec 10"], []),
    ("five laps | passing off", [], ["count lap 5"]),
    ("five laps | passed off", [], ["removal lap 5"]),
    ("five laps passed off | raytecs ten", ["removal lap 5", "count raytec 10"], []),
    ("five laps passed off ten raytecs", [], ["count lap 5", "removal raytec 10"]),
    ("six kellys | ten raytecs to the field", ["count kelly 6", "addition raytec 10"], []),
    ("five laps | off the field ten raytecs", [], ["removal lap 5", "removal raytec 10"]),
    ("one | handed off two raytecs", ["removal raytec 2"], []),
    ("adding thirty kellys that is correct | ten laps", ["addition kelly 30", "count lap 10"], []),
    ("sorry i am late passing off laps one two three four", [], ["removal lap 4"]),
    ("can you pass off five laps five needles one two three", [], ["count needle 3"]),
    # a verb beside the name of a medication
    ("drink some water adding needles one two three", ["addition needle 3"], []),
    ("the label came off adding five needles", ["addition needle 5"], []),
    ("some saline please passing off kellys one two three", ["removal kelly 3"], []),
    # a number and a name in talk
    ("mixters | is that four laps or five | one | no more laps", [], []),
    ("mixters | one no more laps | two | three", ["count right_angle 3"], []),
    ("kellys one two three four | how many laps | five raytecs", [], ["count raytec 5"]),
    ("raytecs four five | we started at seven | six kellys", [], ["count raytec 5"]),
    ("needles | one two | three four five my lap is sore", [], ["count needle 2"]),
    ("needles one two | for the patient in room two three four", [], ["count needle 2"]),
    ("laps one two three | <talk> | five six", [], ["count lap 3"]),
    ("mixters | one | three oh silk on a needle driver two three", [], ["count right_angle 1"]),
    ("kelly | five kelly clamps passed off", ["removal kelly 5"], []),
    ("adding laps | one two three four laps", ["addition lap 4"], []),
    ("needles one two three lap is sore", [], ["count needle 3"]),
    # an amount is no count
    ("passing off laps fifty percent oxygen | one", [], []),
    ("x-ray sponges two liters of oxygen | one", [], []),
    ("raytecs one two | the water is cold | three | two liters of oxygen", ["count raytec 3"], []),
    ("laps ten | ten cc syringes two", ["count lap 10", "count syringe 2"], []),
    # talk with the words of a draw or of a medication holds up no count
    ("raytecs one two | draw a line | three four | inject the lidocaine", ["count raytec 4"], []),
    ("needles one two lidocaine three four", ["count needle 4"], []),
    ("drink some water | adding raytecs | lap | one", [], ["addition raytec None", "count lap 1"]),
]


@pytest.mark.parametrize(("said", "plain", "asked"), FOUND)
def test_what_is_doubtful_is_asked_about(say, said, plain, asked) -> None:
    lines: dict[bool, list[str]] = {True: [], False: []}
    for event in say(said):
        lines[bool(event.questions)].append(f"{event.kind} {event.item} {event.quantity}")
    assert set(lines[False]) <= set(plain), "a wrong line without a question"
    assert set(plain) <= set(lines[False])
    assert set(asked) <= set(lines[True])


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        # "four needles bagged", of which the verb was not understood, is no count but a removal
        ("four needles <talk>", True),
        ("okay four needles <talk>", True),
        ("needles one two three four", False),
        ("four needles", False),
        ("passing off four needles <talk>", False),
    ],
)
def test_talk_after_a_number_and_its_item_may_be_a_verb(say, line: str, asks: bool) -> None:
    (event,) = say(line)
    sentence = "Four was followed by talk that may say what was done with them."
    assert (sentence in [question.sentence for question in event.questions]) is asks


@pytest.mark.parametrize(
    ("line", "asks"),
    [
        ("kellys <talk> needles one two three", True),
        ("kellys one two <talk> needles one two three", False),
        ("needle <talk> needles one two three", False),
        ("<talk> needles one two three", False),
    ],
)
def test_two_names_with_talk_between_may_be_one(say, line: str, asks: bool) -> None:
    event = say(line)[-1]
    assert (event.item, event.quantity) == ("needle", 3)
    named = [q for q in event.questions if "before it Kelly clamp was named" in q.sentence]
    assert bool(named) is asks
