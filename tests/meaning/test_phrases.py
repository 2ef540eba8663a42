"""What people say in a count, and what it means.

The wording is common practice in United States operating rooms, no source. Each row is what was
said (``|`` parts utterances) and the events as ``kind item quantity how``, ``-`` for none.
"""

import pytest

from countersign.meaning import Event

PLAIN = [
    # item then number
    ("lap sponges five", "count lap 5 total"),
    ("laps five", "count lap 5 total"),
    ("raytecs ten", "count raytec 10 total"),
    ("x-ray sponges ten", "count raytec 10 total"),
    ("four by fours ten", "count raytec 10 total"),
    ("needles twelve", "count needle 12 total"),
    ("needle one", "count needle 1 total"),
    ("hypodermic needles two", "count hypo 2 total"),
    ("needle holders three", "count needle_holder 3 total"),
    ("kelly clamps six", "count kelly 6 total"),
    ("right angles two", "count right_angle 2 total"),
    ("mixters two", "count right_angle 2 total"),
    ("metzenbaum scissors one", "count metz 1 total"),
    ("raytecs one hundred and five", "count raytec 105 total"),
    ("raytecs a hundred", "count raytec 100 total"),
    ("needles a dozen", "count needle 12 total"),
    ("needles zero", "count needle 0 total"),
    ("lap sponges um five", "count lap 5 total"),
    ("okay laps we have five", "count lap 5 total"),
    ("laps is five", "count lap 5 total"),
    ("raytecs 10", "count raytec 10 total"),
    ("Lap sponges: 5.", "count lap 5 total"),
    # number then item
    ("five laps", "count lap 5 total"),
    ("ten raytecs", "count raytec 10 total"),
    ("ten four by fours", "count raytec 10 total"),
    ("one needle", "count needle 1 total"),
    ("twenty one needles", "count needle 21 total"),
    ("a dozen needles", "count needle 12 total"),
    ("a pair of kelly clamps", "count kelly 2 total"),
    ("two pairs of kelly clamps", "count kelly 4 total"),
    ("10 raytecs", "count raytec 10 total"),
    ("we have five laps", "count lap 5 total"),
    ("there are six kellys", "count kelly 6 total"),
    ("one two three four five laps", "count lap 5 sequence"),
    # several in one breath
    ("lap sponges five raytecs ten", "count lap 5 total; count raytec 10 total"),
    ("five laps ten raytecs", "count lap 5 total; count raytec 10 total"),
    ("five laps and ten raytecs", "count lap 5 total; count raytec 10 total"),
    (
        "kellys six right angles two needle holders three",
        "count kelly 6 total; count right_angle 2 total; count needle_holder 3 total",
    ),
    ("laps: 5, raytecs: 10", "count lap 5 total; count raytec 10 total"),
    ("five laps and a needle", "count lap 5 total; count needle 1 total"),
    ("laps one two three raytecs one two", "count lap 3 sequence; count raytec 2 sequence"),
    # sequences
    ("lap sponges one two three four five", "count lap 5 sequence"),
    ("raytecs one two three four five six seven eight nine ten", "count raytec 10 sequence"),
    ("needles one two", "count needle 2 sequence"),
    ("laps one, two, three", "count lap 3 sequence"),
    ("laps 1 2 3", "count lap 3 sequence"),
    ("needles won two three", "count needle 3 sequence"),
    ("needles one to three for five", "count needle 5 sequence"),
    ("needles one two three four five six seven ate nine", "count needle 9 sequence"),
    ("laps one two three that's three", "count lap 3 sequence"),
    ("laps one two three makes three", "count lap 3 sequence"),
    ("laps one two three for a total of three", "count lap 3 sequence"),
    ("laps one two three total three", "count lap 3 sequence"),
    ("laps that's five", "count lap 5 total"),
    ("laps one one two two three three", "count lap 3 sequence"),
    ("laps one two three start over one two three four", "count lap 4 sequence"),
    ("laps one two three again one two three four", "count lap 4 sequence"),
    ("laps ten | one two three four five six seven eight nine ten", "count lap 10 sequence"),
    ("laps five | five", "count lap 5 total"),
    # spread over several utterances
    ("lap sponges | five", "count lap 5 total"),
    ("lap sponges | one two three | four five", "count lap 5 sequence"),
    (
        "laps | one | two | three | raytecs | one | two",
        "count lap 3 sequence; count raytec 2 sequence",
    ),
    ("laps five | raytecs ten", "count lap 5 total; count raytec 10 total"),
    ("laps five | ten raytecs", "count lap 5 total; count raytec 10 total"),
    ("five laps | ten raytecs", "count lap 5 total; count raytec 10 total"),
    ("laps one two | three four | raytecs five", "count lap 4 sequence; count raytec 5 total"),
    ("laps one two three <talk> four five", "count lap 5 sequence"),
    ("laps one two three | <talk> | four five", "count lap 5 sequence"),
    ("laps one two three | can i have a lap | four five", "count lap 5 sequence"),
    ("laps one two three | turn up the light | four five", "count lap 5 sequence"),
    # packs
    ("a pack of ten raytecs", "count raytec 10 pack"),
    ("one pack of ten raytecs", "count raytec 10 pack"),
    ("two packs of five laps", "count lap 10 pack"),
    ("raytecs a pack of ten", "count raytec 10 pack"),
    ("raytecs two packs of ten", "count raytec 20 pack"),
    ("a ten pack of raytecs", "count raytec 10 pack"),
    # the kit says how many are in a sealed one
    ("a pack of raytecs", "count raytec 10 pack"),
    ("two packs of laps", "count lap 10 pack"),
    ("opening three packages of raytecs", "addition raytec 30 pack"),
    (
        "a pack of ten raytecs | one two three four five six seven eight nine ten",
        "count raytec 10 sequence",
    ),
    # a pack is held against the number that the kit says is in it
    ("adding a pack of laps | one two three four five", "addition lap 5 sequence"),
    ("laps a pack one two three four five", "count lap 5 sequence"),
    # additions
    ("adding ten raytecs", "addition raytec 10 total"),
    ("adding raytecs ten", "addition raytec 10 total"),
    ("i'm adding ten raytecs", "addition raytec 10 total"),
    ("add one needle", "addition needle 1 total"),
    ("adding a needle", "addition needle 1 total"),
    ("adding another needle", "addition needle 1 total"),
    ("ten more laps", "addition lap 10 total"),
    ("another five laps", "addition lap 5 total"),
    ("five additional laps", "addition lap 5 total"),
    ("adding ten more raytecs", "addition raytec 10 total"),
    ("five laps to the field", "addition lap 5 total"),
    ("laps five to the field", "addition lap 5 total"),
    ("five laps onto the field", "addition lap 5 total"),
    ("five laps | to the field", "addition lap 5 total"),
    ("ten raytecs added", "addition raytec 10 total"),
    ("opening a pack of ten raytecs", "addition raytec 10 pack"),
    ("opening a pack of ten raytec", "addition raytec 10 pack"),
    ("opening another pack of ten raytecs", "addition raytec 10 pack"),
    ("another pack of five laps", "addition lap 5 pack"),
    ("adding five laps and ten raytecs", "addition lap 5 total; addition raytec 10 total"),
    ("adding laps one two three four five", "addition lap 5 sequence"),
    ("adding laps | one two three four five", "addition lap 5 sequence"),
    ("adding | ten raytecs", "addition raytec 10 total"),
    ("received two needles", "addition needle 2 total"),
    ("adding to the count five laps", "addition lap 5 total"),
    # removals
    ("passing off five laps", "removal lap 5 total"),
    ("handed off five laps", "removal lap 5 total"),
    ("bagged ten raytecs", "removal raytec 10 total"),
    ("five laps off the field", "removal lap 5 total"),
    ("five laps | off the field", "removal lap 5 total"),
    ("five laps passed off", "removal lap 5 total"),
    ("five laps ten raytecs off the field", "removal lap 5 total; removal raytec 10 total"),
    ("handed off five laps and ten raytecs", "removal lap 5 total; removal raytec 10 total"),
    ("passing off five laps and a needle", "removal lap 5 total; removal needle 1 total"),
    ("passing off laps one two three four five", "removal lap 5 sequence"),
    ("passing off | laps | one two three", "removal lap 3 sequence"),
    # corrections
    ("strike that", "correction - - -"),
    ("scratch that", "correction - - -"),
    ("cancel the last", "correction - - -"),
    ("strike the last count", "correction - - -"),
    ("correction nine", "correction - 9 total"),
    ("i mean nine needles", "correction needle 9 total"),
    ("make that four", "correction - 4 total"),
    ("needles eight no nine", "count needle 8 total; correction needle 9 total"),
    ("needles eight | no nine", "count needle 8 total; correction needle 9 total"),
    ("needles eight sorry nine needles", "count needle 8 total; correction needle 9 total"),
    ("laps one two three four | i mean five", "count lap 4 sequence; correction lap 5 total"),
    ("laps five | make that four", "count lap 5 total; correction lap 4 total"),
    (
        "laps five | strike that | laps six",
        "count lap 5 total; correction - - -; count lap 6 total",
    ),
    ("laps five | change the laps to four", "count lap 5 total; correction lap 4 total"),
    ("laps five | change that to four", "count lap 5 total; correction lap 4 total"),
    ("laps five | correct that to four", "count lap 5 total; correction lap 4 total"),
    ("laps five | my mistake four", "count lap 5 total; correction lap 4 total"),
    ("laps five | i misspoke four", "count lap 5 total; correction lap 4 total"),
    ("laps five | that's not right it's four", "count lap 5 total; correction lap 4 total"),
    ("laps five | not five four", "count lap 5 total; correction lap 4 total"),
    ("laps five | not five but four", "count lap 5 total; correction lap 4 total"),
    ("laps five | four not five", "count lap 5 total; correction lap 4 total"),
    ("laps five | no, four not five", "count lap 5 total; correction lap 4 total"),
    ("laps five | laps should be four", "count lap 5 total; correction lap 4 total"),
    ("laps five | i take that back", "count lap 5 total; correction - - -"),
    ("laps five | disregard that", "count lap 5 total; correction - - -"),
    ("laps five | ignore the last one", "count lap 5 total; correction - - -"),
    ("laps five | cancel the laps", "count lap 5 total; correction lap - -"),
    # agreement, and talk, correct nothing
    ("laps five | that's correct", "count lap 5 total"),
    ("laps five | that is right", "count lap 5 total"),
    ("laps five | that was my fault doctor", "count lap 5 total"),
    ("laps five | never mind the light", "count lap 5 total"),
    ("laps five | change the light", "count lap 5 total"),
    ("laps five | i see five", "count lap 5 total"),
    ("laps five | hand me the kelly again please", "count lap 5 total"),
    # a count that was lost begins again
    ("laps one two three | sorry lost count | laps one two", "count lap 2 sequence"),
    ("laps one two three | i lost my place | one two three four", "count lap 4 sequence"),
    # set-up
    ("kelly clamps on the mayo stand", "set_up kelly - -"),
    ("kelly clamps on the mayo stand two", "set_up kelly 2 total"),
    ("metzenbaum scissors on the back table, two", "set_up metz 2 total"),
    ("on the mayo stand kelly clamps two", "set_up kelly 2 total"),
    # remarks
    ("note that the raytec is soaked", "remark raytec - -"),
    ("remark surgeon changed gloves", "remark - - -"),
]


def row(event: Event) -> str:
    fields = (event.kind, event.item, event.quantity, event.spoken)
    return " ".join("-" if field is None else str(field) for field in fields)


@pytest.mark.parametrize(("said", "expected"), PLAIN)
def test_a_plain_phrase_is_read_without_a_question(say, said: str, expected: str) -> None:
    events = say(said)
    assert "; ".join(row(event) for event in events) == expected
    assert [q.sentence for event in events for q in event.questions] == []


ASKED = [
    ("one two three four five | laps", "count lap 5 sequence", "other_reading"),
    ("laps one two four five", "count lap 5 sequence", "number_skipped"),
    ("laps one two two three", "count lap 3 sequence", "number_repeated"),
    ("laps one three two four", "count lap 4 sequence", "number_swapped"),
    ("laps two three four", "count lap 4 sequence", "sequence_start"),
    ("laps one two three that's four", "count lap 3 sequence", "total_disagrees"),
    ("laps one two three one two three four", "count lap 4 sequence", "number_repeated"),
    ("laps one one", "count lap 1 sequence", "number_repeated"),
    ("laps one two three <talk>", "count lap 3 sequence", "sequence_cut_off"),
    ("laps <talk> one two three", "count lap 3 sequence", "other_reading"),
    ("laps <talk> five", "count lap - -", "no_quantity"),
    ("laps", "count lap - -", "no_quantity"),
    ("initial count | lap", "phase - - -; count lap - -", "no_quantity"),
    ("one two three four five", "count - 5 sequence", "no_item"),
    ("that's ten", "count - 10 total", "no_item"),
    ("needles one two three for", "count needle 4 sequence", "other_reading"),
    ("laps for", "count lap 4 total", "other_reading"),
    ("laps too", "count lap 2 total", "other_reading"),
    ("needles fifteen | fifty", "count needle 50 total", "teen_or_ten"),
    ("a box of raytecs", "count raytec 10 pack", "no_quantity"),
    ("two packs of needles", "count needle 2 pack", "no_quantity"),
    ("two pack of laps", "count lap 2 pack", "other_reading"),
    ("a pair of metzenbaum scissors", "count metz 2 total", "other_reading"),
    ("fifteen blade", "count blade 15 total", "other_reading"),
    ("<talk> five laps", "count lap 5 total", "other_reading"),
    ("correction", "correction - - -", "unclear_correction"),
    ("laps five | seven", "count lap 7 sequence", "number_skipped"),
    ("adding laps", "addition lap - -", "no_quantity"),
    ("<talk> laps five <talk>", "count lap 5 total", "other_reading"),
    # which way it goes is not said
    ("handing you five laps", "addition lap 5 total", "other_reading"),
    ("tossing a pack of five laps", "addition lap 5 pack", "other_reading"),
    ("short pack of raytecs", "count raytec 10 pack", "other_reading"),
    ("needle tip is missing", "verdict needle - -", "other_reading"),
    # a correction to another item: either name may be heard wrong
    (
        "laps five | no raytecs five",
        "count lap 5 total; correction raytec 5 total",
        "other_reading",
    ),
    # one name, several things
    ("kelly six", "count kelly 6 total", "other_reading"),
    # half of a name heard as a number ("five eyed needles")
    ("five five needles", "count needle 5 total", "number_repeated"),
    # talk hides numbers, or stands between a number and its item, or between a verb and its object
    ("blade one <talk> three four five", "count blade 5 sequence", "number_skipped"),
    ("hypo <talk> | two | three", "count hypo 3 sequence", "sequence_start"),
    ("two | three | four five", "count - 5 sequence", "no_item"),
    ("two <talk> needles", "count needle - -", "no_quantity"),
    ("kelly clamps total <talk>", "count kelly - -", "no_quantity"),
    ("adding <talk> kelly clamps", "addition kelly - -", "no_quantity"),
    ("adding <talk> laps five", "addition lap 5 total", "other_reading"),
    ("passing off five <talk>", "removal - 5 total", "no_item"),
    # in one breath with numbers "cancel that" may be "eleven"
    (
        "laps one two three cancel that",
        "count lap 3 sequence; correction - - -",
        "unclear_correction",
    ),
    ("laps five | that's not right", "count lap 5 total; correction - - -", "unclear_correction"),
    ("laps five | never mind", "count lap 5 total; correction - - -", "unclear_correction"),
    ("laps five | forget that", "count lap 5 total; correction - - -", "unclear_correction"),
    ("laps five | i only see four", "count lap 4 sequence", "read_back_disagrees"),
    (
        "initial count | laps five | wait four",
        "phase - - -; count lap 5 total; count - 4 total",
        "no_item",
    ),
    ("laps one two three | start over", "count lap 3 sequence", "sequence_cut_off"),
    ("laps five missing", "count lap 5 total", "other_reading"),
    ("laps one two three missing", "count lap 3 sequence", "other_reading"),
    (
        "adding a pack of laps | one two three four",
        "addition lap 4 sequence",
        "total_disagrees",
    ),
    ("adding two needles that makes eight", "addition needle 2 total", "total_disagrees"),
    ("raytecs ten and ten", "count raytec 10 total", "number_repeated"),  # two packs?
    # the same twice: done twice, or read back?
    (
        "adding five laps | adding five laps",
        "addition lap 5 total; addition lap 5 total",
        "said_again",
    ),
]


@pytest.mark.parametrize(("said", "expected", "code"), ASKED)
def test_an_unclear_phrase_is_asked_about(say, said: str, expected: str, code: str) -> None:
    events = say(said)
    assert "; ".join(row(event) for event in events) == expected
    assert code in [str(q.code) for event in events for q in event.questions]


PHASES = [
    ("initial count", "initial -"),
    ("first count", "initial -"),
    ("initial count sponges", "initial sponges"),
    ("initial sponge count", "initial sponges"),
    ("initial count sharps", "initial sharps"),
    ("initial count small items", "initial small_items"),
    ("initial count instruments", "initial instruments"),
    ("closing count", "closing -"),
    ("first closing count", "closing -"),
    ("closing the fascia", "closing -"),
    ("closing the peritoneum", "closing_cavity -"),
    ("closing the cavity", "closing_cavity -"),
    ("cavity count", "closing_cavity -"),
    ("final count", "final -"),
    ("skin count", "final -"),
    ("final count instruments", "final instruments"),
    ("relief count", "relief -"),
    ("relieving scrub", "relief -"),
    ("relieving the scrub", "relief -"),
    ("relieving the circulating nurse", "relief -"),
    ("circulator relief", "relief -"),
    ("scrub relief", "relief -"),
    ("permanent relief of the circulator", "relief -"),
    ("relief sponge count", "relief sponges"),
    # a count may be asked for at any time (our own choice of natural wording)
    ("can we do a count", "requested -"),
    ("can we get a sponge count", "requested sponges"),
    ("let's do another count", "requested -"),
    ("count please", "requested -"),
    ("needle count please", "requested sharps"),
    ("interim count", "requested -"),
    ("i need a count", "requested -"),
    ("let's count the sponges", "requested sponges"),
    ("can you count the sharps", "requested sharps"),
    ("second closing count", "final -"),
    ("pre-op count", "initial -"),
    ("starting count", "initial -"),
    # a cavity within a cavity
    ("closing the uterus", "closing_cavity -"),
    ("we're closing the bladder", "closing_cavity -"),
    ("uterine closure count", "closing_cavity -"),
    ("closing count for the bladder", "closing_cavity -"),
    ("peritoneum is closing", "closing_cavity -"),
    ("wound closure count", "closing -"),
    ("fascia count", "closing -"),
    ("we're closing", "closing -"),
    ("doctor is closing now", "closing -"),
    ("ready to close", "closing -"),
    ("skin closing count", "final -"),
    ("final closing count", "final -"),
    ("we're closing skin", "final -"),
    ("we are on skin", "final -"),
    # who is relieved for good
    ("i'm relieving you", "relief -"),
    ("my relief is here", "relief -"),
    ("taking over as scrub", "relief -"),
    ("taking over for the circulator", "relief -"),
    ("new scrub is taking over", "relief -"),
    ("change of scrub", "relief -"),
    ("circulator change", "relief -"),
    ("sarah is relieving me", "relief -"),
    ("i'm being relieved", "relief -"),
    ("hand off count", "relief -"),
    ("shift change", "relief -"),
    ("can you count with me", "requested -"),
    ("let's do a quick sponge count", "requested sponges"),
]


@pytest.mark.parametrize(("said", "expected"), PHASES)
def test_phases(say, said: str, expected: str) -> None:
    (event,) = say(said)
    assert event.kind == "phase"
    assert f"{event.phase} {event.group or '-'}" == expected
    assert event.questions == ()


@pytest.mark.parametrize(
    "said",
    [
        "is your relief here yet",
        "call me when we're closing please",
        "are you ready to close the door",
        "relieving the scrub for lunch",  # a break is no permanent relief
        "i'm relieving you for a break",
        "what was the last count again",
        "put it on the skin now",
    ],
)
def test_no_count_begins_with_talk_about_it(say, said: str) -> None:
    assert say(said) == []


@pytest.mark.parametrize(
    "said",
    [
        "did we do the closing count",
        "when do we do the final count",
        "who's doing the relief count",
        "don't do the final count yet",
    ],
)
def test_a_count_that_is_only_spoken_of_asks_whether_it_was_begun(say, said: str) -> None:
    (event,) = say(said)
    assert event.kind == "phase" and event.questions


@pytest.mark.parametrize("said", ["sponge count is complete", "final count done", "count complete"])
def test_a_count_that_is_complete_is_noted_and_no_verdict(say, said: str) -> None:
    (event,) = say(said)
    assert (event.kind, event.questions) == ("remark", ())


VERDICTS = [
    ("count is correct", "correct - -"),
    ("the counts are correct", "correct - -"),
    ("counts correct", "correct - -"),
    ("sponge count is correct", "correct sponges -"),
    ("sharps are correct", "correct sharps -"),
    ("laps are correct", "correct sponges lap"),
    ("count is not correct", "not_correct - -"),
    ("count not correct", "not_correct - -"),
    ("count is incorrect", "not_correct - -"),
    ("the count is off", "not_correct - -"),
    ("we're missing one", "not_correct - -"),
    ("we are missing a needle", "not_correct sharps needle"),
    ("recount", "recount - -"),
    ("recount the needles", "recount sharps needle"),
    ("recount the sponges", "recount sponges -"),
    ("let's count again", "recount - -"),
    ("final count is correct", "correct - -"),
    ("final sharps count is correct", "correct sharps -"),
    ("closing sponge counts are all correct", "correct sponges -"),
    ("final sharps count is not correct", "not_correct sharps -"),
    ("initial needle count is off", "not_correct sharps -"),
    ("all counts correct", "correct - -"),
    ("count's correct", "correct - -"),
    ("everything is accounted for", "correct - -"),
    ("the count doesn't match", "not_correct - -"),
    ("count's off", "not_correct - -"),
    ("one too many", "not_correct - -"),
    ("one missing", "not_correct - -"),
    ("lap one missing", "not_correct sponges lap"),
    ("needle missing", "not_correct sharps needle"),
    ("one needle is missing", "not_correct sharps needle"),
    ("missing two laps", "not_correct sponges lap"),
    ("we have an extra lap", "not_correct sponges lap"),
    ("the laps were wrong", "not_correct sponges lap"),
    ("we need to recount", "recount - -"),
    ("count the laps again", "recount sponges lap"),
]


@pytest.mark.parametrize(("said", "expected"), VERDICTS)
def test_verdicts(say, said: str, expected: str) -> None:
    (event,) = say(said)
    assert event.kind == "verdict"
    assert f"{event.verdict} {event.group or '-'} {event.item or '-'}" == expected


@pytest.mark.parametrize("said", ["no it's not", "it isn't", "no they're not"])
def test_a_verdict_that_is_denied_at_once(say, said: str) -> None:
    verdicts = [event.verdict for event in say(f"count is correct | {said}")]
    assert verdicts == ["correct", "not_correct"]
    assert [event.kind for event in say(f"laps five | {said}")] == ["count"]


def test_a_count_that_is_called_off_asks(say) -> None:
    (event,) = say("scratch the closing count")
    assert event.kind == "phase" and event.questions


def test_a_verdict_about_several(say) -> None:
    for said, groups in (
        ("sponges and sharps are correct", ["sponges", "sharps"]),
        ("sponge and needle counts are correct", ["sponges", "sharps"]),
        ("laps, needles and instruments are not correct", ["sponges", "sharps", "instruments"]),
    ):
        events = say(said)
        assert [event.group for event in events] == groups
        assert {event.words for event in events} == {said}
    assert {event.verdict for event in events} == {"not_correct"}
    assert say("are sponges and sharps correct") == []


@pytest.mark.parametrize(
    "said",
    [
        "is the count correct",
        "are the counts correct",
        "is the sponge count correct",
        "is the final sharps count correct",
    ],
)
def test_asking_for_the_verdict_is_none(say, said: str) -> None:
    assert say(said) == []


def test_a_whole_count_in_order(say) -> None:
    events = say(
        "initial count sponges | laps one two three | four five | raytecs ten | sharps "
        "| needles six | count is correct"
    )
    assert [row(event) for event in events] == [
        "phase - - -",
        "count lap 5 sequence",
        "count raytec 10 total",
        "count needle 6 total",
        "verdict - - -",
    ]


def test_an_item_named_with_its_phase_needs_no_number(say) -> None:
    events = say("initial count needles")
    assert [(e.kind, e.group) for e in events if e.kind == "phase"] == [("phase", "sharps")]
    assert [q for e in events for q in e.questions] == []


def test_place_of_a_set_up_item(say) -> None:
    assert [e.place for e in say("kelly clamps on the mayo stand")] == ["mayo_stand"]
    assert [e.place for e in say("metzenbaum scissors on the back table")] == ["back_table"]


def test_a_verdict_may_name_its_phase(say) -> None:
    (event,) = say("final sharps count is correct")
    assert (event.kind, event.verdict, event.phase, event.group) == (
        "verdict",
        "correct",
        "final",
        "sharps",
    )


@pytest.mark.parametrize(
    ("said", "asks"),
    [
        ("<talk> recount <talk> blades", True),
        ("five <talk> ten nine count again ninety six", True),
        ("recount five <talk>", True),
        ("two <talk> count again", True),
        ("<talk> final count <talk>", True),
        ("recount", False),
        ("laps five recount", False),
        ("<talk> the count is correct", False),
        ("<talk> initial count", False),
    ],
)
def test_a_short_phrase_amid_talk(say, said: str, asks: bool) -> None:
    steering = [event for event in say(said) if event.kind in ("verdict", "phase")]
    assert [bool(event.questions) for event in steering] == [asks]
