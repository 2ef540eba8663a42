"""From events and human decisions to the count record."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from countersign.kit import Group, Item, Kit
from countersign.meaning.event import (
    Event,
    EventKind,
    Phase,
    Question,
    QuestionCode,
    Spoken,
    Verdict,
)
from countersign.tally import sentences
from countersign.tally.corrections import Heard, follow_corrections
from countersign.tally.record import Act, CountRecord, Decision, Line, LineState, Total
from countersign.tally.running import TALLIED, Running, Step, opens, run, start
from countersign.tally.strengths import strengths_not_stocked

_CONFIRMED = (LineState.ACCEPTED, LineState.AMENDED)
_RECOUNTED = frozenset({Phase.CLOSING_CAVITY, Phase.CLOSING, Phase.FINAL})
"""Phases in which everything on the field is counted again."""
_LISTED = 5
"""How many open lines one sentence names."""


def build_record(
    kit: Kit, events: Sequence[Event], decisions: Sequence[Decision] = ()
) -> CountRecord:
    """The count record of one case.

    Pure: the same events and decisions give the same record, and decisions on different lines may
    come in any order. Lines are numbered from 1 in the order of the events. Decisions on one line
    take effect in order of time; the last one holds, and ``undo`` returns the line to heard.
    """
    in_force, unknown = _decisions_in_force(decisions, len(events))
    set_aside = frozenset(n for n, made in in_force.items() if made.act is Act.SET_ASIDE)
    heard = follow_corrections(
        events,
        frozenset(n for n in set_aside if events[n - 1].kind is EventKind.CORRECTION),
    )
    items = {item.id: item for item in kit.items}
    drafts = _drafts(events, heard, in_force, items)
    _settle_states(drafts, set_aside)
    _ask(kit, items, drafts)

    lines = tuple(_line(draft) for draft in drafts)
    questions = tuple(_no_such_line(decision, len(events)) for decision in unknown)
    totals = _totals(kit, items, drafts)
    open_questions = len(questions) + sum(len(line.questions) for line in lines if line.is_open)
    return CountRecord(
        lines=lines,
        totals=totals,
        questions=questions,
        heard_verdict=_heard_verdict(drafts),
        verdict=_confirmed_verdict(items, drafts, totals, open_questions),
        open_questions=open_questions,
        confirmed=bool(lines) and open_questions == 0 and not any(line.is_open for line in lines),
    )


@dataclass
class _Draft:
    """A line in the making.

    ``kind``, ``item`` and ``quantity`` are the best known: as amended, else as heard. ``barred``
    means that the line cannot be confirmed as it stands.
    """

    number: int
    event: Event
    heard: Heard
    phase: Phase | None
    decision: Decision | None
    kind: EventKind | None
    item: str | None
    quantity: int | Decimal | None
    questions: list[Question]
    barred: bool = False
    state: LineState = LineState.HEARD
    expected: int | None = None

    @property
    def live(self) -> bool:
        """Whether the line stands as heard: neither struck nor set aside."""
        return self.heard.struck_by is None and self.state is not LineState.SET_ASIDE

    @property
    def confirmed(self) -> bool:
        return self.state in _CONFIRMED

    def ask(self, code: QuestionCode, sentence: str) -> None:
        self.questions.append(Question(code=code, sentence=sentence))

    def has(self, code: QuestionCode) -> bool:
        return any(question.code is code for question in self.questions)


# Decisions


def _decisions_in_force(
    decisions: Sequence[Decision], line_count: int
) -> tuple[dict[int, Decision], list[Decision]]:
    """The act that holds for each line, and acts on lines that do not exist."""
    last: dict[int, Decision] = {}
    for decision in sorted(decisions, key=lambda made: made.at):
        last[decision.line] = decision
    held = {n: made for n, made in sorted(last.items()) if made.act is not Act.UNDO}
    known = {n: made for n, made in held.items() if 1 <= n <= line_count}
    return known, [made for n, made in held.items() if n not in known]


def _no_such_line(decision: Decision, line_count: int) -> Question:
    lines = "1 line" if line_count == 1 else f"{line_count} lines"
    return Question(
        code=QuestionCode.NOTHING_TO_CORRECT,
        sentence=f"A decision by {decision.initials} is about line {decision.line}, "
        f"but the record has {lines}.",
    )


# Lines


def _drafts(
    events: Sequence[Event],
    heard: Sequence[Heard],
    in_force: Mapping[int, Decision],
    items: Mapping[str, Item],
) -> list[_Draft]:
    drafts: list[_Draft] = []
    current: Phase | None = None
    for number, (event, line) in enumerate(zip(events, heard, strict=True), start=1):
        decision = in_force.get(number)
        dropped = decision is not None and decision.act is Act.SET_ASIDE
        if event.kind is EventKind.PHASE and event.phase is not None and not dropped:
            current = event.phase
        draft = _Draft(
            number=number,
            event=event,
            heard=line,
            phase=event.phase or current,
            decision=decision,
            kind=line.kind,
            item=line.item,
            quantity=line.quantity,
            questions=list(event.questions),
        )
        if decision is not None and decision.act is Act.AMEND:
            _amend(draft, decision, heard[line.strikes - 1] if line.strikes else None)
        _check_line(draft, items)
        drafts.append(draft)
    return drafts


def _amend(draft: _Draft, decision: Decision, struck: Heard | None) -> None:
    draft.item = decision.item or draft.item
    if decision.quantity is None:
        return
    draft.quantity = decision.quantity
    if draft.event.kind is EventKind.CORRECTION and draft.kind is None:
        # "Strike that" amended with a number: it now stands in for the line it strikes.
        draft.kind = struck.kind if struck else EventKind.COUNT
        draft.item = draft.item or (struck.item if struck else None)


def _check_line(draft: _Draft, items: Mapping[str, Item]) -> None:
    """Questions that need only the line itself, and whether it can be confirmed as it stands."""
    line = draft.heard
    if line.in_vain:
        draft.ask(
            QuestionCode.NOTHING_TO_CORRECT,
            f"“{draft.event.words}” corrects something, but nothing before it fits.",
        )
    if line.passed_over is not None:
        draft.ask(
            QuestionCode.UNCLEAR_CORRECTION,
            f"“{draft.event.words}” strikes line {line.strikes}, "
            f"but line {line.passed_over} was said after it; which was meant?",
        )
    for kind, item, quantity in (
        (line.kind, line.item, line.quantity),
        (draft.kind, draft.item, draft.quantity),
    ):
        fault = _fault(item, quantity, items) if kind in TALLIED else None
        draft.barred = fault is not None
        if fault is not None and not draft.has(fault.code):
            draft.questions.append(fault)


def _fault(
    item: str | None, quantity: int | Decimal | None, items: Mapping[str, Item]
) -> Question | None:
    """Why these cannot be an item and a number of pieces."""
    if item is None:
        return Question(code=QuestionCode.NO_ITEM, sentence="No item was heard.")
    if item not in items:
        return Question(
            code=QuestionCode.NO_ITEM, sentence=f"The kit has no countable item “{item}”."
        )
    if quantity is None:
        return Question(
            code=QuestionCode.NO_QUANTITY,
            sentence=f"No number was heard for {sentences.several(items[item])}.",
        )
    if quantity != quantity.__trunc__() or quantity < 0:
        return Question(
            code=QuestionCode.IMPLAUSIBLE,
            sentence=f"{quantity} is not a number of {sentences.several(items[item])}.",
        )
    return None


def _settle_states(drafts: list[_Draft], set_aside: frozenset[int]) -> None:
    """Where every line but a confirmed "correct" stands; a correction only strikes what it may.

    Going backwards, a correction is settled before the line it strikes. A line that a person
    confirmed stays confirmed until the correction is confirmed too.
    """
    strike_confirmed: dict[int, bool] = {}
    for draft in reversed(drafts):
        act = None if draft.decision is None or draft.barred else draft.decision.act
        by = draft.heard.struck_by
        if draft.number in set_aside:
            draft.state = LineState.SET_ASIDE
        elif by is not None and (strike_confirmed[by] or act is None):
            draft.state = LineState.STRUCK
        elif act is Act.ACCEPT:
            draft.state = LineState.ACCEPTED
        elif act is Act.AMEND:
            draft.state = LineState.AMENDED
        strike_confirmed[draft.number] = draft.confirmed or (
            by is not None and strike_confirmed[by]
        )


def _step(draft: _Draft, *, as_heard: bool, items: Mapping[str, Item]) -> Step | None:
    """What the line does to its item's numbers, if it can do anything."""
    kind = draft.heard.kind if as_heard else draft.kind
    item = draft.heard.item if as_heard else draft.item
    quantity = draft.heard.quantity if as_heard else draft.quantity
    if kind not in TALLIED or _fault(item, quantity, items) is not None:
        return None
    if kind is None or item is None or quantity is None:
        return None
    return Step(kind, item, int(quantity), draft.phase, draft.heard.spoken)


# Questions that need what was counted before


def _ask(kit: Kit, items: dict[str, Item], drafts: list[_Draft]) -> None:
    """The tally's questions, each against the best known numbers up to that line.

    Best known is what a person confirmed, and what was heard where nobody has acted yet.
    """
    numbers: dict[str, Running] = {}
    differing: dict[str, None] = {}
    counted_in: dict[Phase | None, set[str]] = {}
    open_before: list[int] = []
    for draft in drafts:
        for sentence in strengths_not_stocked(kit, draft.event):
            draft.ask(QuestionCode.STRENGTH_NOT_STOCKED, sentence)
        if draft.heard.kind is EventKind.VERDICT:
            _ask_about_verdict(kit, draft, numbers, differing, counted_in, open_before)
            if draft.barred and draft.confirmed:
                # A "correct" that cannot be true is not confirmed, whatever a person pressed.
                draft.state = LineState.HEARD
        heard = _step(draft, as_heard=True, items=items)
        known = _step(draft, as_heard=False, items=items)
        if heard is not None:
            before = numbers.get(heard.item) or start(items[heard.item])
            _ask_about_step(draft, items[heard.item], heard, before)
        if known is not None:
            running = numbers.setdefault(known.item, start(items[known.item]))
            draft.expected = running.expected
            if draft.live:
                running.take(known)
                if known.kind is EventKind.COUNT:
                    counted_in.setdefault(known.phase, set()).add(known.item)
                else:
                    draft.expected = running.expected
                if running.differs:
                    differing[known.item] = None
                else:
                    differing.pop(known.item, None)
        if draft.state is LineState.HEARD and draft.questions:
            open_before.append(draft.number)


def _ask_about_step(draft: _Draft, item: Item, step: Step, before: Running) -> None:
    expected = before.expected
    if step.kind is EventKind.COUNT:
        earlier = before.earlier(step.phase)
        if expected is not None and step.quantity != expected:
            draft.ask(
                QuestionCode.NOT_EXPECTED, sentences.not_expected(item, step.quantity, expected)
            )
        if earlier is not None and step.quantity != earlier:
            draft.ask(
                QuestionCode.COUNT_DISAGREES, sentences.disagrees(item, step.quantity, earlier)
            )
        elif earlier is not None and step.spoken is Spoken.PACK:
            draft.ask(QuestionCode.COUNT_DISAGREES, sentences.pack_again(item))
    elif step.kind is EventKind.REMOVAL:
        if expected is None:
            draft.ask(QuestionCode.IMPLAUSIBLE, sentences.never_counted(item))
        elif step.quantity > expected:
            draft.ask(
                QuestionCode.IMPLAUSIBLE,
                sentences.more_than_there(item, step.quantity, max(expected, 0)),
            )
    _ask_about_size(draft, item, step, expected or 0)


def _ask_about_size(draft: _Draft, item: Item, step: Step, expected: int) -> None:
    added = step.kind is EventKind.ADDITION
    after = expected + step.quantity if added else step.quantity
    if after > item.most and step.kind is not EventKind.REMOVAL:
        draft.ask(QuestionCode.IMPLAUSIBLE, sentences.more_than_plausible(item, after))
    if step.quantity == 0 and step.kind is not EventKind.COUNT:
        verb = "added" if added else "taken off"
        draft.ask(QuestionCode.IMPLAUSIBLE, f"No {sentences.several(item)} were {verb}?")
    # Only whole packs are opened: a pack, an addition and what the case opens with must fit. Later
    # counts follow additions and removals and are checked against the expected number instead.
    in_packs = (
        step.spoken is Spoken.PACK or added or (step.kind is EventKind.COUNT and opens(step.phase))
    )
    if item.pack is None or not in_packs or step.quantity % item.pack == 0:
        return
    over = step.quantity > item.pack and step.quantity % item.pack * 2 < item.pack
    draft.ask(
        QuestionCode.PACK_OVER if over else QuestionCode.PACK_SHORT,
        sentences.packed(item, step.quantity),
    )


def _ask_about_verdict(
    kit: Kit,
    draft: _Draft,
    numbers: Mapping[str, Running],
    differing: Mapping[str, None],
    counted_in: Mapping[Phase | None, set[str]],
    open_before: Sequence[int],
) -> None:
    """Whether "correct" can be true here; a number that differs or an open question bars it."""
    if draft.event.verdict is not Verdict.CORRECT:
        return
    group = draft.event.group
    asked = [item for item in kit.items if group in (None, item.group)]
    wrong = [
        f"{sentences.several(item)}: {numbers[item.id].last} counted, "
        f"{numbers[item.id].expected} expected"
        for item in asked
        if item.id in differing
    ]
    if wrong:
        draft.barred = True
        draft.ask(
            QuestionCode.VERDICT_CONFLICT, f"“Correct” was said, but {sentences.listing(wrong)}."
        )
    if open_before:
        draft.barred = True
        noun = "line" if len(open_before) == 1 else "lines"
        where = sentences.listing([str(number) for number in open_before[:_LISTED]])
        if len(open_before) > _LISTED:
            where += f" (and {len(open_before) - _LISTED} more)"
        draft.ask(
            QuestionCode.VERDICT_CONFLICT,
            f"“Correct” was said, but {noun} {where} still {'has' if noun == 'line' else 'have'} "
            "an open question.",
        )
    if draft.phase in _RECOUNTED:
        counted = counted_in.get(draft.phase, set())
        missing = [sentences.several(item) for item in _left_out(asked, numbers, counted)]
        if missing:
            draft.ask(
                QuestionCode.VERDICT_CONFLICT,
                f"“Correct” was said, but {sentences.listing(missing)} "
                "were not counted in this phase.",
            )


def _left_out(
    asked: Sequence[Item], numbers: Mapping[str, Running], counted: set[str]
) -> list[Item]:
    """Items that were counted before and should be there, but not counted now.

    Instruments are not counted again at every closing count everywhere (common practice, no
    source), so they are left out only once one of them has been counted.
    """
    groups = {item.group for item in asked if item.id in counted}
    return [
        item
        for item in asked
        if item.id in numbers
        and item.id not in counted
        and numbers[item.id].last is not None
        and numbers[item.id].expected
        and (item.group is not Group.INSTRUMENTS or item.group in groups)
    ]


# The record


def _line(draft: _Draft) -> Line:
    return Line(
        number=draft.number,
        event=draft.event,
        phase=draft.phase,
        acts_as=draft.kind,
        item=draft.heard.item,
        quantity=draft.heard.quantity,
        expected=draft.expected,
        state=draft.state,
        questions=tuple(draft.questions),
        struck_by=draft.heard.struck_by,
        confirmed_item=draft.item if draft.confirmed else None,
        confirmed_quantity=draft.quantity if draft.confirmed else None,
        decision=draft.decision,
    )


def _totals(kit: Kit, items: dict[str, Item], drafts: Sequence[_Draft]) -> tuple[Total, ...]:
    heard = run(
        items,
        (
            step
            for draft in drafts
            if draft.live and (step := _step(draft, as_heard=True, items=items)) is not None
        ),
    )
    confirmed = run(
        items,
        (
            step
            for draft in drafts
            if draft.confirmed and (step := _step(draft, as_heard=False, items=items)) is not None
        ),
    )
    named = {draft.heard.item for draft in drafts if draft.heard.kind in TALLIED}
    named |= {draft.item for draft in drafts if draft.kind in TALLIED}
    nothing = Running(base=None)
    return tuple(
        Total(
            item=item.id,
            heard_expected=heard.get(item.id, start(item)).expected,
            heard_last=heard.get(item.id, nothing).last,
            confirmed_expected=confirmed.get(item.id, nothing).expected,
            confirmed_last=confirmed.get(item.id, nothing).last,
        )
        for item in kit.items
        if item.id in named
    )


def _heard_verdict(drafts: Sequence[_Draft]) -> Verdict | None:
    said = [d for d in drafts if d.heard.kind is EventKind.VERDICT and d.live]
    return said[-1].event.verdict if said else None


def _confirmed_verdict(
    items: Mapping[str, Item],
    drafts: Sequence[_Draft],
    totals: Sequence[Total],
    open_questions: int,
) -> Verdict | None:
    """The last verdict said, if a person confirmed it and, for "correct", if it still holds."""
    said = [d for d in drafts if d.heard.kind is EventKind.VERDICT and d.live]
    if not said or not said[-1].confirmed:
        return None
    last = said[-1]
    if last.event.verdict is not Verdict.CORRECT:
        return last.event.verdict
    counts = [d for d in drafts if d.event.kind in TALLIED | {EventKind.CORRECTION}]
    if open_questions or any(d.state is LineState.HEARD for d in counts):
        return None
    if any(t.confirmed_last not in (None, t.confirmed_expected) for t in totals):
        return None
    if last.event.group is not None:
        # "Sponges are correct" speaks for sponges; the record waits until every group that was
        # counted in this phase has been spoken for.
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
        if None not in correct and not counted <= correct:
            return None
    return Verdict.CORRECT
