"""Ordinary talk must give no count: invented sentences, no source."""

import pytest

TALK = """
i need one more minute
one of the nurses called
for the patient in room two
wait a second
can i have two laps please
give me a lap
hand me a needle driver
could we get ten raytecs in the room
can you pass off five laps
did you add ten raytecs
the patient is forty five years old
blood pressure is one twenty over eighty
it is ten thirty
we started at seven
turn the light a little to the left
he has two kids
i have one question for you
that one is fine
that's one way to do it
that makes two of us
no one is in the lounge
no one called
she sat on my lap
two needles would be nice
needle two is bent
can i have two laps under the light
two needles while we wait for the pathologist
the second needle driver is stuck
let's do the right angle next
can we raise the table two inches
room five is ready for the next case
we need four more hours of sleep
the scrub tech from room one
ate lunch at one
they won two games
i have to go to the core
are you ready for the count
how many laps do you have
did you say five laps
do you have five or six needles
is that four laps or five
suction please
stick that over there
one second i am counting
on three one two three
the mesh is six inches by three inches
three oh silk on a needle driver
give me the fifteen blade
pressure is fifteen
it has been twenty minutes
call the family at four
two minutes to close
we have about thirty minutes left
thirty milliliters of urine
the water is cold
drink some water
some saline please
irrigate with saline
inject the lidocaine
how much lidocaine did you use
the label came off
draw a line
my lap is sore
one more stitch and we are done
take the retractor out
open the fascia
drop the light
the count was at eight
i can't count on that
second assistant please
the third patient today
let me see the mixter
kelly
lap
metzenbaum scissors
fifty percent oxygen
two liters of oxygen
cancel the case
make it quick
i mean it
sorry about that
sorry i am late
no needles were lost
no more laps
a hundred and five dollars
the last two cases went well
we use five laps for a hernia
most cases take ten raytecs
where is the second needle
throw it in the bucket
pass it off
adding to that
that is correct
the correct side is left
everything is correct on the consent
what time is it
scratch that itch
""".strip().splitlines()


def test_there_are_enough_sentences() -> None:
    assert len(TALK) >= 60
    assert len(set(TALK)) == len(TALK)


@pytest.mark.parametrize("sentence", TALK)
def test_talk_gives_no_event(say, sentence: str) -> None:
    assert say(sentence) == []


@pytest.mark.parametrize("sentence", TALK)
def test_talk_does_not_change_a_count_around_it(say, sentence: str) -> None:
    events = say(f"raytecs one two three | {sentence} | four five six | laps five")
    counts = [(e.item, e.quantity) for e in events if not e.questions]
    wrong = [pair for pair in counts if pair not in (("raytec", 6), ("lap", 5))]
    assert wrong == [], "a wrong count without a question"
    assert ("lap", 5) in [(e.item, e.quantity) for e in events]
