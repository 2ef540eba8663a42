"""When an item's counts and the number that should be there part, and when they meet again."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol, TypeVar

from countersign.meaning.event import EventKind
from countersign.tally.acts import SignedException, StepDone
from countersign.tally.drafts import Draft
from countersign.tally.findings import Broken, Discrepancy, Packed
from countersign.tally.running import TALLIED, Running, Step


@dataclass
class Episode:
    """From the first count of an item that differs to the one that agrees again."""

    item: str
    line: int
    latest: int
    counted: int
    expected: int
    missing_parts: tuple[str, ...]
    last_right: int | None
    resolved_by: int | None = None

    @property
    def difference(self) -> int:
        """Counted less expected."""
        return self.counted - self.expected


@dataclass(frozen=True)
class _Counted:
    """What an item was counted as at one line."""

    line: int
    number: int
    expected: int
    missing_parts: tuple[str, ...]


@dataclass
class Watch:
    """The counts of every item against what should be there, as the lines go by.

    Counts that add up (places, parts, packs) are judged together, once the next thing begins:
    until then they stand in ``adding_up``.
    """

    episodes: list[Episode] = field(default_factory=list)
    open: dict[str, Episode] = field(default_factory=dict)
    last_right: dict[str, int] = field(default_factory=dict)
    adding_up: dict[str, _Counted] = field(default_factory=dict)

    def count(self, step: Step, number: int, running: Running, *, goes_on: bool) -> None:
        """Take in that a count was made; ``goes_on`` where it adds to those before it."""
        before = self.adding_up.pop(step.item, None)
        if before is not None and not goes_on:
            self._judge(step.item, before)
        counted = _Counted(step.line, number, running.expected or 0, running.missing_parts)
        if step.by_pieces:
            self.adding_up[step.item] = counted
        else:
            self._judge(step.item, counted)

    def settle(self) -> None:
        """Judge what was counted so far: something else begins."""
        for item, counted in self.adding_up.items():
            self._judge(item, counted)
        self.adding_up.clear()

    def _judge(self, item: str, counted: _Counted) -> None:
        episode = self.open.get(item)
        if counted.number == counted.expected and not counted.missing_parts:
            self.last_right[item] = counted.line
            if episode is not None:
                episode.resolved_by = counted.line
                del self.open[item]
            return
        if episode is None:
            episode = Episode(
                item=item,
                line=counted.line,
                latest=counted.line,
                counted=counted.number,
                expected=counted.expected,
                missing_parts=counted.missing_parts,
                last_right=self.last_right.get(item),
            )
            self.open[item] = episode
            self.episodes.append(episode)
        episode.latest = counted.line
        episode.counted, episode.expected = counted.number, counted.expected
        episode.missing_parts = counted.missing_parts


@dataclass(frozen=True)
class Signed:
    """The exceptions in force, by item, line and difference: exactly what was signed for."""

    by_key: Mapping[tuple[str, int, int], SignedException]

    def of(self, item: str, line: int, difference: int) -> SignedException | None:
        """The exception that covers this, if one does."""
        return self.by_key.get((item, line, difference))


def signed(exceptions: Iterable[SignedException]) -> Signed:
    """Those in force: for the same thing the last one holds, and one withdrawn holds nothing."""
    last = {(made.item, made.line, made.difference): made for made in exceptions}
    return Signed({key: made for key, made in last.items() if not made.withdrawn})


def packed_of(numbers: Mapping[str, Running], exceptions: Signed) -> tuple[Packed, ...]:
    """What is in the wound, as far as was said."""
    return tuple(
        Packed(
            item=item,
            quantity=running.packed,
            line=running.packed_line,
            exception=exceptions.of(item, running.packed_line, running.packed),
        )
        for item, running in numbers.items()
        if running.packed
    )


def broken_of(
    numbers: Mapping[str, Running], watch: Watch, exceptions: Signed
) -> tuple[Broken, ...]:
    """What is in pieces that no count accounts for.

    Whoever signs for the count that shows a piece missing signs for the pieces too.
    """
    found = []
    for item, running in numbers.items():
        episode = watch.open.get(item)
        for line, pieces in running.pieces.items():
            exception = None
            if episode is not None and episode.latest > line:
                exception = exceptions.of(item, episode.line, episode.difference)
            found.append(Broken(item=item, pieces=pieces, line=line, exception=exception))
    return tuple(found)


def discrepancies_of(
    watch: Watch, drafts: Sequence[Draft], steps: Sequence[StepDone], exceptions: Signed
) -> tuple[Discrepancy, ...]:
    """Every discrepancy with the steps that people entered, in the order of the lines."""
    by_episode: dict[int, list[StepDone]] = {}
    astray: dict[tuple[str, int], list[StepDone]] = {}
    for made in steps:
        where = _episode_of(made, watch.episodes)
        if where is None:
            astray.setdefault((made.item, made.line), []).append(made)
        else:
            by_episode.setdefault(where, []).append(made)
    found = [
        _discrepancy(episode, drafts, by_episode.get(place, []), exceptions)
        for place, episode in enumerate(watch.episodes)
    ]
    found += [
        Discrepancy(item=item, line=line, latest=line, steps=in_force, vanished=True)
        for (item, line), made in astray.items()
        if (in_force := _in_force(made))
    ]
    return tuple(sorted(found, key=lambda each: (each.line, each.item, each.vanished)))


def _discrepancy(
    episode: Episode, drafts: Sequence[Draft], steps: Sequence[StepDone], exceptions: Signed
) -> Discrepancy:
    exception = None
    if episode.resolved_by is None:
        exception = exceptions.of(episode.item, episode.line, episode.difference)
    return Discrepancy(
        item=episode.item,
        line=episode.line,
        latest=episode.latest,
        counted=episode.counted,
        expected=episode.expected,
        missing_parts=episode.missing_parts,
        last_right=episode.last_right,
        since=_since(episode, drafts),
        steps=_in_force(steps),
        resolved_by=episode.resolved_by,
        exception=exception,
    )


def _since(episode: Episode, drafts: Sequence[Draft]) -> tuple[int, ...]:
    """The lines that tell of it; after the count that still differs only remarks do."""
    named = (
        draft
        for draft in drafts[episode.last_right or 0 : episode.resolved_by]
        if draft.number <= episode.latest or draft.heard.kind is EventKind.REMARK
    )
    return tuple(
        draft.number
        for draft in named
        if episode.item in (draft.item, draft.heard.item)
        or (draft.heard.kind in TALLIED and draft.item is None)
    )


def _episode_of(made: StepDone, episodes: Sequence[Episode]) -> int | None:
    """The place of the episode a step belongs to.

    Where decisions on lines moved the beginning of an episode, its steps move with it: to the first
    one of the item that begins later.
    """
    later = [
        place
        for place, episode in enumerate(episodes)
        if episode.item == made.item and episode.line >= made.line
    ]
    return min(later, key=lambda place: episodes[place].line, default=None)


def _in_force(steps: Sequence[StepDone]) -> tuple[StepDone, ...]:
    last: dict[str, StepDone] = {}
    for made in steps:
        last.pop(made.step, None)
        last[made.step] = made
    return tuple(made for made in last.values() if made.done)


class _CanBeExcused(Protocol):
    @property
    def exception(self) -> SignedException | None: ...


_Found = TypeVar("_Found", bound=_CanBeExcused)


def unexcused(found: Iterable[_Found]) -> list[_Found]:
    """Those for which nobody signed."""
    return [each for each in found if each.exception is None]
