"""The grammar of counting, compiled from a kit into graphs of words.

Two graphs are made. The *counting* graph knows the order of a count: after an item a sequence from
one or a total is likely, after seven comes eight, other orders are possible but dear, so that a
skipped or repeated number can still be heard. The *open* graph knows the same words in any order at
one price; a second decoding with it says whether the counting order was heard or only assumed.
Both have a loop of phones beside them, so that other talk is heard as talk.

All costs are natural negative logarithms on the scale of the acoustic scores.
"""

from countersign.hearing.graph import WordGraph
from countersign.hearing.number_words import DIGITS, TEENS, TENS, UNITS, spoken_number
from countersign.hearing.utterance import TALK
from countersign.kit.model import Kit

TRADE_WORDS: dict[str, tuple[str, ...]] = {
    "milliliter": ("M IH L AH L IY T ER",),
    "milliliters": ("M IH L AH L IY T ER Z",),
    "microgram": ("M AY K R OW G R AE M",),
    "micrograms": ("M AY K R OW G R AE M Z",),
    "circulator": ("S ER K Y AH L EY T ER",),
    "peritoneum": ("P EH R AH T AH N IY AH M",),
    "peritoneal": ("P EH R AH T AH N IY AH L",),
    "fascia": ("F AE SH AH", "F EY SH AH"),
    "cc": ("S IY S IY",),
    "mils": ("M IH L Z",),
}
"""Words of the grammar whose pronunciation is fixed here, in the CMU dictionary's phones."""


def _phrases(text: str) -> tuple[str, ...]:
    """Phrases set apart by commas and line ends."""
    return tuple(text.replace("\n", ",").split(","))


HUB, SPEECH = 0, 1
"""Between phrases, and before one: talk leads from the first to the second, so that a stretch of
talk has one reading, not one for each place it could be cut."""
LONGEST_SEQUENCE = 60
"""Sequences are followed this far; larger numbers are heard as totals."""

TALK_PHONE = 2.5
TALK_ENTRY = 1.0
ITEM_ENTRY = 3.5
NUMBER_ENTRY = 2.0
PHRASE_ENTRY = 3.5
NEXT_NUMBER = 0.3
FIRST_NUMBER = 0.5
OTHER_NUMBER = 4.5
END_OF_SEQUENCE = 0.7
TOTAL = 1.5
OPEN_WORD = 3.0

CUES: tuple[str, ...] = _phrases(
    """adding,add,added,opening,opened,more,another,plus,to the field,on the field
passing off,passed off,pass off,handing off,handed off,off the field,bagging,bagged,removed
pack of,a pack of,packs of,box of,a pair of,that's,that is,makes,for a total of,total,in all
strike that,scratch that,cancel that,cancel the last,cancel the last one,correction,i mean
make that,no make that,initial count,first count,closing count,second count,cavity count
closing the peritoneum,closing the cavity,closing the fascia,closing the skin,skin count
final count,relief count,scrub relief,circulator relief,relieving the scrub
sponges,sharps,small items,instruments,count is correct,counts are correct,count correct
counts correct,the count is correct,the counts are correct,all counts correct
sponge count,sharps count,needle count,instrument count,sponge count is correct
sharps count is correct,needle count is correct,instrument count is correct
count is not correct,count is incorrect,count incorrect,counts are not correct
the count is not correct,the count is off,we are missing one,missing one,missing
recount,recount the,count again,start over,from the top,again,on the mayo stand,on the mayo
on the back table,note that,for the record,remark"""
)
"""Fixed phrases of the trade that carry a count along (common practice, no source)."""

MEDICATION_CUES: tuple[str, ...] = _phrases(
    """percent,half percent,a half percent,milligrams,milligrams per milliliter,micrograms
micrograms per milliliter,grams,units,units per milliliter,milliliters,milliliter,cc,plain
with epinephrine,with epi,one to one hundred thousand,one to two hundred thousand
one to one thousand,one in one hundred thousand,one in two hundred thousand
one in one thousand,expires,expiration,expiry,lot number,label,labeled,labeling,labels,cup
medicine cup,basin,bowl,pitcher,syringe,drawing up,draw up,drawing,drawn up,receiving,received"""
)
MONTHS: tuple[str, ...] = tuple(
    "january february march april may june july august september october november december".split()
)


def _numbers_to_99(graph: WordGraph, source: int, target: int, cost: float) -> None:
    """Every cardinal from one to 99 between two states, sharing words where they can be shared."""
    tens_done = graph.new_state()
    for word in (*UNITS, *TEENS):
        graph.arc(source, target, word, cost)
    for word in TENS:
        graph.arc(source, tens_done, word, cost)
    graph.arc(tens_done, target, None, 0.3)
    for word in UNITS:
        graph.arc(tens_done, target, word, 0.3)


def _numbers_to_199(graph: WordGraph, source: int, target: int, cost: float) -> None:
    """Every cardinal from one to 199 between two states."""
    _numbers_to_99(graph, source, target, cost)
    one, hundred_done, after_and = graph.new_state(), graph.new_state(), graph.new_state()
    for word in ("one", "a"):
        graph.arc(source, one, word, cost + 2.0)
    graph.arc(one, hundred_done, "hundred", 0.0)
    graph.arc(hundred_done, target, None, 0.7)
    graph.arc(hundred_done, after_and, "and", 0.7)
    graph.arc(hundred_done, after_and, None, 0.7)
    _numbers_to_99(graph, after_and, target, 0.5)


def _sequences(graph: WordGraph, after_item: int) -> None:
    """Counting one by one: any number may follow any other, the next one cheaply."""
    said = {number: graph.new_state() for number in range(1, LONGEST_SEQUENCE + 1)}
    anywhere = graph.new_state()
    for number in said:
        words = spoken_number(number)
        graph.phrase(anywhere, said[number], words, 0.5 + 0.04 * number)
        if number > 1:
            graph.phrase(said[number - 1], said[number], words, NEXT_NUMBER)
        graph.arc(said[number], HUB, None, END_OF_SEQUENCE)
        graph.arc(said[number], anywhere, None, OTHER_NUMBER)
    graph.arc(after_item, said[1], "one", FIRST_NUMBER)
    graph.arc(after_item, anywhere, None, 2.0)
    graph.arc(SPEECH, anywhere, None, NUMBER_ENTRY)


def _items(graph: WordGraph, kit: Kit, source: int, target: int, cost: float) -> None:
    for item in kit.items:
        for form in item.spoken:
            graph.phrase(source, target, form, cost)


def _decimals(graph: WordGraph, cost: float) -> None:
    """``point two five``, ``zero point five``, ``one point five``, then a unit or the hub."""
    after_point, more = graph.new_state(), graph.new_state()
    graph.arc(SPEECH, after_point, "point", cost)
    whole = graph.new_state()
    for word in (*DIGITS[:10], *TEENS):
        graph.arc(SPEECH, whole, word, cost + 1.5)
    graph.arc(whole, after_point, "point", 0.5)
    for word in DIGITS:
        graph.arc(after_point, more, word, 0.5)
        graph.arc(more, HUB, word, 1.0)
    graph.arc(more, HUB, None, 0.5)


def _volumes(graph: WordGraph, kit: Kit) -> None:
    """``ten milliliters of lidocaine``, the name being optional."""
    amount, unit = graph.new_state(), graph.new_state()
    _numbers_to_199(graph, SPEECH, amount, PHRASE_ENTRY)
    for word in ("milliliters", "milliliter", "cc", "mils", "percent"):
        graph.arc(amount, unit, word, 1.0)
    graph.arc(unit, HUB, None, 0.7)
    named = graph.new_state()
    graph.arc(unit, named, "of", 0.7)
    graph.arc(unit, named, None, 0.7)
    for medication in kit.medications:
        for form in medication.spoken:
            graph.phrase(named, HUB, form, 1.0)


def _dates_and_lots(graph: WordGraph, cost: float) -> None:
    year, century, tens = graph.new_state(), graph.new_state(), graph.new_state()
    for month in MONTHS:
        graph.arc(SPEECH, year, month, cost + 1.0)
    graph.arc(year, century, "twenty", 0.5)
    graph.phrase(year, century, "two thousand", 1.5)
    graph.phrase(year, century, "two thousand and", 2.0)
    for word in ("twenty", "thirty", "forty"):
        graph.arc(century, tens, word, 0.7)
    graph.arc(tens, HUB, None, 0.5)
    for word in UNITS:
        graph.arc(tens, HUB, word, 0.5)
    lot = graph.new_state()
    graph.arc(SPEECH, lot, "lot", cost)
    spelled = [*"abcdefghijklmnopqrstuvwxyz", *DIGITS]
    for word in spelled:
        graph.arc(lot, lot, word, 2.0)
    graph.arc(lot, HUB, None, 0.5)


def _new_graph() -> WordGraph:
    graph = WordGraph(talk_phone=TALK_PHONE, states=2, final=SPEECH)
    graph.arc(HUB, SPEECH, None, 0.0)
    graph.arc(HUB, SPEECH, TALK, TALK_ENTRY)
    return graph


def counting_graph(kit: Kit) -> WordGraph:
    """The graph that knows how a count is called."""
    graph = _new_graph()
    after_item, before_item = graph.new_state(), graph.new_state()
    _items(graph, kit, SPEECH, after_item, ITEM_ENTRY)
    graph.arc(after_item, HUB, None, 1.5)
    _sequences(graph, after_item)
    total = graph.new_state()
    _numbers_to_199(graph, after_item, HUB, TOTAL)
    _numbers_to_199(graph, SPEECH, total, NUMBER_ENTRY)
    graph.arc(total, HUB, None, 1.0)
    graph.arc(total, before_item, None, 0.7)
    graph.arc(total, before_item, "more", 1.5)
    graph.arc(total, before_item, "of", 2.5)
    _items(graph, kit, before_item, HUB, 1.5)
    for cue in CUES:
        graph.phrase(SPEECH, HUB, cue, PHRASE_ENTRY)
    no_then = graph.new_state()
    graph.phrase(SPEECH, no_then, "no", PHRASE_ENTRY)
    _numbers_to_199(graph, no_then, HUB, 0.5)
    if kit.medications:
        for medication in kit.medications:
            for form in medication.spoken:
                graph.phrase(SPEECH, HUB, form, PHRASE_ENTRY)
        for cue in MEDICATION_CUES:
            graph.phrase(SPEECH, HUB, cue, PHRASE_ENTRY)
        _volumes(graph, kit)
        _decimals(graph, PHRASE_ENTRY)
        _dates_and_lots(graph, PHRASE_ENTRY)
    return graph


def open_graph(kit: Kit) -> WordGraph:
    """The same items, numbers and phrases in any order, each at one price."""
    graph = _new_graph()
    _items(graph, kit, SPEECH, HUB, OPEN_WORD)
    for word in ("zero", *UNITS, *TEENS, *TENS, "hundred", "and", "point"):
        graph.arc(SPEECH, HUB, word, OPEN_WORD)
    phrases = set(CUES)
    if kit.medications:
        phrases |= {*MEDICATION_CUES, *MONTHS, "of", "oh", "thousand"}
        phrases |= {form for medication in kit.medications for form in medication.spoken}
    for phrase in sorted(phrases):
        graph.phrase(SPEECH, HUB, phrase, OPEN_WORD)
    return graph


def vocabulary(kit: Kit) -> tuple[str, ...]:
    """Every word of the counting graph, sorted."""
    graph = counting_graph(kit)
    return tuple(sorted({word for _, _, word, _ in graph.arcs if word and word != TALK}))
