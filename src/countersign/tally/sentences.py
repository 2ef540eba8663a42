"""The sentences of the tally's questions."""

from collections.abc import Sequence
from decimal import Decimal

from countersign.kit import Group, Item
from countersign.meaning.event import EventKind, Phase

_PACK_WORDS = {
    2: "twos", 3: "threes", 4: "fours", 5: "fives", 6: "sixes", 8: "eights", 10: "tens",
    12: "twelves", 20: "twenties", 25: "twenty-fives", 50: "fifties", 100: "hundreds",
}  # fmt: skip


def several(item: Item) -> str:
    """What several of an item are called: its first spoken form that is a plural."""
    first = item.spoken[0]
    for form in item.spoken[1:]:
        if form.startswith(first[:-1]) and form.endswith("s") and " " not in form[len(first) :]:
            return form
    return first


def opening(words: str) -> str:
    """The words with a capital at the start, for the start of a sentence."""
    return words[:1].upper() + words[1:]


def packed(item: Item, quantity: int) -> str:
    """A quantity that is not a whole number of packs."""
    packs = _PACK_WORDS.get(item.pack or 0, f"packs of {item.pack}")
    verb = "was" if quantity == 1 else "were"
    return f"{opening(several(item))} come in {packs}; {quantity} {verb} heard."


def not_expected(item: Item, quantity: int, expected: int) -> str:
    """A count that is not the number that should be there."""
    return f"{opening(several(item))}: {quantity} counted, {expected} expected."


def disagrees(item: Item, quantity: int, earlier: int) -> str:
    """A count that is not what an earlier count of the same phase leads to."""
    return (
        f"{opening(several(item))}: {quantity} counted now, "
        f"{earlier} by the earlier count of this phase."
    )


def pack_again(item: Item) -> str:
    """A second pack of the same item, counted in the same phase."""
    return (
        f"{opening(several(item))} were already counted in this phase; "
        "is this another pack (accept it) or the same one (set it aside)?"
    )


def more_than_plausible(item: Item, quantity: int) -> str:
    """More than there can be in one case."""
    return f"{quantity} {several(item)} would be more than the {item.most} the kit calls plausible."


def more_than_there(item: Item, quantity: int, there: int) -> str:
    """More taken off than is there."""
    verb = "is" if there == 1 else "are"
    return f"{quantity} {several(item)} taken off, but only {there} {verb} there."


def never_counted(item: Item) -> str:
    """Something taken off that nobody counted before."""
    return f"{opening(several(item))} were taken off, but none was counted before."


def no_number(item: Item, kind: EventKind) -> str:
    """A line without a number."""
    if kind is EventKind.BREAKAGE:
        return f"{opening(several(item))}: in how many pieces the broken one is was not heard."
    return f"No number was heard for {several(item)}."


def no_such_number(item: Item, kind: EventKind, quantity: int | Decimal) -> str:
    """A number that cannot be one of these."""
    if kind is EventKind.BREAKAGE:
        return f"Something broken or cut is in two pieces or more, not in {quantity}."
    return f"{quantity} is not a number of {several(item)}."


def no_such_part(item: Item, part: str) -> str:
    """A part that the kit does not give the item."""
    if not item.parts:
        return f"{item.label} has no parts in the kit; “{part}” was heard."
    return f"{item.label} has the parts {listing(item.parts)}; “{part}” was heard."


def bag(item: Item, quantity: int, size: int) -> str:
    """A bag that is said to be full and is not."""
    verb = "was" if quantity == 1 else "were"
    return f"A full bag of {several(item)} holds {size}; {quantity} {verb} heard."


def so_far(item: Item, number: int, expected: int) -> str:
    """Counts by place or part, or of packs, that do not add up to what is expected."""
    return f"{opening(several(item))}: {number} counted so far, {expected} expected."


def packed_so_far(item: Item, number: int) -> str:
    """Opening counts by place that do not add up to whole packs."""
    packs = _PACK_WORDS.get(item.pack or 0, f"packs of {item.pack}")
    verb = "was" if number == 1 else "were"
    return f"{opening(several(item))} come in {packs}; {number} {verb} counted so far."


def parts_missing(item: Item, missing: Sequence[str]) -> str:
    """Parts of which fewer were counted than of the others."""
    return f"{item.label}: the parts do not agree, {listing(missing)} missing."


def no_whole_ones(item: Item, quantity: int) -> str:
    """A number of pieces that is no whole number of an item of several parts."""
    return (
        f"{item.label} is counted part by part ({listing(item.parts)}); "
        f"{quantity} is no whole number of them."
    )


def part_again(item: Item, part: str) -> str:
    """A part is counted once more in one count: a repeat, or another part heard for it."""
    return f"The {part} of {item.label} was counted before; is this another part?"


def there_disagrees(item: Item, quantity: int, earlier: int, where: str) -> str:
    """A second count of the same place or part that is not the first."""
    return (
        f"{opening(several(item))}, {where}: {quantity} counted now, "
        f"{earlier} counted there before in this phase."
    )


def not_counted_since(item: Item, counted: int, expected: int) -> str:
    """A count that was right, before something was added or taken off; part of a sentence."""
    return (
        f"{several(item)} were not counted since some were added or taken off "
        f"({counted} counted before, {expected} expected now)"
    )


def among_these(item: Item, quantity: int, counted: int) -> str:
    """Some in the wound, after a count by place had come to the right number without them."""
    return (
        f"{counted} {several(item)} were counted outside the wound in this phase; are the "
        f"{quantity} in it some of these (accept it) or more of them (count again)?"
    )


def where(place: str | None, part: str | None) -> str:
    """A place and a part in words."""
    return ", ".join(filter(None, [PLACES.get(place or "", place or ""), part]))


def none_to_break(item: Item) -> str:
    """Something broken or cut of which none is known to be there."""
    return f"{opening(several(item))}: one was broken or cut, but none was counted before."


def not_in_wound(item: Item, quantity: int, packed: int) -> str:
    """More taken out of the wound than was said to be in it."""
    return f"{quantity} {several(item)} out of the wound, but {packed} were said to be in it."


def still_in_wound(item: Item, quantity: int, line: int) -> str:
    """Something packed that nobody said is out, as a part of a sentence."""
    return f"{quantity} {several(item)} packed in the wound (line {line}) were not said to be out"


def pieces_open(item: Item, pieces: int, line: int) -> str:
    """Pieces that no count accounts for, as a part of a sentence."""
    return f"no count accounts for the {pieces} pieces of the {item.label} of line {line}"


def listing(names: Sequence[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))


def some(names: Sequence[str], most: int = 8) -> str:
    """A listing that is cut after so many names, and says so."""
    if len(names) <= most:
        return listing(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"


PLACES = {
    "field": "on the field",
    "wound": "in the wound",
    "mayo_stand": "on the Mayo stand",
    "back_table": "on the back table",
    "off_field": "off the field",
}

GROUPS = {
    Group.SPONGES: "sponges",
    Group.SHARPS: "sharps",
    Group.SMALL_ITEMS: "small items",
    Group.INSTRUMENTS: "instruments",
}

PHASES = {
    Phase.INITIAL: "initial count",
    Phase.RELIEF: "relief count",
    Phase.CLOSING_CAVITY: "closing count of the cavity",
    Phase.CLOSING: "closing count",
    Phase.FINAL: "final count",
    Phase.REQUESTED: "count asked for",
}
"""What people call the counts of a case."""


def phase_count(phase: Phase | None, line: int | None) -> str:
    """A phase's count, with the line that announced it."""
    name = "count" if phase is None else PHASES[phase]
    return f"the {name}" if line is None else f"the {name} of line {line}"


def no_closing_before() -> str:
    """The last count, announced where the one before it was not."""
    return (
        "The final count was announced, but no closing count before it; "
        "was that left out, or was another count meant?"
    )


def phase_too_late(phase: Phase, before: Phase, line: int) -> str:
    """A count announced after one that usually follows it."""
    return (
        f"The {PHASES[phase]} was announced after {phase_count(before, line)}; "
        "was another count meant?"
    )


def phase_again(phase: Phase, line: int) -> str:
    """A count announced again, in which the same is counted again."""
    return (
        f"The {PHASES[phase]} was already made (line {line}); is it made again, "
        "or was another count meant?"
    )
