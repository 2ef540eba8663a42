"""Entering what was done about a discrepancy: policy steps, and exceptions two people sign."""

from collections.abc import Sequence
from datetime import UTC, datetime

from pydantic import ValidationError
from rich.console import Group, RenderableType
from rich.text import Text

from countersign.confirm.amending import NotUnderstood, read_initials
from countersign.confirm.person import Person
from countersign.confirm.walk import Ask, Show, Stopped
from countersign.findings_view import discrepancy_text
from countersign.hanging import hanging
from countersign.kit.model import Kit
from countersign.ledger import (
    CaseHistory,
    Ledger,
    append_exception,
    append_step,
    read_case,
    record_of,
)
from countersign.meaning.event import EventKind
from countersign.policy import CheckedStep, Policy, checklist, may_enter
from countersign.printable import clean
from countersign.screen import ranges
from countersign.tally.record import (
    CountRecord,
    Discrepancy,
    Line,
    Packed,
    SignedException,
    StepDone,
)
from countersign.wording import clock_text, item_label, line_number_text, line_text, state_text

KEYS = "a number enters a step  t takes one back  e exception  n next  q stop"


def search(
    ledger: Ledger, case_id: str, person: Person, policy: Policy, *, ask: Ask, show: Show
) -> CountRecord:
    """Show every open discrepancy and keep each step before saying that it was kept.

    Returns the record when none is left to show or the person stops. Raises ``BadInput`` when the
    ledger cannot be read or written; what was entered before is kept.
    """
    left: set[tuple[str, int]] = set()
    while True:
        history = read_case(ledger, case_id)
        record = record_of(history)
        found = next(
            (d for d in open_ones(record) if (d.item, d.line) not in left),
            None,
        )
        if found is None:
            return record
        show(discrepancy_view(found, record, history.kit, timed=history.has_sound))
        show(policy_view(found, history.kit, policy))
        try:
            if not _enter(ledger, history, record, found, person, policy, ask, show):
                left.add((found.item, found.line))
        except Stopped:
            return record_of(read_case(ledger, case_id))
        except NotUnderstood as problem:
            show(Text(clean(str(problem))))


def open_ones(record: CountRecord) -> list[Discrepancy]:
    """The discrepancies that no later count resolved."""
    return [found for found in record.discrepancies if found.is_open]


def discrepancy_view(
    found: Discrepancy, record: CountRecord, kit: Kit, *, timed: bool = True
) -> RenderableType:
    """One discrepancy: what differs, when it was last right, what was said since, who signed."""
    said = discrepancy_text(found, record, kit, timed=timed)
    parts: list[RenderableType] = [Text(), Text(said, style="bold")]
    if found.since:
        parts.append(Text(f"Lines about it since: {ranges(list(found.since))}"))
        parts.append(hanging(_since(record.lines[n - 1], kit, timed=timed) for n in found.since))
    if found.exception is not None:
        made = found.exception
        parts.append(
            Text(
                f"Exception signed by {made.scrub} (scrub) and {made.circulator} (circulator): "
                f"{clean(made.reason)}",
                style="bold",
            )
        )
    return Group(*parts)


def _since(line: Line, kit: Kit, *, timed: bool) -> tuple[str, Text]:
    event = line.event
    when = f" at {clock_text(event.start_s)}" if timed and event.end_s > event.start_s else ""
    said = line_number_text(line)
    if event.kind is EventKind.REMARK:
        said = f"“{clean(event.words)}”"
    words = f"{line_text(line, kit)}: {said}{when}; {state_text(line)}"
    return f"  {line.number}", Text(words)


def policy_view(found: Discrepancy, kit: Kit, policy: Policy) -> RenderableType:
    """The steps that the policy asks for, those that were entered with who and when."""
    heading = Text(f"{clean(policy.title)}. {clean(policy.caution)}", style="italic")
    return Group(heading, steps_view(checklist(policy, found, kit)))


def steps_view(steps: Sequence[CheckedStep], *, only_done: bool = False) -> RenderableType:
    """Steps by their number, with who entered them and when."""
    return hanging(
        (f"  {number} [{'x' if checked.done else ' '}]", _step_text(checked))
        for number, checked in enumerate(steps, start=1)
        if checked.done or not only_done
    )


def _step_text(checked: CheckedStep) -> Text:
    text = Text(clean(checked.step.say))
    if checked.done is not None:
        made = checked.done
        at = f"{made.at.astimezone():%H:%M}"
        text.append(f"\ndone {at} by {made.initials} ({made.role.value})", style="dim")
        if made.remark:
            text.append(f": {clean(made.remark)}", style="dim")
    return text


def _enter(
    ledger: Ledger,
    history: CaseHistory,
    record: CountRecord,
    found: Discrepancy,
    person: Person,
    policy: Policy,
    ask: Ask,
    show: Show,
) -> bool:
    """One entry; false when the person goes on to the next discrepancy."""
    typed = _answer(ask, f"{KEYS}\n> ").lower()
    steps = checklist(policy, found, history.kit)
    match typed.split():
        case [number] if number.isdecimal() and 1 <= int(number) <= len(steps):
            step = steps[int(number) - 1].step
            remark = _answer(ask, "Remark (Enter for none): ")
            made = step_done(found, policy, step.id, person, history.kit, remark=remark)
        case ["t", number] if number.isdecimal() and 1 <= int(number) <= len(steps):
            step = steps[int(number) - 1].step
            made = step_done(found, policy, step.id, person, history.kit, done=False)
        case ["e"]:
            reason = _answer(ask, "Reason why “correct” may stand although this is open: ")
            scrub = _answer(ask, "Initials of the scrub: ")
            circulator = _answer(ask, "Initials of the circulator: ")
            exception = signed_exception(found, reason, scrub, circulator)
            append_exception(ledger, history.case_id, exception)
            show(Text(f"Kept: {exception_said(exception, history.kit)}"))
            return False
        case ["n"]:
            return False
        case ["q"]:
            raise Stopped
        case _:
            show(Text("Type the number of a step, t and a number, e, n or q."))
            return True
    append_step(ledger, history.case_id, made, policy)
    show(Text(f"Kept: {step_said(made, history.kit)}"))
    return True


def step_done(
    found: Discrepancy,
    policy: Policy,
    step_id: str,
    person: Person,
    kit: Kit,
    *,
    remark: str | None = None,
    done: bool = True,
) -> StepDone:
    """The entry for a step. Raises ``NotUnderstood`` when this person cannot enter it here."""
    steps = {checked.step.id: checked for checked in checklist(policy, found, kit)}
    if step_id not in steps:
        raise NotUnderstood(f"The policy asks for no step “{step_id}” here ({', '.join(steps)}).")
    step, before = steps[step_id]
    if not done and before is None:
        raise NotUnderstood(f"Nobody entered the step “{step_id}”, so it cannot be taken back.")
    if done and not may_enter(step, person.role):
        raise NotUnderstood(f"The step “{step_id}” is entered by {' or '.join(step.by)}.")
    return StepDone(
        item=found.item,
        line=found.line,
        step=step_id,
        text=step.say,
        role=person.role,
        initials=person.initials,
        at=datetime.now(UTC),
        remark=remark.strip() or None if remark else None,
        done=done,
    )


def signed_exception(
    found: Discrepancy | Packed,
    reason: str,
    scrub: str,
    circulator: str,
    *,
    withdrawn: bool = False,
) -> SignedException:
    """What two people sign. Raises ``NotUnderstood`` without a reason and two different people."""
    try:
        return SignedException(
            item=found.item,
            line=found.line,
            difference=found.quantity if isinstance(found, Packed) else found.difference,
            reason=reason.strip(),
            scrub=read_initials(scrub),
            circulator=read_initials(circulator),
            at=datetime.now(UTC),
            withdrawn=withdrawn,
        )
    except ValidationError:
        raise NotUnderstood(
            "An exception needs a reason and the initials of two different people."
        ) from None


def step_said(made: StepDone, kit: Kit) -> str:
    """What was kept, in one sentence."""
    verb = "done" if made.done else "taken back"
    who = f"{made.initials} ({made.role.value})"
    return f"step {made.step} for {item_label(made.item, kit)} {verb} by {who}."


def exception_said(made: SignedException, kit: Kit) -> str:
    """What two people signed, in one sentence."""
    verb = "withdrawn" if made.withdrawn else "signed"
    return (
        f"exception for {item_label(made.item, kit)} (line {made.line}) {verb} by "
        f"{made.scrub} (scrub) and {made.circulator} (circulator)."
    )


def the_one(found: Sequence[Discrepancy], item: str | None) -> Discrepancy:
    """The open discrepancy that is meant. Raises ``NotUnderstood`` when that is not clear."""
    meant = [each for each in found if item is None or each.item == item]
    if len(meant) == 1:
        return meant[0]
    if not meant:
        what = "Nothing" if item is None else f"Nothing about {item}"
        raise NotUnderstood(f"{what} is missing or over in this case.")
    raise NotUnderstood(f"Say which item is meant: {', '.join(each.item for each in meant)}.")


def _answer(ask: Ask, prompt: str) -> str:
    typed = ask(prompt)
    if typed is None:
        raise Stopped
    return typed.strip()
