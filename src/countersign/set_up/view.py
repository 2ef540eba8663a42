"""The set-up and a tray's list on a terminal, readable at 80 columns and without colour."""

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from countersign.caution import CONFIRMED, NOT_CONFIRMED, NOTHING_CONFIRMED, TWO_PEOPLE
from countersign.kit import Kit
from countersign.printable import clean
from countersign.set_up.placing import Placed, PlaceList, SetUp, Stands
from countersign.set_up.tray import Tallies, Tray
from countersign.tally.sentences import opening, phase_count
from countersign.wording import GROUPS, item_label, number_text

PLACE_NAMES = {"mayo_stand": "Mayo stand", "back_table": "back table"}
_STANDS = {
    Stands.PLACED: "placed",
    Stands.MISSING: "missing",
    Stands.NOT_LISTED: "not listed",
    Stands.PLACE_NOT_SAID: "place not said",
}
_TALLIES = {
    Tallies.AGREES: "agrees",
    Tallies.DIFFERS: "differs",
    Tallies.NOT_COUNTED: "not counted",
}


def place_name(place: str | None) -> str:
    """A place as people call it."""
    return PLACE_NAMES.get(place or "", clean(place or "").replace("_", " "))


def set_up_view(made: SetUp, kit: Kit) -> RenderableType:
    """Both lists, what is missing or elsewhere, the order of use, and the caution."""
    parts: list[RenderableType] = []
    for place in made.places:
        if place.items:
            parts += [_place_table(place, kit), Text()]
    if made.unplaced:
        parts += [Text(f"Set up without a place: {_names(made.unplaced, kit)}.")]
    for words, items in (("Not placed yet", made.missing), ("Not where listed", made.elsewhere)):
        if items:
            names = "; ".join(item_label(item, kit) for item in items)
            parts.append(Text(f"{words}: {names}.", style="bold yellow"))
    if made.order_of_use:
        names = "; ".join(item_label(item, kit) for item in made.order_of_use)
        parts.append(Text(f"Order of use: {names}."))
    if not parts:
        parts.append(Text("The kit lists no set-up, and none was heard."))
    parts.append(Text(f"{TWO_PEOPLE} {_confirmed(made)}", style="bold"))
    return Group(*parts)


def tray_view(made: Tray, kit: Kit) -> RenderableType:
    """A tray's list, what was left out of its latest count, the totals and the caution."""
    parts: list[RenderableType] = []
    name = GROUPS[made.group]
    if not made.items:
        parts.append(Text(f"The kit lists no {name}, and none were heard."))
    else:
        parts += [_tray_table(made, kit), Text()]
    if made.begun:
        parts.append(Text(f"{opening(phase_count(made.phase, made.line))}: {_in_all(made)}."))
    elif made.items:
        parts.append(Text(f"No count of the {name} was heard; {made.listed_total} are listed."))
    if made.begun and made.left_out:
        names = "; ".join(item_label(item, kit) for item in made.left_out)
        parts.append(Text(f"Not counted in it: {names}.", style="bold yellow"))
    confirmed = CONFIRMED if made.confirmed else NOT_CONFIRMED
    parts.append(Text(f"{TWO_PEOPLE} This list is {confirmed}.", style="bold"))
    return Group(*parts)


def _in_all(made: Tray) -> str:
    return (
        f"{made.counted_total} {GROUPS[made.group]} counted in all, "
        f"{made.expected_total} expected, {made.listed_total} listed"
    )


def _tray_table(made: Tray, kit: Kit) -> Table:
    table = Table(box=box.SIMPLE_HEAD, expand=True, padding=(0, 1), show_edge=False)
    table.add_column(GROUPS[made.group], ratio=1)
    for name in ("listed", "expected", "heard", "confirmed"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("stands", no_wrap=True)
    for each in made.items:
        wrong = made.begun and each.stands is not Tallies.AGREES
        table.add_row(
            item_label(each.item, kit),
            number_text(each.listed),
            number_text(each.expected),
            number_text(each.counted),
            number_text(each.confirmed),
            Text(_TALLIES[each.stands], style="bold yellow" if wrong else ""),
        )
    return table


def _confirmed(made: SetUp) -> str:
    everything = [each for place in made.places for each in place.items if each.lines]
    everything += made.unplaced
    confirmed = sum(each.confirmed for each in everything)
    if not confirmed:
        return NOTHING_CONFIRMED
    return f"{confirmed} of {len(everything)} placed items are confirmed."


def _names(items: tuple[Placed, ...], kit: Kit) -> str:
    return "; ".join(item_label(each.item, kit) for each in items)


def _place_table(place: PlaceList, kit: Kit) -> Table:
    table = Table(box=box.SIMPLE_HEAD, expand=True, padding=(0, 1), show_edge=False)
    table.add_column(place_name(place.place), ratio=1)
    table.add_column("number", justify="right", no_wrap=True)
    table.add_column("stands", no_wrap=True)
    table.add_column("state", no_wrap=True)
    for each in place.items:
        table.add_row(
            _item_cell(each, kit),
            number_text(each.quantity),
            _stands_text(each),
            ("confirmed" if each.confirmed else "not confirmed") if each.lines else "",
        )
    return table


def _item_cell(each: Placed, kit: Kit) -> Text:
    text = Text(item_label(each.item, kit))
    notes = [
        f"{word} {clean(note)}"
        for word, note in (("tip", each.tip), ("handle", each.handle))
        if note
    ]
    if each.order is not None:
        notes.insert(0, f"use {each.order}")
    if notes:
        text.append(f"\n{'; '.join(notes)}", style="italic dim")
    return text


def _stands_text(each: Placed) -> Text:
    if each.stands is Stands.ELSEWHERE:
        return Text(f"on {place_name(each.placed_on)}", style="bold yellow")
    style = "bold yellow" if each.stands in (Stands.MISSING, Stands.PLACE_NOT_SAID) else ""
    return Text(_STANDS[each.stands], style=style)
