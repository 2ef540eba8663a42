"""The plot of a case: which acts follow each other, drawn from a seed.

Numbers, chances and their order are invented; what is counted when, and in which order of groups
and places, follows AORN and AST guidance on counts (from memory).
"""

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from tests.cases import acts
from tests.cases.acts import TALLIED, Act, How, Preparation, Strength
from tests.cases.room import Room, standing
from tests.cases.saying import Speaker, Switch
from tests.cases.talk import mention, numbered, plain

from countersign.kit import Item, Kit

LONGEST_SEQUENCE = 20
EPINEPHRINE = Strength(Decimal(200_000), "ratio")


@dataclass(frozen=True)
class Done:
    """One act of the plot: by which voice, and whether people set its line aside."""

    act: Act
    voice: str
    set_aside: bool = False
    read_back: bool = False


@dataclass
class Story:
    """A case in the making. ``speaker`` is only asked for names of items in talk."""

    kit: Kit
    rng: random.Random
    on: frozenset[Switch]
    speaker: Speaker
    done: list[Done] = field(default_factory=list)
    room: Room = field(init=False)
    scrub: str = "scrub"

    def __post_init__(self) -> None:
        """Begin with an empty room."""
        self.room = new_room(self.kit)

    # Telling

    def tell(self, act: Act, voice: str | None = None, *, set_aside: bool = False) -> None:
        """One act happens."""
        self.done.append(Done(act, voice or self.scrub, set_aside))
        if set_aside:
            return
        if isinstance(act, acts.Strike | acts.Amend):
            self.room = new_room(self.kit)
            for each in standing(*self._so_far()):
                self.room.do(each)
        else:
            self.room.do(act)

    def _so_far(self) -> tuple[list[Act], list[int]]:
        told = [each.act for each in self.done]
        return told, [at for at, each in enumerate(self.done) if each.set_aside]

    def maybe(self, chance: float) -> bool:
        """True with this chance."""
        return self.rng.random() < chance

    def chatter(self, chance: float = 0.12) -> None:
        """Perhaps somebody talks of something else."""
        corrected = isinstance(self.done[-1].act, acts.Amend)
        after = corrected and Switch.TALK_AFTER_CORRECTION not in self.on
        if not self.maybe(chance) or after:
            return
        said = [plain(self.rng)]
        if Switch.NUMBERED_TALK in self.on:
            said.append(numbered(self.rng))
        if Switch.MENTIONS in self.on:
            said.append(mention(self.rng, self.speaker.one(self.rng.choice(self.kit.items).id)))
        text = self.rng.choice(said)
        self.tell(acts.Talk(text), self.rng.choice(("surgeon", "anesthesia")))

    def tallied(self, act: Act, chance: float = 0.1) -> None:
        """An act with a number, perhaps said wrong first and corrected, perhaps read back."""
        assert isinstance(act, TALLIED)
        if self.maybe(chance):
            number = act.pieces if isinstance(act, acts.Break) else act.quantity
            least = 2 if isinstance(act, acts.Break) else 1
            wrong = self.rng.choice([n for n in (number - 1, number + 1) if n >= least])
            if isinstance(act, acts.Break):
                said: Act = replace(act, pieces=wrong)
            elif isinstance(act, acts.Count | acts.Add):
                how = How.TOTAL if act.how is How.PACK else act.how
                said = replace(act, quantity=wrong, how=how if wrong > 1 else How.TOTAL)
            else:
                said = replace(act, quantity=wrong)
            self.tell(said)
            if self.maybe(0.6):
                self.tell(acts.Amend(act.item, number), self._either())
                return
            self.tell(acts.Strike(), self._either())
        self.tell(act)
        again = isinstance(act, acts.Count | acts.Add | acts.Remove)
        if again and Switch.READ_BACK in self.on and self.maybe(0.25):
            self.done[-1] = replace(self.done[-1], read_back=True)

    def _either(self) -> str:
        return self.rng.choice((self.scrub, "circulator"))

    # Counting

    def count(self, item: Item, number: int, *, opening: bool = False) -> None:
        """One item is counted as ``number``: at once, by places, by parts or in packs."""
        there = self.room.items[item.id]
        if item.parts and Switch.PARTS in self.on and number % len(item.parts) == 0:
            chance = 0.05 if Switch.PARTS_CORRECTED in self.on else 0.0
            for part in item.parts:
                share = number // len(item.parts)
                self.tallied(acts.Count(item.id, share, part=part), chance)
            return
        placed = Switch.PLACES in self.on and number > 1 and not there.in_wound
        if placed and self.maybe(0.3):
            self._by_place(item, number, there.bagged)
            return
        self.tallied(acts.Count(item.id, number, self._how(item, number, opening=opening)))

    def _how(self, item: Item, number: int, *, opening: bool) -> How:
        if opening and item.pack and number % item.pack == 0 and self.maybe(0.3):
            return How.PACK
        if 2 <= number <= LONGEST_SEQUENCE and self.maybe(0.45):
            return How.SEQUENCE
        return How.TOTAL

    def _by_place(self, item: Item, number: int, bagged: int) -> None:
        places = ["field", "mayo_stand", "back_table"]
        used = [place for place in places if self.maybe(0.7)] or ["back_table"]
        shares = dict.fromkeys(used, 0)
        for _ in range(number):
            shares[self.rng.choice(used)] += 1
        if bagged and Switch.BAG_COUNT in self.on and self.maybe(0.5):
            shares["off_field"] = bagged
        told = [(place, share) for place, share in shares.items() if share]
        for place, share in told:
            self.tallied(acts.Count(item.id, share, place=place), 0.05)

    # The parts of a case

    def open_up(self, items: Sequence[Item]) -> None:
        """The initial count."""
        by_group = self.maybe(0.3)
        group = None
        if not by_group:
            self.tell(acts.Announce("initial"))
        for item in items:
            if by_group and item.group != group:
                group = item.group
                self.tell(acts.Announce("initial", group.value))
            packs = self.rng.choice((1, 1, 2, 3)) if item.pack else 0
            number = item.pack * packs if item.pack else item.expected or self.rng.randint(1, 6)
            if not item.pack and not item.parts and self.maybe(0.3):
                number = self.rng.randint(1, min(12, item.most))
            self.count(item, min(number, item.most), opening=True)
            self.chatter(0.08)
        self.tell(acts.Say("correct"), "circulator")

    def medications(self) -> None:
        """Medications and solutions are received, labelled and perhaps drawn up."""
        chosen = self.rng.sample(self._preparations(), self.rng.randint(1, 3))
        for what in chosen:
            if any(each.name == what.name for each in self.room.tray.held):
                continue
            volume = self.rng.choice((10, 20, 30, 50) if what.strength else (100, 250, 500))
            expiry = (self.rng.randint(1, 12), self.rng.randint(2028, 2031))
            self.tell(acts.Receive(what, volume, expiry if self.maybe(0.7) else None), "circulator")
            self.chatter(0.05)
            containers = ("cup", "syringe") if what.strength else ("basin", "bowl", "pitcher")
            self.tell(acts.Label(what, volume, self.rng.choice(containers[:1] + containers)))

    def _preparations(self) -> list[Preparation]:
        found = [
            Preparation("lidocaine", Strength(Decimal(1), "%")),
            Preparation("lidocaine", Strength(Decimal(2), "%")),
            Preparation("bupivacaine", Strength(Decimal("0.25"), "%")),
            Preparation("bupivacaine", Strength(Decimal("0.5"), "%")),
            Preparation("sodium_chloride", None),
            Preparation("sterile_water", None),
        ]
        if Switch.ADDITIVES in self.on:
            found += [
                replace(each, additive="epinephrine", additive_strength=EPINEPHRINE)
                for each in found[:4]
            ]
        return found

    def draw(self) -> None:
        """Something is drawn up, if anything is left."""
        left = {each.what: each.left_ml for each in self.room.tray.held.values()}
        some = [what for what, volume in left.items() if volume > 0 and what.strength]
        if some:
            what = self.rng.choice(some)
            volume = self.rng.randint(2, 10)
            if volume <= left[what]:
                self.tell(acts.Draw(what, volume))

    def move(self, items: Sequence[Item]) -> None:
        """One thing happens to the numbers in the middle of the case."""
        item = self.rng.choice(items)
        there = self.room.items[item.id]
        expected = there.expected or 0
        whole = all(cell == (None, None) for cell in there.cells)
        style = self.rng.random()
        if style < 0.45:
            self._add(item, expected)
        elif style < 0.75:
            self._remove(item, expected - there.in_wound)
        elif style < 0.88 and Switch.PACKED in self.on and item.group == "sponges":
            if there.in_wound:
                self.tallied(acts.Unpack(item.id, self.rng.randint(1, there.in_wound)), 0.05)
            elif expected > 1 and (whole or Switch.PACKED_AFTER_PLACES in self.on):
                self.tallied(acts.Pack(item.id, self.rng.randint(1, min(5, expected))), 0.05)
        elif Switch.BREAKAGE in self.on and item.group == "sharps":
            self._break(item, expected)

    def _add(self, item: Item, expected: int) -> None:
        number = item.pack * self.rng.choice((1, 1, 2)) if item.pack else self.rng.randint(1, 4)
        if item.parts:
            number = len(item.parts)
        if expected + number > item.most:
            return
        if item.pack and self.maybe(0.08):
            # a pack that is not full stays outside until people decide
            self.tell(acts.Add(item.id, item.pack - 1), set_aside=True)
            return
        how = How.PACK if item.pack and self.maybe(0.6) else How.TOTAL
        self.tallied(acts.Add(item.id, number, how), 0.0 if item.pack else 0.08)
        if self.maybe(0.05):
            self.tell(acts.Strike(), self._either())

    def _remove(self, item: Item, there: int) -> None:
        number = self.rng.randint(1, 3) if not item.pack else self.rng.choice((1, 2, 5))
        if item.parts:
            number = len(item.parts)
        if number < there:
            bagged = item.group == "sponges" and self.maybe(0.7)
            self.tallied(acts.Remove(item.id, number, bagged), 0.06)

    def _break(self, item: Item, expected: int) -> None:
        if 0 < expected < item.most - 3 and self.maybe(0.3):
            self.tallied(acts.Break(item.id, self.rng.choice((2, 2, 3))), 0.05)

    def full_count(self, phase: str, *, last: bool = False) -> None:
        """A count of everything, with what goes wrong in it, to its verdict."""
        if phase in ("closing", "final"):
            self._empty_wound()
        groups = ["sponges", "sharps", "small_items"]
        if phase == "relief" or self.maybe(0.25):
            groups.append("instruments")
        by_group = phase in ("closing", "final") and self.maybe(0.3)
        if not by_group:
            self.tell(acts.Announce(phase), self._either())
        voice = "circulator"
        for group in groups:
            items = [
                item
                for item in self.kit.items
                if item.group == group
                and item.id in self.room.touched
                and (self.room.items[item.id].expected or 0) > 0
            ]
            if not items:
                continue
            if by_group:
                self.tell(acts.Announce(phase, group), self._either())
            wrong = self.rng.choice(items).id if self.maybe(0.2) else None
            for item in items:
                self._count_again(item, astray=item.id == wrong)
                self.chatter(0.08)
            if by_group:
                self._verdict(group, voice, last=last)
        if not by_group:
            self._verdict(None, voice, last=last)

    def _count_again(self, item: Item, *, astray: bool) -> None:
        number = self.room.items[item.id].expected or 0
        if astray:
            number += self.rng.choice((-1, -1, 1)) if number > 1 else 1
        self.count(item, number)

    def _verdict(self, group: str | None, voice: str, *, last: bool) -> None:
        """Find what is astray, or do not, and say how it stands."""
        self.room.do(acts.Say("not_correct"))  # judges what was counted by places
        self.room.said.pop()
        astray = [
            each.item
            for each in self.room.truth().discrepancies
            if group in (None, self.room.groups[each.item])
        ]
        if not astray:
            self._correct(group, voice)
            return
        if self.maybe(0.3):  # too early: it bars itself, and people set it aside
            self.tell(acts.Say("correct", group), voice, set_aside=True)
        self.tell(acts.Say("not_correct", group), voice)
        found = not last or self.maybe(0.7)
        for item in astray:
            self.tell(acts.Recount(item), voice)
            self.chatter(0.2)
            number = self.room.items[item].expected or 0
            self.tell(acts.Count(item, number if found else max(0, number - 1)))
        if found:
            self._correct(group, voice)
        elif self.maybe(0.5):
            self.tell(acts.Say("not_correct", group), voice)

    def _correct(self, group: str | None, voice: str) -> None:
        """Say "correct", too early where something is still packed when the wound is closed."""
        packed = [
            item
            for item, each in self.room.items.items()
            if each.in_wound and group in (None, self.room.groups[item])
        ]
        if packed and self.room.phase in ("closing", "final"):
            self.tell(acts.Say("correct", group), voice, set_aside=True)
            for item in packed:
                self.tell(acts.Unpack(item, self.room.items[item].in_wound))
        self.tell(acts.Say("correct", group), voice)

    def _empty_wound(self) -> None:
        for item, each in self.room.items.items():
            if each.in_wound and self.maybe(0.95):
                self.tell(acts.Unpack(item, each.in_wound))

    def relief(self) -> None:
        """The scrub is relieved: everything is counted and every label read again."""
        self.full_count("relief")
        for each in list(self.room.tray.held.values()):
            if each.label_due and each.container:
                self.tell(acts.Label(each.what, each.left_ml, each.container), "relief")
        self.scrub = "relief"


def new_room(kit: Kit) -> Room:
    """A room in which nothing has happened."""
    return Room({item.id: (item.expected, item.parts, item.group.value) for item in kit.items})


REMARKS = (
    "note that the surgeon changed gloves",
    "for the record, the specimen went to pathology",
    "remark, the patient was turned",
)


def tell(kit: Kit, rng: random.Random, on: frozenset[Switch], lines: int) -> list[Done]:
    """A whole case of about ``lines`` acts or more: it is always told to its end."""
    story = Story(kit, rng, on, Speaker(kit, random.Random(rng.random()), on))
    sample = [
        item
        for item in kit.items
        if item.group in ("sponges", "sharps") or rng.random() < min(0.9, lines / 150)
    ]
    if lines < 60:
        sample = rng.sample(sample, min(len(sample), 5))
        sample.sort(key=kit.items.index)
    story.open_up(sample)
    story.medications()
    relieved = False
    moving = [item for item in sample if item.group != "instruments"]
    often = [item for item in moving if item.group in ("sponges", "sharps")]
    while len(story.done) < lines * 0.7 or not relieved:
        story.chatter(0.15)
        chance = rng.random()
        if chance < 0.1:
            story.draw()
        elif chance < 0.12:
            story.tell(acts.Remark(rng.choice(REMARKS)), "circulator")
        elif chance < 0.14:
            story.medications()
        elif chance < 0.15 and Switch.REQUESTED in on and lines >= 60:
            story.full_count("requested")
        else:
            story.move(often if rng.random() < 0.7 and often else moving)
        if not relieved and len(story.done) > lines * 0.4:
            relieved = True
            if rng.random() < 0.6:
                story.relief()
    if rng.random() < 0.6:
        story.full_count("closing_cavity")
    story.full_count("closing")
    for _ in range(rng.randint(0, 3)):
        story.move(often or moving)
    story.full_count("final", last=True)
    return story.done
