"""Phase by phase: what was counted, in which order, and what was left out."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from countersign.kit import Group, Item
from countersign.meaning.event import Phase
from countersign.tally import sentences
from countersign.tally.drafts import Draft
from countersign.tally.findings import Notice, NoticeCode, PhaseCount
from countersign.tally.places import ORDER
from countersign.tally.running import Running, Step

T = TypeVar("T")
_USUAL = tuple(Group)
FULL = frozenset({Phase.RELIEF, Phase.CLOSING_CAVITY, Phase.CLOSING, Phase.FINAL})
"""Phases in which everything on the field is counted again."""


@dataclass
class _Going:
    """A phase that is being counted."""

    phase: Phase | None
    line: int | None
    groups: list[Group] = field(default_factory=list)
    counted: dict[str, int] = field(default_factory=dict)
    places: dict[Group, dict[str, int]] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()
    over: bool = False


@dataclass
class Phases:
    """The phases so far; the last one is going on."""

    items: Mapping[str, Item]
    gone: list[_Going] = field(default_factory=list)

    def announce(self, draft: Draft, numbers: Mapping[str, Running]) -> None:
        """A phase begins, perhaps of one group only."""
        named = [group for group in Group if group.value == draft.group]
        last = self.gone[-1] if self.gone else None
        goes_on = last is not None and last.phase is draft.phase and last.groups and named
        if last is not None and goes_on and not self._counted_any(last, named):
            last.groups += [group for group in named if group not in last.groups]
            return
        self._end(numbers)
        self.gone.append(_Going(phase=draft.phase, line=draft.number, groups=named))

    def _counted_any(self, going: _Going, groups: Sequence[Group]) -> bool:
        return any(self.items[item].group in groups for item in going.counted)

    def count(self, step: Step, numbers: Mapping[str, Running]) -> None:
        """An item is counted."""
        if not self.gone or self.gone[-1].phase is not step.phase:
            self._end(numbers)
            self.gone.append(_Going(phase=step.phase, line=None))
        going = self.gone[-1]
        going.counted.setdefault(step.item, step.line)
        if step.place is not None:
            group = self.items[step.item].group
            going.places.setdefault(group, {}).setdefault(step.place, step.line)

    def counted_in(self, phase: Phase | None) -> set[str]:
        """The items that were counted in a phase, however often it was announced."""
        return {item for going in self.gone if going.phase is phase for item in going.counted}

    def close(self, numbers: Mapping[str, Running]) -> None:
        """Look at the phase that is going on, at the end of the lines."""
        if self.gone:
            self.gone[-1].left_out = self._left_out(self.gone[-1], numbers)

    def _end(self, numbers: Mapping[str, Running]) -> None:
        if self.gone:
            going = self.gone[-1]
            going.left_out = self._left_out(going, numbers)
            going.over = True

    def _left_out(self, going: _Going, numbers: Mapping[str, Running]) -> tuple[str, ...]:
        asked = [
            item for item in self.items.values() if not going.groups or item.group in going.groups
        ]
        if going.phase is Phase.INITIAL:
            # The kit is the list: what it expects of a group whose counting has begun.
            begun = {self.items[item].group for item in going.counted}
            return tuple(
                item.id
                for item in asked
                if item.expected and item.group in begun and item.id not in going.counted
            )
        if going.phase not in FULL:
            return ()
        return tuple(item.id for item in left_out(asked, numbers, set(going.counted), going.phase))


def left_out(
    asked: Sequence[Item],
    numbers: Mapping[str, Running],
    counted: set[str],
    phase: Phase | None,
) -> list[Item]:
    """Items that were counted before and should be there, but not counted now.

    Instruments are not counted again at every closing count everywhere (common practice, no
    source), so they are left out only once one of them has been counted. A relief counts them.
    """
    groups = {item.group for item in asked if item.id in counted}
    return [
        item
        for item in asked
        if item.id in numbers
        and item.id not in counted
        and numbers[item.id].last is not None
        and numbers[item.id].expected
        and (item.group is not Group.INSTRUMENTS or item.group in groups or phase is Phase.RELIEF)
    ]


def phase_counts(phases: Phases) -> tuple[PhaseCount, ...]:
    """Every phase as the record shows it."""
    return tuple(
        PhaseCount(
            phase=going.phase,
            line=going.line,
            groups=tuple(going.groups),
            counted=tuple(going.counted),
            left_out=going.left_out,
        )
        for going in phases.gone
    )


def phase_notices(phases: Phases) -> list[Notice]:
    """What was left out or came out of the usual order; nothing of it is a barrier."""
    found: list[Notice] = []
    for going in phases.gone:
        name = sentences.phase_count(going.phase, going.line)
        if going.left_out:
            names = sentences.some([_name(phases, item) for item in going.left_out])
            code = NoticeCode.LEFT_OUT if going.over else NoticeCode.NOT_COUNTED_YET
            yet = "" if going.over else " yet"
            found.append(
                Notice(
                    code=code,
                    sentence=f"Not counted{yet} in {name}: {names}.",
                    line=going.line,
                    items=going.left_out,
                )
            )
        found += _order_notices(phases, going, name)
    return found


def _order_notices(phases: Phases, going: _Going, name: str) -> list[Notice]:
    found: list[Notice] = []
    groups: dict[Group, tuple[str, int]] = {}
    for item, line in going.counted.items():
        groups.setdefault(phases.items[item].group, (item, line))
    usual = sentences.listing([sentences.GROUPS[group] for group in _USUAL])
    for late, before, (item, line) in _out_of_order(list(groups.items()), _USUAL):
        found.append(
            Notice(
                code=NoticeCode.GROUP_ORDER,
                sentence=f"In {name}, {sentences.GROUPS[late]} came after "
                f"{sentences.GROUPS[before]} (line {line}); the usual order is {usual}.",
                line=line,
                items=(item,),
            )
        )
    for group, places in going.places.items():
        seen = [(place, ("", line)) for place, line in places.items()]
        for place, after, (_, line) in _out_of_order(seen, ORDER):
            found.append(
                Notice(
                    code=NoticeCode.PLACE_ORDER,
                    sentence=f"In {name}, {sentences.GROUPS[group]} "
                    f"{sentences.PLACES[place]} came after those "
                    f"{sentences.PLACES[after]} (line {line}); usual is from the field outwards.",
                    line=line,
                )
            )
    return found


def _out_of_order(
    seen: Sequence[tuple[T, tuple[str, int]]], usual: Sequence[T]
) -> list[tuple[T, T, tuple[str, int]]]:
    """Whatever came after something that usually follows it: it, the other, and where."""
    found = []
    furthest: T | None = None
    for each, where in seen:
        if furthest is not None and usual.index(each) < usual.index(furthest):
            found.append((each, furthest, where))
        else:
            furthest = each
    return found


def _name(phases: Phases, item: str) -> str:
    return sentences.several(phases.items[item])
