"""Lines of counting and of talk whose truth is known, in wordings kept out of training.

Every line is drawn from a seed, so the same number gives the same line. Wording is common practice
in United States operating rooms, no source.
"""

import hashlib
import random
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tests.benchmarks.spelled import number_words

from countersign.kit import Item, Kit

Event = dict[str, Any]

HELD_OUT_BELOW = 32
SHORTEST_HELD_OUT = 3
"""Texts of fewer words are too few to be kept out of training."""


@dataclass(frozen=True)
class Line:
    """One line: ``parts`` are its utterances, ``events`` what must come out of them.

    In a part a comma only guides the synthesiser and ``~0.5`` is a pause of half a second.
    """

    kind: str
    parts: tuple[str, ...]
    events: tuple[Event, ...] = ()


def plain(part: str) -> str:
    """The words of a part, lower case, joined by single spaces."""
    return " ".join(re.sub(r"~[0-9.]+|,", " ", part.lower()).split())


def held_out_text(text: str) -> bool:
    """Whether training skips this text: the first byte of the SHA-256 of its words is below 32.

    The rule of ``models/recipe/texts.py``, where a hyphen parts words too.
    """
    words = re.sub(r"[^a-z' ]+", " ", plain(text)).split()
    return hashlib.sha256(" ".join(words).encode()).digest()[0] < HELD_OUT_BELOW


def is_kept_out(part: str) -> bool:
    """Whether an utterance is held out or too short to be."""
    return len(plain(part).split()) < SHORTEST_HELD_OUT or held_out_text(part)


def is_held_out(line: Line) -> bool:
    """Whether every utterance of the line is held out or too short to be."""
    return all(map(is_kept_out, line.parts))


def words(value: int) -> str:
    """A number as it is said in a count."""
    return " ".join(number_words(value))


def _plurals(item: Item) -> list[str]:
    return [form for form in item.spoken if form.endswith("s")] or list(item.spoken)


def _singulars(item: Item) -> list[str]:
    alone = [form for form in item.spoken if not form.endswith("s")]
    return alone or list(item.spoken)


class Drawing:
    """Draws lines about one kit from one seed."""

    def __init__(self, kit: Kit, seed: int) -> None:
        """The same kit and seed give the same lines."""
        self.kit = kit
        self.rng = random.Random(seed)

    def line(self, kind: str) -> Line:
        """A line of ``kind``, one of :data:`KINDS`."""
        return KINDS[kind][1](self)

    def item(self) -> Item:
        """Any item; sponges and sharps, which are counted most often, come twice as often."""
        often = [i for i in self.kit.items if i.group in ("sponges", "sharps")]
        return self.rng.choice([*self.kit.items, *often])

    def number(self, item: Item) -> int:
        """A plausible number of an item, mostly small; a kit's largest is not passed."""
        draw = self.rng.random()
        if draw < 0.65:
            value = self.rng.randint(1, 12)
        elif draw < 0.85:
            value = self.rng.choice([13, 14, 15, 16, 17, 18, 19, 20, 30, 40, 50, 60])
        else:
            value = self.rng.randint(13, 60)
        while value > item.most:
            value = self.rng.randint(1, item.most)
        return value

    def named(self, item: Item, count: int) -> str:
        """A spoken form of the item that agrees with ``count``."""
        return self.rng.choice(_singulars(item) if count == 1 else _plurals(item))

    def numbers_to(self, last: int) -> str:
        """One to ``last``: with commas, run together, or with pauses in between."""
        spoken = [words(value) for value in range(1, last + 1)]
        style = self.rng.random()
        if style < 0.12:
            return " ".join(spoken)
        if style < 0.75 or last > 12:
            return ", ".join(spoken)
        pace = self.rng.choice((0.25, 0.4, 0.6))
        return f" ~{pace} ".join(spoken)


def _counted(item: Item, quantity: int, kind: str = "count") -> Event:
    return {"kind": kind, "item": item.id, "quantity": quantity}


def _sequence_of(draw: Drawing, first: int, last: int) -> Line:
    rng = draw.rng
    choices = [item for item in draw.kit.items if item.most >= first]
    item = rng.choice(choices)
    count = rng.randint(first, min(last, item.most))
    form, numbers = rng.choice(item.spoken), draw.numbers_to(count)
    style = rng.random()
    if style < 0.5:
        text = f"{form}, {numbers}"
    elif style < 0.6:
        text = f"{form} ~0.4 {numbers}"
    elif style < 0.8:
        text = f"{form}, {numbers}, {rng.choice(_TOTALS)} {words(count)}"
    elif style < 0.9:
        text = f"{rng.choice(_LEADS)} {form}, {numbers}"
    else:
        text = f"{numbers} {draw.named(item, count)}"
    return Line("sequence", (text,), (_counted(item, count),))


_TOTALS = ("total", "that's", "that makes", "for a total of")
_LEADS = ("okay", "now the", "next", "and the", "we have", "here are the")


def _short_sequence(draw: Drawing) -> Line:
    return _sequence_of(draw, 2, 10)


def _to_twenty(draw: Drawing) -> Line:
    line = _sequence_of(draw, 11, 20)
    return Line("sequence to twenty", line.parts, line.events)


def _beyond_twenty(draw: Drawing) -> Line:
    line = _sequence_of(draw, 21, 30)
    return Line("sequence beyond twenty", line.parts, line.events)


def _total(draw: Drawing) -> Line:
    item = draw.item()
    count = draw.number(item)
    form = draw.named(item, count)
    lead = draw.rng.choice(("", "", "", "", "okay ", "and ", "i have "))
    between = draw.rng.choice((" ", " ", ", ", " total "))
    return Line("total", (f"{lead}{form}{between}{words(count)}",), (_counted(item, count),))


def _number_first(draw: Drawing) -> Line:
    item = draw.item()
    count = draw.number(item)
    lead = draw.rng.choice(("", "", "", "there are ", "i have ", "we have ", "and "))
    text = f"{lead}{words(count)} {draw.named(item, count)}"
    return Line("number first", (text,), (_counted(item, count),))


def _two_totals(draw: Drawing) -> Line:
    first, second = draw.rng.sample(draw.kit.items, 2)
    counts = draw.number(first), draw.number(second)
    said = [f"{draw.named(i, n)} {words(n)}" for i, n in zip((first, second), counts, strict=True)]
    events = [_counted(i, n) for i, n in zip((first, second), counts, strict=True)]
    return Line("two totals", (f"{said[0]}, {said[1]}",), tuple(events))


def _packs(draw: Drawing) -> tuple[str, Item, int]:
    item = draw.rng.choice([item for item in draw.kit.items if item.pack])
    assert item.pack
    most = max(1, min(6, item.most // item.pack))
    count = draw.rng.choice((1, 1, 2, 3, draw.rng.randint(1, most)))
    count = min(count, most)
    form = draw.rng.choice(_plurals(item))
    if count == 1:
        how = draw.rng.choice(("a pack of", "one pack of", "one box of", "a box of"))
    else:
        how = f"{words(count)} {draw.rng.choice(('packs of', 'packs of', 'boxes of'))}"
    return f"{how} {form}", item, count * item.pack


def _pack(draw: Drawing) -> Line:
    text, item, count = _packs(draw)
    lead = draw.rng.choice(("", "", "i have ", "there is ", "we have "))
    return Line("pack", (lead + text,), (_counted(item, count),))


def _addition(draw: Drawing) -> Line:
    rng = draw.rng
    if rng.random() < 0.3:
        text, item, count = _packs(draw)
        said = f"{rng.choice(('adding', 'opening', 'add'))} {text}"
    else:
        item = draw.item()
        count = draw.number(item)
        form, number = draw.named(item, count), words(count)
        said = rng.choice(
            (
                f"adding {number} {form}",
                f"add {number} {form}",
                f"adding {number} more {form}",
                f"{number} more {form}",
                f"{number} {form} added",
                f"{number} {form} to the field",
                f"added {number} {form}",
                f"opening {number} {form}",
            )
        )
    return Line("addition", (said,), (_counted(item, count, "addition"),))


def _removal(draw: Drawing) -> Line:
    item = draw.item()
    count = min(draw.number(item), 20)
    form, number = draw.named(item, count), words(count)
    said = draw.rng.choice(
        (
            f"passing off {number} {form}",
            f"{number} {form} passed off",
            f"handing off {number} {form}",
            f"{number} {form} off the field",
            f"bagging {number} {form}",
            f"{number} {form} bagged",
            f"{number} {form} handed off",
            f"passed off {number} {form}",
        )
    )
    return Line("removal", (said,), (_counted(item, count, "removal"),))


def _correction(draw: Drawing) -> Line:
    rng = draw.rng
    item = draw.item()
    wrong, right = draw.number(item), draw.number(item)
    while wrong == right:
        wrong, right = rng.randint(1, item.most), rng.randint(1, item.most)
    first, second = draw.named(item, wrong), draw.named(item, right)
    before = rng.choice((f"{words(wrong)} {first}", f"{first} {words(wrong)}"))
    style = rng.randrange(5)
    if style == 4:
        kept = rng.choice((f"{words(right)} {second}", f"{second} {words(right)}"))
        struck = {"kind": "correction", "item": None, "quantity": None}
        parts = (before, rng.choice(("strike that", "scratch that", "cancel that")), kept)
        return Line("correction", parts, (_counted(item, wrong), struck, _counted(item, right)))
    after = (
        f"correction, {words(right)} {second}",
        f"i mean {second} {words(right)}",
        f"make that {words(right)} {second}",
        f"correction, {second} {words(right)}",
    )[style]
    events = (_counted(item, wrong), _counted(item, right, "correction"))
    if style == 1 and rng.random() < 0.5:
        return Line("correction", (f"{before}, {after}",), events)
    return Line("correction", (before, after), events)


_PHASES = {
    "initial": ("initial count", "first count", "initial sponge count", "initial sharps count"),
    "relief": ("relief count", "scrub relief", "relieving the scrub", "circulator relief"),
    "closing_cavity": (
        "closing the peritoneum", "cavity count", "closing the cavity", "cavity sponge count",
    ),
    "closing": (
        "closing count", "first closing count", "closing the fascia", "closing needle count",
    ),
    "final": ("final count", "skin count", "closing the skin", "final sponge count"),
}  # fmt: skip


def _phase(draw: Drawing) -> Line:
    phase = draw.rng.choice(list(_PHASES))
    said = draw.rng.choice(_PHASES[phase])
    event = {"kind": "phase", "phase": phase}
    style = draw.rng.random()
    if style < 0.3:
        return Line("phase", (said,), (event,))
    item = draw.item()
    count = draw.number(item)
    form = draw.named(item, count)
    counted = draw.rng.choice((f"{form} {words(count)}", f"{words(count)} {form}"))
    parts = (f"{said}, {counted}",) if style < 0.7 else (said, counted)
    return Line("phase", parts, (event, _counted(item, count)))


_VERDICTS = {
    "correct": (
        "count is correct", "counts are correct", "the count is correct", "{} count is correct",
        "{} counts are correct", "all counts correct",
    ),
    "not_correct": (
        "count is not correct", "the count is not correct", "counts are not correct",
        "{} count is not correct", "{} count is incorrect", "the {} count is off",
        "we are missing one {}",
    ),
    "recount": ("recount", "recount the {}", "count the {} again", "count again"),
}  # fmt: skip


def _verdict(draw: Drawing) -> Line:
    rng = draw.rng
    verdict = rng.choice(list(_VERDICTS))
    said = rng.choice(_VERDICTS[verdict])
    if said == "we are missing one {}":
        said = said.format(rng.choice(("lap", "needle", "raytec", "blade")))
    elif verdict == "recount":
        said = said.format(rng.choice(("sponges", "sharps", "needles", "laps")))
    else:
        said = said.format(rng.choice(("sponge", "needle", "sharps", "instrument")))
    event = {"kind": "verdict", "verdict": verdict}
    if rng.random() < 0.4:
        return Line("verdict", (said,), (event,))
    item = draw.item()
    count = draw.number(item)
    return Line(
        "verdict",
        (f"{draw.named(item, count)} {words(count)}", said),
        (_counted(item, count), event),
    )


_STRENGTHS = {
    "lidocaine": (("one percent", "1"), ("two percent", "2")),
    "bupivacaine": (
        ("point two five percent", "0.25"), ("point five percent", "0.5"),
        ("half percent", "0.5"), ("zero point two five percent", "0.25"),
    ),
}  # fmt: skip
_ADDITIVES = (
    ("with epinephrine one to one hundred thousand", "100000"),
    ("with epinephrine one to two hundred thousand", "200000"),
    ("with epi one to one hundred thousand", "100000"),
    ("with epi one to two hundred thousand", "200000"),
)
_MONTHS = (
    ("january", 1, 31), ("february", 2, None), ("march", 3, 31), ("april", 4, 30), ("may", 5, 31),
    ("june", 6, 30), ("july", 7, 31), ("august", 8, 31), ("september", 9, 30),
    ("october", 10, 31), ("november", 11, 30), ("december", 12, 31),
)  # fmt: skip
_VOLUMES = (1, 2, 3, 5, 8, 10, 12, 15, 20, 25, 30, 40, 50)


def _strong(draw: Drawing) -> tuple[str, str, Event]:
    """A medication with its strength as said, its name, and the detail that must come out."""
    name = draw.rng.choice(list(_STRENGTHS))
    said, value = draw.rng.choice(_STRENGTHS[name])
    detail = {"name": name, "strength": {"value": value, "unit": "%"}}
    return f"{said} {name}", name, detail


def _expiry(draw: Drawing) -> tuple[str, str]:
    month, number, days = draw.rng.choice(_MONTHS)
    year = draw.rng.randint(2027, 2031)
    days = days or (29 if year % 4 == 0 else 28)
    said = draw.rng.choice(("expires", "expires", "expiration"))
    return f"{said} {month} twenty {words(year - 2000)}", f"{year}-{number:02d}-{days:02d}"


def _receipt(draw: Drawing) -> Line:
    rng = draw.rng
    style = rng.random()
    volume = rng.choice(_VOLUMES)
    unit = rng.choice(("milliliters", "milliliters", "cc", "mils")) if volume > 1 else "milliliter"
    if style < 0.2:
        drug, said = rng.choice(
            (("sodium_chloride", "normal saline"), ("sodium_chloride", "saline"),
             ("sterile_water", "sterile water"))
        )  # fmt: skip
        volume = rng.choice((100, 250, 500, 50, 30))
        expires, day = _expiry(draw)
        text = f"{said}, {words(volume)} milliliters, {expires}"
        detail: Event = {"name": drug, "volume_ml": str(volume), "expiry": day}
        return Line("receipt", (text,), ({"kind": "receipt", "item": drug, "medication": detail},))
    text, name, detail = _strong(draw)
    if name == "lidocaine" and style < 0.55:
        said, ratio = rng.choice(_ADDITIVES)
        text += f" {said}"
        detail |= {
            "additive": "epinephrine",
            "additive_strength": {"value": ratio, "unit": "ratio"},
        }
    text += f", {words(volume)} {unit}"
    detail["volume_ml"] = str(volume)
    if style < 0.8:
        expires, day = _expiry(draw)
        text += f", {expires}"
        detail["expiry"] = day
    return Line("receipt", (text,), ({"kind": "receipt", "item": name, "medication": detail},))


def _label(draw: Drawing) -> Line:
    container = draw.rng.choice(("cup", "basin", "syringe", "bowl"))
    if draw.rng.random() < 0.25:
        drug, said = draw.rng.choice(
            (("sodium_chloride", "normal saline"), ("sterile_water", "sterile water"))
        )
        detail: Event = {"name": drug}
    else:
        said, drug, detail = _strong(draw)
    text = draw.rng.choice(("label on the {c}, {m}", "label the {c}, {m}", "labeling the {c}, {m}"))
    detail["container"] = container
    event = {"kind": "label", "item": drug, "medication": detail}
    return Line("label", (text.format(c=container, m=said),), (event,))


def _draw_up(draw: Drawing) -> Line:
    drug, said = draw.rng.choice(
        (("lidocaine", "lidocaine"), ("bupivacaine", "bupivacaine"), ("sodium_chloride", "saline"))
    )
    volume = draw.rng.choice(_VOLUMES)
    unit = "milliliter" if volume == 1 else draw.rng.choice(("milliliters", "cc", "mils"))
    verb = draw.rng.choice(("drawing up", "draw up", "drawing"))
    of = draw.rng.choice((" of", " of", ""))
    event = {"kind": "draw", "item": drug, "quantity": volume, "unit": "mL"}
    return Line("draw", (f"{verb} {words(volume)} {unit}{of} {said}",), (event,))


def _set_up(draw: Drawing) -> Line:
    item = draw.item()
    place, said = draw.rng.choice(
        (("mayo_stand", "on the mayo stand"), ("back_table", "on the back table"))
    )
    text = f"{draw.rng.choice(_plurals(item))} {said}"
    return Line("set-up", (text,), ({"kind": "set_up", "item": item.id, "place": place},))


_PEOPLE = (
    "the surgeon", "anesthesia", "the resident", "our new nurse", "the family", "the next patient",
    "somebody", "the front desk", "recovery", "her husband", "my neighbor", "the student",
)  # fmt: skip
_DID = (
    "called about the schedule", "wants the lamp a little lower", "went to get some coffee",
    "said it would rain all week", "asked for the other radio station", "is on the way up now",
    "forgot the paperwork again", "moved to another building", "needs a bigger stool",
    "cannot find the remote", "likes working with this team", "left early because of the traffic",
    "is still waiting in the hall", "talked to the pharmacy this morning",
)  # fmt: skip
_WHEN = (
    "today", "this morning", "before lunch", "a while ago", "again", "right now", "last night",
    "after the meeting", "on the phone", "at the desk", "over the weekend", "without asking",
)  # fmt: skip
_PLEASE = (
    "could you", "please", "would somebody", "can we", "i think you should", "when you can please",
)  # fmt: skip
_DO = (
    "raise the table", "lower the lights", "turn the music down", "irrigate here",
    "hold that steady",
    "tilt the bed toward me", "wipe the lens", "check the monitor", "open the door",
    "call the desk back", "warm the fluids", "give me more exposure", "suction over there",
    "cut the stitch a bit longer", "move the cord out of the way", "adjust the lamp",
)  # fmt: skip


def _talk(draw: Drawing) -> Line:
    rng = draw.rng
    style = rng.randrange(3)
    if style == 0:
        text = f"{rng.choice(_PEOPLE)} {rng.choice(_DID)} {rng.choice(_WHEN)}"
    elif style == 1:
        text = f"{rng.choice(_PLEASE)} {rng.choice(_DO)} {rng.choice(_WHEN)}"
    else:
        text = f"{rng.choice(_PLEASE)} {rng.choice(_DO)} and {rng.choice(_DO)}"
    return Line("talk", (text,))


def _talk_with_numbers(draw: Drawing) -> Line:
    rng = draw.rng
    n, m = rng.randint(2, 60), rng.randint(2, 90)
    digits = " ".join(words(rng.randint(1, 9)) for _ in range(4))
    text = rng.choice(
        (
            f"room {words(n)} is running {words(m)} minutes behind",
            f"pressure is one {words(rng.randint(10, 60))} over {words(rng.randint(50, 95))}",
            f"heart rate is {words(rng.randint(50, 120))} and steady",
            f"the patient is {words(rng.randint(20, 90))} years old",
            f"extension {digits} is the pharmacy",
            f"we did {words(n)} of these last month",
            f"my shift ends at {words(rng.randint(2, 11))} thirty",
            f"it is {words(n)} degrees outside today",
            f"his last visit was {words(n)} years ago",
            f"saturation is {words(rng.randint(88, 99))} percent",
            f"{rng.choice(_PEOPLE)} will be back in {words(n)} minutes",
            f"gloves size {words(rng.randint(6, 8))} and a half please",
        )
    )
    return Line("talk with numbers", (text,))


def _mention(draw: Drawing) -> Line:
    rng = draw.rng
    item = draw.item()
    one, many = rng.choice(_singulars(item)), rng.choice(_plurals(item))
    text = rng.choice(
        (
            f"can i have the {one} please",
            f"i do not like this {one} very much",
            f"where did the {one} go",
            f"do we still need the {many} for this",
            f"that {one} is not working well",
            f"please keep the {many} over there",
            f"the {many} came from the other tray",
            f"did you order more {many} for next week",
        )
    )
    return Line("talk about an item", (text,))


KINDS: dict[str, tuple[float, Callable[[Drawing], Line]]] = {
    "sequence": (24, _short_sequence),
    "sequence to twenty": (7, _to_twenty),
    "sequence beyond twenty": (1, _beyond_twenty),
    "total": (9, _total),
    "number first": (9, _number_first),
    "two totals": (4, _two_totals),
    "pack": (5, _pack),
    "addition": (8, _addition),
    "removal": (7, _removal),
    "correction": (4, _correction),
    "phase": (3, _phase),
    "verdict": (3, _verdict),
    "receipt": (4, _receipt),
    "label": (2, _label),
    "draw": (3, _draw_up),
    "set-up": (2, _set_up),
    "talk": (3, _talk),
    "talk with numbers": (2, _talk_with_numbers),
    "talk about an item": (2, _mention),
}
"""Kind of line -> its weight and how one is drawn."""

TALK_KINDS = ("talk", "talk with numbers", "talk about an item")
SEQUENCES = ("sequence", "sequence to twenty", "sequence beyond twenty")


def draw_held_out(kit: Kit, kind: str, seed: int, used: set[tuple[str, ...]]) -> Line | None:
    """A held-out line of ``kind`` that is not among ``used``, ``None`` if none was found."""
    drawing = Drawing(kit, seed)
    for _ in range(600):
        line = drawing.line(kind)
        if is_held_out(line) and tuple(map(plain, line.parts)) not in used:
            return line
    return None
