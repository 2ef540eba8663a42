"""How people say what they do: one act, one or more utterances.

Switch is common practice in United States operating rooms, no source. Every utterance is of one
voice: ``scrub``, ``circulator``, ``relief``, ``surgeon`` or ``anesthesia``.
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from tests.benchmarks.spelled import number_words, year_words
from tests.cases import acts
from tests.cases.acts import Act, How
from tests.cases.talk import plain

from countersign.kit import Item, Kit


class Switch(StrEnum):
    """Kinds of phrase, and turns of a case, that can be left out of a case."""

    PLACES = "places"
    BAG_COUNT = "bag_count"
    PARTS = "parts"
    PARTS_CORRECTED = "parts_corrected"
    PACKED = "packed"
    BREAKAGE = "breakage"
    READ_BACK = "read_back"
    REQUESTED = "requested"
    NO_ALONE = "no_alone"
    TALK_IN_COUNT = "talk_in_count"
    MENTIONS = "mentions"
    NUMBERED_TALK = "numbered_talk"
    ADDITIVES = "additives"
    PACKED_AFTER_PLACES = "packed_after_places"
    TALK_AFTER_CORRECTION = "talk_after_correction"
    STRENGTH_FIRST = "strength_first"
    BARE_MORE = "bare_more"


@dataclass(frozen=True)
class Utterance:
    """One stretch of speech by one voice."""

    voice: str
    text: str


PLACE_WORDS = {
    "field": ("on the field",),
    "mayo_stand": ("on the mayo stand", "on the mayo"),
    "back_table": ("on the back table",),
}
PHASE_WORDS = {
    "initial": ("initial count", "first count", "baseline count"),
    "relief": ("relief count", "scrub relief", "relieving the scrub"),
    "closing_cavity": ("closing the peritoneum", "cavity count", "closing the cavity"),
    "closing": ("closing count", "first closing count", "closing the fascia"),
    "final": ("final count", "skin count", "closing the skin"),
    "requested": (
        "surgeon requests a count",
        "count requested by the surgeon",
        "the surgeon asked for a count",
    ),
}
GROUP_WORDS = {
    "sponges": "sponge",
    "sharps": "sharps",
    "small_items": "small item",
    "instruments": "instrument",
}
_GROUP_PHASES = {
    "initial": ("initial {} count", "initial count {}"),
    "closing_cavity": ("cavity {} count",),
    "closing": ("closing {} count", "first closing {} count"),
    "final": ("final {} count",),
}
CORRECTING = ("correction, {}", "i mean {}", "make that {}", "no, {}", "sorry, {}")
STRIKING = ("strike that", "cancel the last", "scratch that", "cancel that")


def words(value: int) -> str:
    """A number as it is said in a count."""
    return " ".join(number_words(value))


class Speaker:
    """Says acts of one kit, drawing the wording from ``rng``; ``on`` are the wordings allowed."""

    def __init__(self, kit: Kit, rng: random.Random, on: frozenset[Switch]) -> None:
        """The same kit and state of ``rng`` give the same words."""
        self.kit = kit
        self.rng = rng
        self.on = on

    def say(self, act: Act, voice: str) -> list[Utterance]:
        """The utterances of an act, by ``voice`` and whoever talks in between."""
        match act:
            case acts.Count() if act.how is How.SEQUENCE:
                return self._sequence(act, voice)
            case acts.Talk(text) | acts.Remark(text):
                return [Utterance(voice, text)]
            case _:
                return [Utterance(voice, self._one(act))]

    def one(self, item: str) -> str:
        """A singular of an item."""
        return self.rng.choice(_forms(self.kit.item(item), one=True))

    def named(self, item: str, quantity: int) -> str:
        """A spoken form that agrees with a number."""
        return self.rng.choice(_forms(self.kit.item(item), one=quantity == 1))

    def _one(self, act: Act) -> str:
        match act:
            case acts.Announce(phase, None):
                return self.rng.choice(PHASE_WORDS[phase])
            case acts.Announce(phase, group):
                return self.rng.choice(_GROUP_PHASES[phase]).format(GROUP_WORDS[group or ""])
            case acts.Count():
                return self._count(act)
            case acts.Add():
                return self._add(act)
            case acts.Remove():
                return self._remove(act)
            case acts.Pack(item, quantity):
                return self._of(
                    item, quantity, "packing {n} {f} in the wound", "{n} {f} in the wound",
                    "{n} {f} packed in the wound", "packed {n} {f}",
                )  # fmt: skip
            case acts.Unpack(item, quantity):
                return self._of(
                    item, quantity, "{n} {f} out of the wound",
                    "taking {n} {f} out of the wound", "{n} {f} removed from the wound",
                )  # fmt: skip
            case acts.Break(item, pieces):
                number = words(pieces)
                return self._of(
                    item, 1, f"broken {{f}}, {number} pieces", f"{{f}} broken in {number} pieces",
                    f"the {{f}} broke in {number} pieces",
                )  # fmt: skip
            case acts.Strike():
                return self.rng.choice(STRIKING)
            case acts.Amend(item, quantity):
                return self._amend(item, quantity)
            case acts.Recount(item):
                return f"recount the {self.named(item, 2)}"
            case acts.Say(verdict, group):
                return self._verdict(verdict, group)
            case acts.Receive() | acts.Label() | acts.Draw():
                return self._medication(act)
        raise TypeError(act)

    def _of(self, item: str, quantity: int, *patterns: str) -> str:
        form = self.named(item, quantity)
        return self.rng.choice(patterns).format(n=words(quantity), f=form)

    def _count(self, act: acts.Count) -> str:
        if act.part is not None:
            return self._part(act)
        if act.place == "off_field":
            return self._of(act.item, act.quantity, "in the bag, {f} {n}", "{f} in the bag {n}")
        if act.place is not None:
            place = self.rng.choice(PLACE_WORDS[act.place])
            return self._of(
                act.item, act.quantity, f"{place}, {{f}} {{n}}", f"{{n}} {{f}} {place}",
                f"{{f}} {place} {{n}}",
            )  # fmt: skip
        if act.how is How.PACK:
            return self._packs(act.item, act.quantity)
        return self._of(
            act.item, act.quantity, "{f} {n}", "{n} {f}", "{f}, {n}", "i have {n} {f}",
            "okay {f} {n}", "{f} total {n}", "and {n} {f}",
        )  # fmt: skip

    def _part(self, act: acts.Count) -> str:
        one = self.one(act.item)
        part = act.part if act.quantity == 1 else f"{act.part}s"
        return self.rng.choice((f"{one} {part} {words(act.quantity)}",
                                f"{words(act.quantity)} {one} {part}"))  # fmt: skip

    def _packs(self, item: str, quantity: int) -> str:
        size = self.kit.item(item).pack or 1
        form = self.rng.choice(_forms(self.kit.item(item), one=False))
        packs = quantity // size
        many = self.rng.choice(("a pack", "one pack")) if packs == 1 else f"{words(packs)} packs"
        return f"{many} of {words(size)} {form}"

    def _sequence(self, act: acts.Count, voice: str) -> list[Utterance]:
        form = self.rng.choice(_forms(self.kit.item(act.item), one=False))
        numbers = [words(value) for value in range(1, act.quantity + 1)]
        style = self.rng.random()
        if style < 0.5 or act.quantity < 4:
            tail = self.rng.choice(("", "", f" total {numbers[-1]}", f" that's {numbers[-1]}"))
            return [Utterance(voice, f"{form}, {', '.join(numbers)}{tail}")]
        cut = self.rng.randint(2, act.quantity - 1)
        first, second = ", ".join(numbers[:cut]), ", ".join(numbers[cut:])
        if style < 0.7:
            return [Utterance(voice, f"{form} {first}"), Utterance(voice, second)]
        if style < 0.85 or Switch.TALK_IN_COUNT not in self.on:
            again = self.rng.choice(("start over", "from the top"))
            return [
                Utterance(voice, f"{form} {first}"),
                Utterance(voice, again),
                Utterance(voice, ", ".join(numbers)),
            ]
        return [
            Utterance(voice, f"{form} {first}"),
            Utterance("surgeon", plain(self.rng)),
            Utterance(voice, second),
        ]

    def _add(self, act: acts.Add) -> str:
        if act.how is How.PACK:
            return f"{self.rng.choice(('adding', 'opening'))} {self._packs(act.item, act.quantity)}"
        said = ["adding {n} {f}", "adding {f} {n}", "{n} {f} to the field", "{n} {f} added"]
        said.append("adding {n} more {f}")
        if Switch.BARE_MORE in self.on:
            said.append("{n} more {f}")
        return self._of(act.item, act.quantity, *said)

    def _remove(self, act: acts.Remove) -> str:
        if act.bagged:
            return self._of(
                act.item, act.quantity, "bagging {n} {f}", "{n} {f} bagged", "bagged {n} {f}"
            )
        return self._of(
            act.item, act.quantity, "passing off {n} {f}", "{n} {f} off the field",
            "{n} {f} passed off", "handing off {n} {f}",
        )  # fmt: skip

    def _amend(self, item: str, quantity: int) -> str:
        said = [words(quantity)] if Switch.NO_ALONE in self.on else []
        form = self.named(item, quantity)
        said += [f"{words(quantity)} {form}", f"{form} {words(quantity)}"]
        return self.rng.choice(CORRECTING).format(self.rng.choice(said))

    def _verdict(self, verdict: str, group: str | None) -> str:
        what = f"{GROUP_WORDS[group]} count" if group else "count"
        if verdict == "correct":
            said = [f"{what} is correct", f"the {what} is correct", f"{what}s are correct"]
        else:
            said = [f"{what} is not correct", f"{what} is incorrect", f"the {what} is off"]
        return self.rng.choice(said)

    def _medication(self, act: acts.Receive | acts.Label | acts.Draw) -> str:
        volume = f"{words(act.volume_ml)} {self.rng.choice(('milliliters', 'cc', 'mils'))}"
        match act:
            case acts.Draw(what):
                name = self._medication_name(what.name)
                verb = self.rng.choice(("drawing up", "drawing", "draw up"))
                return f"{verb} {volume} of {name}"
            case acts.Label(what, _, container):
                return f"label on the {container}, {self._preparation(what)}, {volume}"
            case acts.Receive(what, _, expiry):
                said = f"{self._preparation(what)}, {volume}"
                if expiry is not None:
                    month, year = expiry
                    said += f", expires {MONTHS[month - 1]} {' '.join(year_words(year))}"
                return said

    def _preparation(self, what: acts.Preparation) -> str:
        name = self._medication_name(what.name)
        said = name
        if what.strength is not None:
            percent = f"{decimal_words(str(what.strength.value))} percent"
            said = self.rng.choice((f"{percent} {name}", f"{name} {percent}"))
            if Switch.STRENGTH_FIRST not in self.on:
                said = f"{name} {percent}"
        if what.additive is not None and what.additive_strength is not None:
            ratio = words(int(what.additive_strength.value))
            said += f" with {self._medication_name(what.additive)} one to {ratio}"
        return said

    def _medication_name(self, name: str) -> str:
        return self.rng.choice(self.kit.medication(name).spoken)

    def read_back(self, act: Act) -> str:
        """What the second voice says to confirm a count, an addition or a removal."""
        match act:
            case acts.Count(part=part) if part is not None:
                said = self._part(act)
            case acts.Count(item, quantity):
                said = self._of(item, quantity, "{n} {f}", "{f} {n}", "{n}")
            case acts.Add(item, quantity):
                said = self._of(item, quantity, "{n} {f} added", "adding {n} {f}")
            case acts.Remove(item, quantity):
                said = self._of(item, quantity, "{n} {f} off", "{n} {f} passed off")
            case _:
                raise TypeError(act)
        return said


MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september",
    "october", "november", "december",
)  # fmt: skip


def decimal_words(value: str) -> str:
    """0.25 as "point two five"."""
    whole, _, decimals = value.partition(".")
    said = [] if whole == "0" else number_words(int(whole))
    if decimals:
        said += ["point", *(number_words(int(digit))[0] for digit in decimals)]
    return " ".join(said)


def _forms(item: Item, *, one: bool) -> Sequence[str]:
    def plural(form: str) -> bool:
        return form.endswith("s") and not form.endswith(("ss", "allis"))

    found = [form for form in item.spoken if plural(form) is not one]
    return found or list(item.spoken)
