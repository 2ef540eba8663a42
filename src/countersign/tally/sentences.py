"""The sentences of the tally's questions."""

from countersign.kit import Item

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
        "is this another pack or the same one?"
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


def listing(names: list[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    return " and ".join(filter(None, [", ".join(names[:-1]), *names[-1:]]))
