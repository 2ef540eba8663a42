"""What a new voice reads aloud: lines of a count, made from the kit."""

from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal

from pydantic import BaseModel, ConfigDict

from countersign.hearing import written
from countersign.kit.model import Group, Item, Kit
from countersign.kit.written import read_strength
from countersign.meaning import Event, EventKind, understand
from countersign.number_words import spell

LINES = 23
"""About two minutes with a breath between lines."""
_LONGEST_SEQUENCE = 10
_TOTALS = (15, 3, 50, 2, 13, 4, 30)
_VOLUMES = (10, 30, 20, 5)
_SPOKEN_STRENGTHS = {
    (Decimal("0.25"), "%"): "point two five percent",
    (Decimal("0.5"), "%"): "point five percent",
    (Decimal(1), "%"): "one percent",
    (Decimal(2), "%"): "two percent",
}


class Prompt(BaseModel):
    """One line of the script (``number`` from 1) and the event that the words mean."""

    model_config = ConfigDict(frozen=True)

    number: int
    text: str
    event: Event


def script(kit: Kit, lines: int = LINES) -> tuple[Prompt, ...]:
    """The lines to read, the same for the same kit.

    Only lines that mean one event and raise no question when their words are read are taken, so
    that whatever differs or is asked afterwards comes from hearing. Fewer than ``lines`` where the
    kit does not give as many.
    """
    chosen: list[Prompt] = []
    seen: set[str] = set()
    for text in _mixed([list(part) for part in _parts(kit)]):
        if text in seen:
            continue
        seen.add(text)
        events = tuple(understand([written(text, 1)], kit))
        if len(events) == 1 and not events[0].questions and events[0].kind is not EventKind.REMARK:
            chosen.append(Prompt(number=len(chosen) + 1, text=text, event=events[0]))
        if len(chosen) == lines:
            break
    return tuple(chosen)


def _mixed(parts: list[list[str]]) -> Iterator[str]:
    """A line of each part in turn, so that a script cut short still has all of them."""
    for place in range(max(map(len, parts), default=0)):
        for part in parts:
            if place < len(part):
                yield part[place]


def _parts(kit: Kit) -> Iterator[Iterator[str]]:
    items = _one_group_after_another(kit)
    yield _sequences(items)
    yield _totals(items)
    yield _changes(items)
    yield _medications(kit)
    yield iter(("closing count", "all counts are correct"))


def _one_group_after_another(kit: Kit) -> list[Item]:
    groups = [[item for item in kit.items if item.group is group] for group in Group]
    longest = max(map(len, groups))
    return [group[at] for at in range(longest) for group in groups if at < len(group)]


def _plural(item: Item) -> str:
    """The first spoken form that is some other form with an ending, else the first."""
    for form in item.spoken:
        if any(form in (f"{other}s", f"{other}es") for other in item.spoken):
            return form
    return item.spoken[0]


def _sequences(items: Sequence[Item]) -> Iterator[str]:
    for item in items:
        last = min(item.pack or item.expected or 0, _LONGEST_SEQUENCE)
        if last >= 2:
            numbers = " ".join(spell(number) for number in range(1, last + 1))
            yield f"{_plural(item)} {numbers}"


def _totals(items: Sequence[Item]) -> Iterator[str]:
    often_many = sorted(items, key=lambda item: -item.most)
    for place, item in enumerate(often_many):
        total = _TOTALS[place % len(_TOTALS)]
        if total <= item.most:
            words = (spell(total), _plural(item))
            yield " ".join(words if place % 2 else words[::-1])


def _changes(items: Sequence[Item]) -> Iterator[str]:
    for item in items:
        if item.pack is not None:
            yield f"adding one pack of {_plural(item)}"
            yield f"{spell(item.pack)} {_plural(item)} passed off"
        elif item.most > 2:
            yield f"adding two {_plural(item)}"


def _medications(kit: Kit) -> Iterator[str]:
    for place, medication in enumerate(kit.medications):
        volume = f"{spell(_VOLUMES[place % len(_VOLUMES)])} milliliters"
        name = medication.spoken[0]
        strengths = [s for text in medication.strengths if (s := read_strength(text)) is not None]
        said = next((_SPOKEN_STRENGTHS[s] for s in strengths if s in _SPOKEN_STRENGTHS), None)
        if said is not None:
            year = spell((date.today().year + 2) % 100)
            yield f"{said} {name} {volume} expires june twenty {year}"
            yield f"drawing up {volume} of {said} {name}"
        yield f"drawing up {volume} of {name}"
