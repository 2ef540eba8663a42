"""The grammar of counting, compiled from a kit into graphs of words.

Two graphs are made. The *counting* graph knows the order of a count: after an item a sequence from
one or a total is likely, after seven comes eight, other orders are possible but dear, so that a
skipped or repeated number can still be heard. The *open* graph knows the same words in any order at
one price; a second decoding with it says whether the counting order was heard or only assumed.
Both have a loop of phones beside them, so that other talk is heard as talk.

The costs are in ``tuning.py``.
"""

from countersign.hearing.graph import WordGraph
from countersign.hearing.number_words import DIGITS, TEENS, TENS, UNITS, spoken_number
from countersign.hearing.tuning import (
    END_OF_SEQUENCE,
    FIRST_NUMBER,
    ITEM_ENTRY,
    LEAD_ENTRY,
    NEXT_NUMBER,
    NUMBER_ENTRY,
    OPEN_WORD,
    OTHER_NUMBER,
    PHRASE_ENTRY,
    TALK_ENTRY,
    TALK_PHONE,
    TOTAL,
)
from countersign.hearing.utterance import TALK
from countersign.kit.model import Kit
from countersign.kit.pronounce import readings_of

TRADE_WORDS: dict[str, tuple[str, ...]] = {
    "milliliter": ("M IH L AH L IY T ER",),
    "milliliters": ("M IH L AH L IY T ER Z",),
    "microgram": ("M AY K R OW G R AE M",),
    "micrograms": ("M AY K R OW G R AE M Z",),
    "circulator": ("S ER K Y AH L EY T ER",),
    "peritoneum": ("P EH R AH T AH N IY AH M", "P EH R IH T OW N IY AH M"),
    "peritoneal": ("P EH R AH T AH N IY AH L", "P EH R IH T OW N IY AH L"),
    "fascia": ("F AE SH AH", "F EY SH AH"),
    "wound": ("W UW N D",),
    "milliequivalents": ("M IH L IY IH K W IH V AH L AH N T S",),
    "cc": ("S IY S IY",),
    "mils": ("M IH L Z",),
    "draw": ("D R AO", "D R AA", "D R OW"),
    "drawing": ("D R AO IH NG", "D R AA IH NG", "D R OW IH NG"),
    "drawn": ("D R AO N", "D R AA N", "D R OW N"),
    "expiry": ("EH K S P AY R IY", "EH K S P AY ER IY", "IH K S P AY R IY"),
    "bagged": ("B AE G D", "B AE G T", "B AE G"),
    "bagging": ("B AE G IH NG", "B AE D IH NG"),
    "counts": ("K AW N T S", "K AW N S"),
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

CUES: tuple[str, ...] = _phrases(
    """i have,we have,there are,there is,here are,adding,add,added,opening,opened,more,another,plus
to the field,on the field
passing off,passed off,pass off,handing off,handed off,off the field,bagging,bagged,removed
in the bag,a bag of,bag of,bags of,in the wound,packed,packing,out of the wound,from the wound
removed from the wound,taken out of the wound,taken from the wound,in the belly,out of the belly
in the kick bucket,in the sponge bag,on the floor,off the floor,from the floor
broken,broke,broken in two,broken in two pieces,broken in three pieces,cut in two,cut in half
in two pieces,in three pieces,in four pieces,in five pieces,two pieces,three pieces,four pieces
pack of,a pack of,packs of,box of,a box of,boxes of,a pair of
that's,that is,that makes,makes,for a total of,total,in all
strike that,scratch that,cancel that,cancel the last,cancel the last one,correction,i mean
take that back,change that to,that was wrong,that's wrong,should be,cancel the
can we do a count,can we get a count,can we count,count please,sponge count please,interim count
let's do a count,let's count the
make that,no make that,initial count,first count,closing count,second count,cavity count
baseline count,count with me,another count,closing the peritoneum,closing the bladder
closing the uterus,closing the cavity,closing the fascia,closing the skin,skin count
final count,final sponge count,final sharps count,final instrument count,first closing count
second closing count,relief count,scrub relief,circulator relief,permanent relief
relieving the scrub,relieving the circulator
sponges,sharps,small items,instruments,count is correct,counts are correct,count correct
counts correct,the count is correct,the counts are correct,all counts correct
sponge count,sharps count,needle count,instrument count,sponge count is correct
sharps count is correct,needle count is correct,instrument count is correct
final count is correct,closing count is correct
final sponge count is correct,final sharps count is correct,sharps are correct,sponges are correct
count is not correct,count is incorrect,count incorrect,counts are not correct
the count is not correct,the count is off,we are missing one,missing one,missing
recount,recount the,count again,start over,from the top,again,on the mayo stand,on the mayo
on the back table,note that,for the record,remark
never mind,forget that,lost count,i lost count,lost my place,i lost my place,say again
my relief is here,relieving you,i'm relieving you,i am relieving you,taking over as scrub
taking over as circulator,taking over,we're closing,we are closing,ready to close
starting to close,on skin,doesn't match,does not match,one too many,one short
everything is accounted for,all accounted for,accounted for,the count is complete
tip up,tip down,tips up,tips down,handle toward the back,handles toward the back
handing you,packing is out,packing out,found the,found a,dropped,change the,make the,no it's not
broke in two pieces,broke in three pieces,cut in two pieces,came apart,all together
broken in four pieces,broken in five pieces,broke in four pieces,cut in three pieces
cut in four pieces
in total,all told,taking,found it,was found,turned up,set that pack aside,set that aside
surgeon is closing,about to close,are correct,are not correct,is everything accounted for"""
)
"""Fixed phrases of the trade that carry a count along (common practice, no source)."""

COUNT_NAMES: tuple[str, ...] = _phrases(
    """initial,first,baseline,cavity,closing,first closing,second closing,closing cavity
second,final,final closing,skin,relief"""
)
COUNT_GROUPS: tuple[str, ...] = _phrases(
    "sponge,sharps,needle,small item,small items,instrument,soft goods"
)
VERDICTS: tuple[str, ...] = _phrases(
    """correct,is correct,are correct,not correct,is not correct,are not correct,incorrect
is incorrect,is off,is complete"""
)
"""A count is called, and its outcome told, by its name and by what is counted: "first closing
sponge count", "the final needle count is correct" (common practice, no source)."""

AMENDING: tuple[str, ...] = _phrases("i mean,make that,correction,change that to,should be")
"""Phrases that a number follows at once, besides "no" and "sorry"."""

LEADS: tuple[str, ...] = ("okay", "all right", "now", "next", "and", "then", "so", "here are")
"""Words that lead a count in, with or without "the" (common practice, no source). Heard as what
they are, they cast no doubt on what follows, as talk of unknown content does."""

MEDICATION_CUES: tuple[str, ...] = _phrases(
    """percent,half percent,a half percent,half a percent,quarter percent,a quarter percent
one and a half percent,milligrams,milligrams per milliliter,micrograms
micrograms per milliliter,grams,units,units per milliliter,milliliters,milliliter,cc,plain
with epinephrine,with epi,one to one hundred thousand,one to two hundred thousand
one to one thousand,one in one hundred thousand,one in two hundred thousand
one in one thousand,expires,expiration,expiry,expiration date,expires at,expires today,hundred hours
p m,a m,lot number,label,labeled,labeling,labels,label on the cup,label on the syringe
label on the basin,label on the bowl,label on the pitcher,cup,cup label,syringe label,basin label
bowl label,pitcher label,medicine cup,basin,bowl,pitcher,syringe,from the cup,from the basin
from the bowl,from the pitcher,into a syringe,into the syringe
drawing up,draw up,drawing,drawn up,receiving,received,received by the scrub
received from the circulator,by the scrub,from the circulator,from the scrub,to the scrub
from anesthesia,from pharmacy,from the pharmacy,diluted with,diluted in,diluted to,mixed with
mixed in,without epinephrine,per milliliter,milligram,gram,milliequivalents
milliequivalents per milliliter,liter,liters,m l,read back,reading back,label read back
confirming,verifying,i mean,correction,make that,good until,good through,use by
no expiration date,no expiry,no date"""
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
    for form in _part_forms(kit):
        graph.phrase(source, target, form, cost)


def _part_forms(kit: Kit) -> list[str]:
    """The parts of items as they are called, one and several."""
    taken = {form for item in kit.items for form in item.spoken}
    parts = dict.fromkeys(part for item in kit.items for part in item.parts)
    forms = (form for part in parts for form in (part.lower(), f"{part.lower()}s"))
    own = {**TRADE_WORDS, **kit.pronunciations}
    return [form for form in forms if form not in taken and readings_of(form, own)]


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


def _numbers_to_999(graph: WordGraph, source: int, target: int, cost: float) -> None:
    """Every cardinal from one to 999 between two states; larger ones are dearer."""
    _numbers_to_199(graph, source, target, cost)
    hundreds, hundred_done = graph.new_state(), graph.new_state()
    for word in UNITS[1:]:
        graph.arc(source, hundreds, word, cost + 2.0)
    graph.arc(hundreds, hundred_done, "hundred", 0.0)
    graph.arc(hundred_done, target, None, 0.7)
    _numbers_to_99(graph, hundred_done, target, 1.2)


def _volumes(graph: WordGraph, kit: Kit) -> None:
    """``ten milliliters of lidocaine``, the name being optional; also as a diluent."""
    amount, unit, mixed = graph.new_state(), graph.new_state(), graph.new_state()
    _numbers_to_999(graph, SPEECH, amount, PHRASE_ENTRY)
    for joint in ("in", "with", "diluted with", "diluted in", "diluted to", "mixed with"):
        graph.phrase(SPEECH, mixed, joint, PHRASE_ENTRY)
    _numbers_to_999(graph, mixed, amount, 0.5)
    for word in ("milliliters", "milliliter", "cc", "mils", "percent", "grams"):
        graph.arc(amount, unit, word, 1.0)
    graph.phrase(amount, unit, "m l", 1.5)
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
    _times(graph, cost)
    lot = graph.new_state()
    graph.arc(SPEECH, lot, "lot", cost)
    spelled = [*"abcdefghijklmnopqrstuvwxyz", *DIGITS]
    for word in spelled:
        graph.arc(lot, lot, word, 2.0)
    graph.arc(lot, HUB, None, 0.5)


def _times(graph: WordGraph, cost: float) -> None:
    """After ``expires``: ``at fourteen hundred``, ``at two thirty p m``, ``oh three`` (a month).

    Short words like these are heard nowhere else, so that they cannot be heard into a count.
    """
    expires, at = graph.new_state(), graph.new_state()
    hour, half = graph.new_state(), graph.new_state()
    for phrase in ("expires", "expiration", "expiry", "expiration date"):
        graph.phrase(SPEECH, expires, phrase, cost)
    graph.arc(expires, at, "at", 0.5)
    zero = graph.new_state()
    graph.arc(at, zero, "oh", 0.7)
    for word in UNITS:
        graph.arc(zero, hour, word, 0.7)
    _numbers_to_99(graph, at, hour, 0.5)
    graph.arc(hour, HUB, "hundred", 0.5)
    graph.arc(hour, half, None, 0.7)
    _numbers_to_99(graph, hour, half, 0.7)
    graph.arc(half, HUB, None, 1.0)
    for phrase in ("p m", "a m"):
        graph.phrase(half, HUB, phrase, 0.3)
    month = graph.new_state()
    graph.arc(expires, month, "oh", 0.7)
    for word in UNITS:
        graph.arc(month, HUB, word, 0.7)


def _count_names(graph: WordGraph) -> None:
    """``the first closing sponge count``, with or without a verdict, ``initial count sponges``."""
    begun, called = graph.new_state(), graph.new_state()
    grouped, told = graph.new_state(), graph.new_state()
    graph.arc(SPEECH, begun, None, PHRASE_ENTRY)
    graph.arc(SPEECH, begun, "the", PHRASE_ENTRY + 1.0)
    for name in COUNT_NAMES:
        graph.phrase(begun, called, name, 0.0)
    graph.arc(begun, called, None, 0.0)
    for group in COUNT_GROUPS:
        graph.phrase(called, grouped, group, 1.0)
    for count in ("count", "counts"):
        graph.arc(grouped, told, count, 0.5)
    graph.arc(told, HUB, None, 0.5)
    for verdict in VERDICTS:
        graph.phrase(told, HUB, verdict, 0.7)
    named = graph.new_state()
    for count in ("count", "counts"):
        graph.arc(called, named, count, 0.7)
    for group in (*COUNT_GROUPS, "sponges", "instruments"):
        graph.phrase(named, HUB, group, 0.7)


def _nothing(graph: WordGraph, after_item: int, before_item: int) -> None:
    """``zero needles``, ``needles none``: rare, and dearer than a number."""
    for word in ("zero", "none"):
        graph.arc(after_item, HUB, word, TOTAL + OTHER_NUMBER / 2)
    graph.arc(SPEECH, before_item, "zero", NUMBER_ENTRY + OTHER_NUMBER / 2)


def _leads(graph: WordGraph) -> None:
    led = graph.new_state()
    for lead in LEADS:
        graph.phrase(SPEECH, led, lead, LEAD_ENTRY)
    graph.arc(led, HUB, None, 0.5)
    graph.arc(led, HUB, "the", 1.0)


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
    _count_names(graph)
    _leads(graph)
    _nothing(graph, after_item, total)
    no_then = graph.new_state()
    for phrase in ("no", "sorry", *AMENDING):
        graph.phrase(SPEECH, no_then, phrase, PHRASE_ENTRY)
    _numbers_to_199(graph, no_then, HUB, 0.5)
    # "Sorry, needles ten". Not so "no", which is too short a word to be found before every name.
    graph.phrase(SPEECH, HUB, "sorry", PHRASE_ENTRY)
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
    for word in ("zero", "none", *UNITS, *TEENS, *TENS, "hundred", "and", "point"):
        graph.arc(SPEECH, HUB, word, OPEN_WORD)
    phrases = {*CUES, *LEADS, "the", "sorry", *COUNT_NAMES, *COUNT_GROUPS, *VERDICTS}
    phrases |= {f"{group} {count}" for group in COUNT_GROUPS for count in ("count", "counts")}
    if kit.medications:
        phrases |= {*MEDICATION_CUES, *MONTHS, "of", "oh", "thousand", "at"}
        phrases |= {form for medication in kit.medications for form in medication.spoken}
    for phrase in sorted(phrases):
        graph.phrase(SPEECH, HUB, phrase, OPEN_WORD)
    return graph


def vocabulary(kit: Kit) -> tuple[str, ...]:
    """Every word of the counting graph, sorted."""
    graph = counting_graph(kit)
    return tuple(sorted({word for _, _, word, _ in graph.arcs if word and word != TALK}))
