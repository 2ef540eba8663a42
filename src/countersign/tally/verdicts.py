"""Whether "correct" can be true, and whether a confirmed one still holds."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from countersign.kit import Group, Item
from countersign.meaning.event import EventKind, Phase, QuestionCode, Verdict
from countersign.tally import sentences
from countersign.tally.discrepancies import (
    Signed,
    Watch,
    broken_of,
    packed_of,
    unexcused,
)
from countersign.tally.drafts import Draft
from countersign.tally.findings import Notice, NoticeCode
from countersign.tally.phases import FULL, Phases, left_out
from countersign.tally.record import Discrepancy, LineState, Packed, SignedException
from countersign.tally.running import TALLIED, Running

_LISTED = 5
"""How many open lines one sentence names."""
_WOUND_EMPTY = frozenset({Phase.CLOSING, Phase.FINAL})
"""Phases in which nothing packed may be left when "correct" is said."""


@dataclass
class Scene:
    """What is known at one line: the items, their numbers, the phases and what is open."""

    items: Mapping[str, Item]
    exceptions: Signed
    numbers: dict[str, Running] = field(default_factory=dict)
    watch: Watch = field(default_factory=Watch)
    phases: Phases = field(default_factory=lambda: Phases({}))
    open_before: list[int] = field(default_factory=list)


def ask_about_verdict(draft: Draft, scene: Scene) -> None:
    """Whether "correct" can be true here; whatever differs or is open bars it."""
    if draft.event.verdict is not Verdict.CORRECT:
        return
    asked = {
        item.id: item for item in scene.items.values() if draft.event.group in (None, item.group)
    }
    for wrong in (
        _wrong_numbers(asked, scene),
        _in_pieces(asked, scene),
        _in_the_wound(asked, scene) if draft.phase in _WOUND_EMPTY else [],
    ):
        if wrong:
            draft.barred = True
            draft.ask(
                QuestionCode.VERDICT_CONFLICT,
                f"“Correct” was said, but {sentences.listing(wrong)}.",
            )
    if scene.open_before:
        draft.barred = True
        draft.ask(QuestionCode.VERDICT_CONFLICT, _open_lines(scene.open_before))
    recounts = [
        f"{sentences.several(item)} (line {scene.numbers[item.id].recount_line})"
        for item in asked.values()
        if item.id in scene.numbers and scene.numbers[item.id].recount_line is not None
    ]
    if recounts:
        draft.ask(
            QuestionCode.VERDICT_CONFLICT,
            f"“Correct” was said, but no count came after the recount of "
            f"{sentences.some(recounts)}.",
        )
    if draft.phase in FULL:
        _ask_about_full_count(draft, asked, scene)


def _wrong_numbers(asked: Mapping[str, Item], scene: Scene) -> list[str]:
    found = []
    for item_id, item in asked.items():
        running = scene.numbers.get(item_id)
        if running is None or not running.differs or running.last is None:
            continue
        episode = scene.watch.open.get(item_id)
        difference = running.last - (running.expected or 0)
        if (
            episode is not None
            and episode.difference == difference
            and scene.exceptions.of(item_id, episode.line, difference) is not None
        ):
            continue
        if running.last == running.expected:
            lacking = sentences.listing(running.missing_parts)
            found.append(f"{sentences.several(item)}: {lacking} missing")
        elif running.added_up:
            found.append(sentences.not_counted_since(item, running.last, running.expected or 0))
        else:
            found.append(
                f"{sentences.several(item)}: {running.last} counted, {running.expected} expected"
            )
    return found


def _in_pieces(asked: Mapping[str, Item], scene: Scene) -> list[str]:
    """Pieces nobody accounts for, unless the number of the item is wrong anyway."""
    return [
        sentences.pieces_open(asked[each.item], each.pieces, each.line)
        for each in unexcused(broken_of(scene.numbers, scene.watch, scene.exceptions))
        if each.item in asked and not scene.numbers[each.item].differs
    ]


def _in_the_wound(asked: Mapping[str, Item], scene: Scene) -> list[str]:
    return [
        sentences.still_in_wound(asked[each.item], each.quantity, each.line)
        for each in unexcused(packed_of(scene.numbers, scene.exceptions))
        if each.item in asked
    ]


def _open_lines(open_before: Sequence[int]) -> str:
    noun = "line" if len(open_before) == 1 else "lines"
    where = sentences.listing([str(number) for number in open_before[:_LISTED]])
    if len(open_before) > _LISTED:
        where += f" (and {len(open_before) - _LISTED} more)"
    verb = "has" if noun == "line" else "have"
    return f"“Correct” was said, but {noun} {where} still {verb} an open question."


def _ask_about_full_count(draft: Draft, asked: Mapping[str, Item], scene: Scene) -> None:
    counted = scene.phases.counted_in(draft.phase)
    missing = left_out(list(asked.values()), scene.numbers, counted, draft.phase)
    if missing:
        names = [sentences.several(item) for item in missing]
        draft.ask(
            QuestionCode.VERDICT_CONFLICT,
            f"“Correct” was said, but {sentences.listing(names)} were not counted in this phase.",
        )


def heard_verdict(drafts: Sequence[Draft]) -> Verdict | None:
    """The last verdict said."""
    said = _said(drafts)
    return said[-1].event.verdict if said else None


def confirmed_verdict(
    items: Mapping[str, Item],
    drafts: Sequence[Draft],
    confirmed: Mapping[str, Running],
    discrepancies: Sequence[Discrepancy],
    packed: Sequence[Packed],
    open_questions: int,
) -> Verdict | None:
    """The last verdict said, if a person confirmed it and, for "correct", if it still holds."""
    said = _said(drafts)
    if not said or not said[-1].confirmed:
        return None
    last = said[-1]
    if last.event.verdict is not Verdict.CORRECT:
        return last.event.verdict
    counts = [d for d in drafts if d.event.kind in TALLIED | {EventKind.CORRECTION}]
    if open_questions or any(d.state is LineState.HEARD for d in counts):
        return None
    standing = [each for each in discrepancies if each.is_open]
    if unexcused(standing):
        return None
    if last.phase in _WOUND_EMPTY and unexcused(packed):
        return None
    excused = {each.item: each.difference for each in standing}
    for item, running in confirmed.items():
        if running.last is None or not running.differs:
            continue
        if excused.get(item) != running.last - (running.expected or 0):
            return None
    return None if _not_spoken_for(items, drafts) else Verdict.CORRECT


def verdict_notices(items: Mapping[str, Item], drafts: Sequence[Draft]) -> list[Notice]:
    """Why a confirmed "correct" for one group is not yet the verdict of the record."""
    left = _not_spoken_for(items, drafts)
    last = _said(drafts)[-1] if left else None
    if last is None or last.event.group is None:
        return []
    spoken = sentences.GROUPS[Group(last.event.group)]
    names = sentences.listing([sentences.GROUPS[group] for group in left])
    text = f"“Correct” was confirmed of {spoken}; {names} were counted too and not spoken for yet."
    return [Notice(code=NoticeCode.NOT_SPOKEN_FOR, sentence=text, line=last.number)]


def _not_spoken_for(items: Mapping[str, Item], drafts: Sequence[Draft]) -> list[Group]:
    """ "Sponges are correct" speaks for sponges only.

    The record waits until every group that was counted in this phase has been spoken for. Empty
    where the last verdict said is no confirmed "correct" of one group.
    """
    said = _said(drafts)
    if not said or not said[-1].confirmed or said[-1].event.group is None:
        return []
    last = said[-1]
    if last.event.verdict is not Verdict.CORRECT:
        return []
    counts = [d for d in drafts if d.event.kind in TALLIED | {EventKind.CORRECTION}]
    counted = {
        items[d.item].group
        for d in counts
        if d.live and d.item is not None and d.item in items and d.phase is last.phase
    }
    correct = {
        d.event.group
        for d in said
        if d.confirmed and d.phase is last.phase and d.event.verdict is Verdict.CORRECT
    }
    return [] if None in correct else [group for group in Group if group in counted - correct]


def _said(drafts: Sequence[Draft]) -> list[Draft]:
    return [d for d in drafts if d.heard.kind is EventKind.VERDICT and d.live]


def exceptions_used(
    verdict: Verdict | None,
    discrepancies: Sequence[Discrepancy],
    packed: Sequence[Packed],
) -> tuple[SignedException, ...]:
    """The exceptions without which a verdict of "correct" would not stand."""
    if verdict is not Verdict.CORRECT:
        return ()
    found = [each.exception for each in discrepancies if each.is_open]
    found += [each.exception for each in packed]
    return tuple(each for each in found if each is not None)
