"""Lines in the making, and what a person's decisions make of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from countersign.kit import Item
from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Phase,
    Question,
    QuestionCode,
    Verdict,
)
from countersign.tally import sentences
from countersign.tally.acts import Act, Decision
from countersign.tally.corrections import Heard
from countersign.tally.places import ORDER, Cell
from countersign.tally.record import Line, LineState
from countersign.tally.running import TALLIED, Sitting, Step

_CONFIRMED = (LineState.ACCEPTED, LineState.AMENDED)


@dataclass
class Draft:
    """A line in the making.

    ``phase``, ``group``, ``kind``, ``item``, ``quantity``, ``place`` and ``part`` are the best
    known: as amended, else as heard. ``barred`` means that the line cannot be confirmed as it
    stands, ``waits`` that it does not enter the totals until a person decides. ``step`` is what the
    line does to its item's numbers as best known, ``heard_step`` as heard.
    """

    number: int
    event: Event
    heard: Heard
    phase: Phase | None
    group: str | None
    decision: Decision | None
    kind: EventKind | None
    item: str | None
    quantity: int | Decimal | None
    place: str | None
    part: str | None
    questions: list[Question]
    barred: bool = False
    waits: bool = False
    state: LineState = LineState.HEARD
    expected: int | None = None
    sitting: Sitting = (0, 0, None)
    verdicts: int = 0
    heard_step: Step | None = None
    step: Step | None = None

    @property
    def live(self) -> bool:
        """Whether the line stands as heard: neither struck nor set aside."""
        return self.heard.struck_by is None and self.state is not LineState.SET_ASIDE

    @property
    def counts(self) -> bool:
        """Whether the line enters what was heard: it is live and not waiting for a person."""
        return self.live and not (self.waits and self.state is LineState.HEARD)

    @property
    def confirmed(self) -> bool:
        """Whether a person confirmed the line."""
        return self.state in _CONFIRMED

    def ask(self, code: QuestionCode, sentence: str) -> Question:
        """Add a question."""
        question = Question(code=code, sentence=sentence)
        self.questions.append(question)
        return question

    def has(self, code: QuestionCode) -> bool:
        """Whether a question with this code was asked."""
        return any(question.code is code for question in self.questions)

    def line(self) -> Line:
        """The line as the record shows it."""
        return Line(
            number=self.number,
            event=self.event,
            phase=self.phase,
            group=self.group,
            acts_as=self.kind,
            item=self.heard.item,
            quantity=self.heard.quantity,
            place=self.heard.place,
            part=self.heard.part,
            expected=self.expected,
            state=self.state,
            questions=tuple(self.questions),
            struck_by=self.heard.struck_by,
            waits=self.live and not self.counts,
            confirmed_item=self.item if self.confirmed else None,
            confirmed_quantity=self.quantity if self.confirmed else None,
            confirmed_place=self.place if self.confirmed else None,
            confirmed_part=self.part if self.confirmed else None,
            decision=self.decision,
        )


def drafts_of(
    events: Sequence[Event],
    heard: Sequence[Heard],
    in_force: Mapping[int, Decision],
    items: Mapping[str, Item],
) -> list[Draft]:
    """A draft for each event, with the questions that need only the line itself."""
    drafts: list[Draft] = []
    current: Phase | None = None
    for number, (event, line) in enumerate(zip(events, heard, strict=True), start=1):
        decision = in_force.get(number)
        dropped = decision is not None and decision.act is Act.SET_ASIDE
        announced, group = event.phase, event.group
        if event.kind is EventKind.PHASE:
            announced, group = _announced(event, decision)
            current = current if dropped else announced or current
        draft = Draft(
            number=number,
            event=event,
            heard=line,
            phase=announced or current,
            group=group,
            decision=decision,
            kind=line.kind,
            item=line.item,
            quantity=line.quantity,
            place=line.place,
            part=line.part,
            questions=list(dict.fromkeys((*event.questions, *line.questions))),
        )
        if decision is not None and decision.act is Act.AMEND:
            _amend(draft, decision, heard[line.strikes - 1] if line.strikes else None)
        _check_line(draft, items)
        drafts.append(draft)
    return drafts


def _announced(event: Event, decision: Decision | None) -> tuple[Phase | None, str | None]:
    """The count that a line announces and its group, as a person amended them or as heard."""
    if decision is None or decision.act is not Act.AMEND:
        return event.phase, event.group
    group = event.group if decision.group is None else decision.group or None
    return decision.phase or event.phase, group


def _amend(draft: Draft, decision: Decision, struck: Heard | None) -> None:
    if decision.place is not None:
        draft.place = decision.place or None
    if decision.part is not None:
        draft.part = decision.part or None
    detail = decision.medication or MedicationDetail()
    draft.item = decision.item or detail.name or draft.item
    quantity = detail.volume_ml if decision.quantity is None else decision.quantity
    if quantity is None:
        return
    draft.quantity = quantity
    if draft.event.kind is EventKind.CORRECTION and draft.kind is None:
        # "Strike that" amended with a number: it now stands in for the line it strikes.
        draft.kind = struck.kind if struck else EventKind.COUNT
        draft.item = draft.item or (struck.item if struck else None)
        if struck is not None:
            draft.place = struck.place if decision.place is None else draft.place
            draft.part = struck.part if decision.part is None else draft.part


def _check_line(draft: Draft, items: Mapping[str, Item]) -> None:
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
    if line.repeats:
        draft.ask(
            QuestionCode.UNCLEAR_CORRECTION,
            f"Line {line.strikes}, which “{draft.event.words}” strikes, may only repeat the one "
            "before it; if it does, set it aside, and this strikes that one.",
        )
    for kind, item, quantity, cell in (
        (line.kind, line.item, line.quantity, (line.place, line.part)),
        (draft.kind, draft.item, draft.quantity, (draft.place, draft.part)),
    ):
        fault = _fault(kind, item, quantity, cell, items)
        draft.barred = fault is not None
        if fault is not None and not draft.has(fault.code):
            draft.questions.append(fault)


def _fault(
    kind: EventKind | None,
    item_id: str | None,
    quantity: int | Decimal | None,
    cell: Cell,
    items: Mapping[str, Item],
) -> Question | None:
    """Why these cannot be an item and a number of pieces."""
    if kind not in TALLIED:
        return None
    if item_id is None:
        return Question(code=QuestionCode.NO_ITEM, sentence="No item was heard.")
    item = items.get(item_id)
    if item is None:
        return Question(
            code=QuestionCode.NO_ITEM, sentence=f"The kit has no countable item “{item_id}”."
        )
    if quantity is None:
        return Question(code=QuestionCode.NO_QUANTITY, sentence=sentences.no_number(item, kind))
    least = 2 if kind is EventKind.BREAKAGE else 0
    if quantity != quantity.__trunc__() or quantity < least:
        return Question(
            code=QuestionCode.IMPLAUSIBLE, sentence=sentences.no_such_number(item, kind, quantity)
        )
    place, part = cell
    if part is not None and part not in item.parts:
        return Question(code=QuestionCode.NO_ITEM, sentence=sentences.no_such_part(item, part))
    if place is not None and place not in ORDER:
        return Question(
            code=QuestionCode.NO_ITEM, sentence=f"There is no place “{place}” to count at."
        )
    return None


def settle_states(drafts: list[Draft], set_aside: frozenset[int]) -> None:
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


def settle_sittings(drafts: Sequence[Draft], items: Mapping[str, Item]) -> None:
    """Which going through of its item each line belongs to.

    An announced phase begins a new one for everything, "recount" for what it names. How many
    verdicts about the item were said before is kept too: one of them may have ended a sitting.
    """
    phases = 0
    recounts: dict[str, int] = {}
    verdicts: dict[str | None, int] = {}
    for draft in drafts:
        if draft.live and draft.heard.kind is EventKind.PHASE:
            phases += 1
        for item in recounted(draft, items):
            recounts[item] = recounts.get(item, 0) + 1
        if draft.live and draft.heard.kind is EventKind.VERDICT:
            verdicts[draft.event.group] = verdicts.get(draft.event.group, 0) + 1
        named = draft.item if draft.item is not None else draft.heard.item
        draft.sitting = (phases, recounts.get(named or "", 0), draft.phase)
        item_named = items.get(named or "")
        group = item_named.group.value if item_named is not None else ""
        draft.verdicts = verdicts.get(None, 0) + verdicts.get(group, 0)


def recounted(draft: Draft, items: Mapping[str, Item]) -> list[str]:
    """The items that a line asks to count again; empty if it is no "recount"."""
    event = draft.event
    if not draft.live or event.kind is not EventKind.VERDICT:
        return []
    if event.verdict is not Verdict.RECOUNT:
        return []
    if event.item is not None:
        return [event.item] if event.item in items else []
    return [item.id for item in items.values() if event.group in (None, item.group)]


def settle_steps(drafts: Sequence[Draft], items: Mapping[str, Item]) -> None:
    """What every line does to its item's numbers, once the sittings are settled."""
    for draft in drafts:
        line = draft.heard
        heard = (line.kind, line.item, line.quantity, line.place, line.part)
        known = (draft.kind, draft.item, draft.quantity, draft.place, draft.part)
        draft.heard_step = _step_of(draft, as_heard=True, items=items)
        draft.step = (
            draft.heard_step if known == heard else _step_of(draft, as_heard=False, items=items)
        )


def _step_of(draft: Draft, *, as_heard: bool, items: Mapping[str, Item]) -> Step | None:
    line = draft.heard
    kind = line.kind if as_heard else draft.kind
    item = line.item if as_heard else draft.item
    quantity = line.quantity if as_heard else draft.quantity
    place, part = (line.place, line.part) if as_heard else (draft.place, draft.part)
    if kind not in TALLIED or _fault(kind, item, quantity, (place, part), items) is not None:
        return None
    if kind is None or item is None or quantity is None:
        return None
    return Step(
        kind=kind,
        item=item,
        quantity=int(quantity),
        phase=draft.phase,
        spoken=line.spoken,
        place=place,
        part=part,
        line=draft.number,
        sitting=draft.sitting,
        verdicts=draft.verdicts,
        unsure=as_heard and bool(draft.event.questions) and not draft.confirmed,
    )
