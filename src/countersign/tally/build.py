"""From events and human decisions to the count record."""

from collections.abc import Mapping, Sequence

from countersign.kit import Item, Kit
from countersign.meaning.event import Event, EventKind, Question, QuestionCode
from countersign.tally import sentences
from countersign.tally.acts import Act, Decision, SignedException, StepDone
from countersign.tally.asking import Passing, ask_about_step
from countersign.tally.corrections import follow_corrections
from countersign.tally.decisions import decisions_in_force, no_such_line
from countersign.tally.discrepancies import (
    broken_of,
    discrepancies_of,
    packed_of,
    signed,
    unexcused,
)
from countersign.tally.drafts import (
    Draft,
    drafts_of,
    recounted,
    settle_sittings,
    settle_states,
    settle_steps,
)
from countersign.tally.medications import with_medications
from countersign.tally.phase_order import ask_about_phases
from countersign.tally.phases import Phases, phase_counts, phase_notices
from countersign.tally.places import WHOLE
from countersign.tally.record import (
    Broken,
    CountedAt,
    CountRecord,
    LineState,
    Notice,
    NoticeCode,
    Total,
)
from countersign.tally.relief import relief_notices
from countersign.tally.running import TALLIED, Running, run, start
from countersign.tally.strengths import strengths_not_stocked
from countersign.tally.verdicts import (
    Scene,
    ask_about_verdict,
    confirmed_verdict,
    exceptions_used,
    heard_verdict,
    verdict_notices,
)


def build_record(
    kit: Kit,
    events: Sequence[Event],
    decisions: Sequence[Decision] = (),
    *,
    steps: Sequence[StepDone] = (),
    exceptions: Sequence[SignedException] = (),
) -> CountRecord:
    """The count record of one case.

    Pure: the same arguments give the same record, and decisions on different lines may come in any
    order. Lines are numbered from 1 in the order of the events. Decisions on one line take effect
    in the order of the ledger where they carry their entry number, else in order of time; the last
    one holds, and ``undo`` returns the line to heard. ``steps`` and ``exceptions`` are what people
    entered about discrepancies, in the order they were kept.
    """
    in_force, unknown = decisions_in_force(decisions, len(events))
    set_aside = frozenset(n for n, made in in_force.items() if made.act is Act.SET_ASIDE)
    heard = follow_corrections(events, set_aside)
    items = {item.id: item for item in kit.items}
    drafts = drafts_of(events, heard, in_force, items)
    settle_states(drafts, set_aside)
    settle_sittings(drafts, items)
    settle_steps(drafts, items)
    ask_about_phases(drafts)
    scene = Scene(items=items, exceptions=signed(exceptions), phases=Phases(items))
    _go_through(kit, drafts, scene)

    packed = packed_of(scene.numbers, scene.exceptions)
    broken = broken_of(scene.numbers, scene.watch, scene.exceptions)
    discrepancies = discrepancies_of(scene.watch, drafts, steps, scene.exceptions)
    lines, medications = with_medications(kit, [draft.line() for draft in drafts])
    questions = (
        *(no_such_line(decision, len(events)) for decision in unknown),
        *(_pieces_question(items, each) for each in unexcused(broken)),
    )
    confirmed = _numbers(drafts, items, as_heard=False)
    open_questions = len(questions) + sum(len(line.questions) for line in lines if line.is_open)
    verdict = confirmed_verdict(items, drafts, confirmed, discrepancies, packed, open_questions)
    by_exception = exceptions_used(verdict, discrepancies, packed)
    return CountRecord(
        lines=lines,
        totals=_totals(kit, drafts, _numbers(drafts, items, as_heard=True), confirmed),
        questions=questions,
        heard_verdict=heard_verdict(drafts),
        verdict=verdict,
        open_questions=open_questions,
        confirmed=bool(lines) and open_questions == 0 and not any(line.is_open for line in lines),
        discrepancies=discrepancies,
        packed=packed,
        broken=broken,
        phases=phase_counts(scene.phases),
        notices=(
            *phase_notices(scene.phases),
            *relief_notices(kit, drafts, medications),
            *verdict_notices(items, drafts),
            *(_exception_notice(items, made) for made in by_exception),
        ),
        by_exception=by_exception,
        medications=medications,
    )


def _go_through(kit: Kit, drafts: Sequence[Draft], scene: Scene) -> None:
    """The tally's questions, each against the best known numbers up to that line.

    Best known is what a person confirmed, and what was heard where nobody has acted yet.
    """
    passing = Passing()
    for draft in drafts:
        for sentence in strengths_not_stocked(kit, draft.event.medication):
            draft.ask(QuestionCode.STRENGTH_NOT_STOCKED, sentence)
        if draft.heard.kind is EventKind.PHASE and draft.live and draft.phase is not None:
            scene.watch.settle()
            scene.phases.announce(draft, scene.numbers)
        if draft.heard.kind is EventKind.VERDICT:
            scene.watch.settle()
            ask_about_verdict(draft, scene)
            if draft.barred and draft.confirmed:
                # A "correct" that cannot be true is not confirmed, whatever a person pressed.
                draft.state = LineState.HEARD
            for item in recounted(draft, scene.items):
                if item in scene.numbers:
                    scene.numbers[item].recount_line = draft.number
        _take(draft, scene, passing)
        # A "correct" that could not be true keeps the record open by itself; a later one is about
        # the counts since, and need not say again that the first was wrong.
        said = draft.heard.kind is EventKind.VERDICT
        if draft.state is LineState.HEARD and draft.questions and not said:
            scene.open_before.append(draft.number)
    scene.watch.settle()
    scene.phases.close(scene.numbers)


def _take(draft: Draft, scene: Scene, passing: Passing) -> None:
    """Ask about what a line does to its item's numbers, then do it."""
    items, numbers = scene.items, scene.numbers
    heard, known = draft.heard_step, draft.step
    asked: list[Question] = []
    if heard is not None:
        before = numbers.get(heard.item) or start(items[heard.item])
        after, number = before.after(heard)
        asked = ask_about_step(draft, items[heard.item], heard, before, after, number)
    if known is None:
        return
    running = numbers.setdefault(known.item, start(items[known.item]))
    draft.expected = running.expected
    if not draft.counts:
        return
    goes_on = running.goes_on(known)
    if known is heard:  # as it mostly is: what was only asked about now holds
        running = numbers[known.item] = after
    else:
        number = running.take(known)
    if known.kind is not EventKind.COUNT:
        draft.expected = running.expected
        return
    if goes_on:
        _no_longer_asked(passing, known.item, scene.open_before)
    if heard is not None and heard.item == known.item and asked:
        passing.keep(known.item, draft, asked)
    elif not goes_on:
        passing.asked.pop(known.item, None)
    if number is not None:
        draft.expected = running.expected_now
        scene.watch.count(known, number, running, goes_on=goes_on)
        scene.phases.count(known, numbers)


def _no_longer_asked(passing: Passing, item: str, open_before: list[int]) -> None:
    before = passing.hand_on(item)
    if before is not None and not before.questions and before.number in open_before:
        open_before.remove(before.number)


def _numbers(
    drafts: Sequence[Draft], items: Mapping[str, Item], *, as_heard: bool
) -> dict[str, Running]:
    """The numbers of what was heard, or of what was confirmed."""
    return run(
        items,
        (
            step
            for draft in drafts
            if (draft.counts if as_heard else draft.confirmed)
            and (step := draft.heard_step if as_heard else draft.step) is not None
        ),
    )


def _totals(
    kit: Kit,
    drafts: Sequence[Draft],
    heard: Mapping[str, Running],
    confirmed: Mapping[str, Running],
) -> tuple[Total, ...]:
    named = {draft.heard.item for draft in drafts if draft.heard.kind in TALLIED}
    named |= {draft.item for draft in drafts if draft.kind in TALLIED}
    found = []
    for item in kit.items:
        if item.id not in named:
            continue
        nothing = Running(item=item, base=None)
        one, other = heard.get(item.id, start(item)), confirmed.get(item.id, nothing)
        found.append(
            Total(
                item=item.id,
                heard_expected=one.expected,
                heard_last=one.last,
                confirmed_expected=other.expected,
                confirmed_last=other.last,
                heard_at=_by_place(one),
            )
        )
    return tuple(found)


def _by_place(running: Running) -> tuple[CountedAt, ...]:
    return tuple(
        CountedAt(place=place, part=part, quantity=number)
        for (place, part), number in running.cells.numbers.items()
        if (place, part) != WHOLE
    )


def _pieces_question(items: Mapping[str, Item], broken: Broken) -> Question:
    sentence = sentences.pieces_open(items[broken.item], broken.pieces, broken.line)
    return Question(code=QuestionCode.NOT_EXPECTED, sentence=f"{sentences.opening(sentence)}.")


def _exception_notice(items: Mapping[str, Item], made: SignedException) -> Notice:
    return Notice(
        code=NoticeCode.BY_EXCEPTION,
        sentence=f"“Correct” stands by exception for {sentences.several(items[made.item])} "
        f"(line {made.line}), signed by {made.scrub} (scrub) and {made.circulator} (circulator): "
        f"{made.reason.rstrip('.')}.",
        line=made.line,
        items=(made.item,),
    )
