"""Going through the lines of a case, one by one, with a person."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import TypeVar

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from countersign.confirm.amending import (
    COUNTED,
    MEDICATED,
    NOTHING,
    NotUnderstood,
    read_container,
    read_expiry,
    read_initials,
    read_item,
    read_part,
    read_phase,
    read_place,
    read_quantity,
    read_role,
    read_typed_strength,
)
from countersign.confirm.deciding import (
    Typed,
    accepted,
    amendable,
    amended,
    as_heard,
    put_aside,
    taken_back,
)
from countersign.confirm.person import Person
from countersign.hanging import hanging
from countersign.kit.model import Kit
from countersign.ledger import (
    CaseHistory,
    Ledger,
    Overtaken,
    append_decision,
    read_case,
    record_of,
)
from countersign.meaning.event import EventKind, MedicationDetail
from countersign.printable import clean
from countersign.problems import BadInput
from countersign.screen import amended_text, line_notes, ranges, record_view
from countersign.tally import reasons_against_whole
from countersign.tally.record import Act, CountRecord, Decision, Line
from countersign.wording import (
    ALL_GROUPS,
    GROUPS,
    PHASES,
    clock_text,
    group_text,
    item_label,
    line_number_text,
    line_text,
    number_text,
    state_text,
    strength_text,
    where_text,
)

_Read = TypeVar("_Read")

Ask = Callable[[str], str | None]
"""Shows a prompt and gives back what was typed, None at the end of the input."""

Show = Callable[[RenderableType], None]
Play = Callable[[str, float, float], None]
"""Plays a stretch of a recording: path, start and end in seconds."""

KEYS = "a accept  m amend  s set aside  p play  u take back  n next  w whole  q stop"


class Stopped(Exception):
    """The person stopped, or the input ended; every decision so far is kept."""


def who(ask: Ask, show: Show, role: str | None, initials: str | None) -> Person:
    """The person at the keyboard, asked for whatever was not given beforehand.

    Raises ``BadInput`` when something given beforehand cannot be used or nobody answers.
    """
    return Person(
        role=_asked(ask, show, role, "Your role (scrub, circulator, relief, educator)", read_role),
        initials=_asked(ask, show, initials, "Your initials", read_initials),
    )


def _asked(
    ask: Ask, show: Show, given: str | None, prompt: str, read: Callable[[str], _Read]
) -> _Read:
    if given is not None:
        try:
            return read(given)
        except NotUnderstood as problem:
            raise BadInput(str(problem)) from None
    while (typed := ask(f"{prompt}: ")) is not None:
        try:
            return read(typed)
        except NotUnderstood as problem:
            show(Text(str(problem)))
    raise BadInput("Nobody gave a role and initials, so nothing was decided.")


def walk(
    ledger: Ledger, case_id: str, person: Person, *, ask: Ask, show: Show, play: Play
) -> CountRecord:
    """Show every open line and keep each decision before saying that it was made.

    Returns the record when no line is left to show or the person stops. Raises ``BadInput`` when
    the ledger cannot be read or written; decisions made before are kept.
    """
    done_here: list[int] = []
    left_open: set[int] = set()
    position = 0
    while True:
        history = read_case(ledger, case_id)
        record = record_of(history)
        line = _next_line(record, position, left_open)
        if line is None:
            return record
        show(line_view(line, record, history.kit, timed=history.has_sound))
        try:
            answer = _decide(line, history, person, ask=ask, show=show, play=play)
        except Stopped:
            return record
        if answer == "n":
            left_open.add(line.number)
            position = line.number
        elif answer == "w":
            if _whole(ledger, history, record, person, ask, show, done_here):
                position = len(record.lines)
            else:
                position = line.number - 1
        elif isinstance(answer, Decision):
            kept = _kept(ledger, history, answer, show)
            if kept is not None:
                done_here.append(line.number)
                if kept.is_open:  # it could not take effect yet
                    left_open.add(line.number)
            position = line.number
        else:
            back = _back(answer, done_here, record, person, show)
            if back is not None and _kept(ledger, history, back, show) is not None:
                if back.line in done_here:
                    done_here.remove(back.line)
                left_open.discard(back.line)
                position = back.line - 1
            else:
                position = line.number - 1


def line_view(line: Line, record: CountRecord, kit: Kit, *, timed: bool = True) -> RenderableType:
    """One line as it is put before a person; without ``timed``, as for written words, no times."""
    event = line.event
    phase = f", {PHASES[line.phase]}" if line.phase else ""
    heading = Text(f"\nLine {line.number} of {len(record.lines)}{phase}", style="bold")
    rows = Table.grid(padding=(0, 2, 0, 0))
    rows.add_column(min_width=10, no_wrap=True)
    rows.add_column(overflow="fold")
    rows.add_row("  item", Text(line_text(line, kit)))
    if (number := line_number_text(line)) != "-" or line.acts_as in COUNTED:
        rows.add_row("  heard", Text(number))
    if line.expected is not None:
        rows.add_row("  expected", Text(number_text(line.expected)))
    if line.waits:
        rows.add_row("  totals", Text("left out until this line is decided"))
    rows.add_row("  words", Text(f"“{clean(event.words)}”"))
    if timed and event.end_s > event.start_s:
        when = f"{clock_text(event.start_s)} to {clock_text(event.end_s)}"
        rows.add_row("  at", Text(f"{when}, word confidence {event.confidence:.0%}", style="dim"))
    for other in record.lines:
        if other.struck_by == line.number:
            what = f"{line_text(other, kit)}, {line_number_text(other)}"
            rows.add_row("  strikes", Text(f"line {other.number}: {what}"))
    for sentence in line_notes(line):
        rows.add_row(Text("  ?", style="bold yellow"), Text(sentence, style="bold yellow"))
    return Group(heading, rows)


def _next_line(record: CountRecord, position: int, left_open: set[int]) -> Line | None:
    waiting = [line for line in record.lines if line.is_open and line.number not in left_open]
    after = [line for line in waiting if line.number > position]
    # A decision can open an earlier line again, for example one that a correction had struck.
    return next(iter(after or waiting), None)


def _decide(
    line: Line, history: CaseHistory, person: Person, *, ask: Ask, show: Show, play: Play
) -> Decision | str:
    """A decision, ``n`` for the next line, or ``u`` with perhaps a line number."""
    while True:
        typed = _answer(ask, f"{KEYS}\n> ").lower()
        try:
            match typed.split():
                case ["a"]:
                    return accepted(line, person)
                case ["m"]:
                    return _amendment(line, history.kit, person, ask)
                case ["s"]:
                    return put_aside(line, person, _answer(ask, "Why is it set aside? "))
                case ["p"]:
                    _play(line, history, show, play)
                case ["n"] | ["u"] | ["w"]:
                    return typed
                case ["u", number] if number.isdecimal():
                    return typed
                case ["q"]:
                    raise Stopped
                case _:
                    show(Text("Type one of the letters a, m, s, p, u, n, w or q."))
        except (NotUnderstood, BadInput) as problem:
            show(Text(clean(str(problem))))


def _amendment(line: Line, kit: Kit, person: Person, ask: Ask) -> Decision:
    """What the person types is read as it comes, so that what cannot be is said at once."""
    event, (item, _) = amendable(line), as_heard(line)
    today = datetime.now(UTC).date()
    if event.kind is EventKind.PHASE:
        return amended(line, kit, _announced(line, ask), person, today).decision
    typed = {"item": _answer(ask, f"Item (Enter keeps {item_label(item, kit)}): ")}
    item = read_item(typed["item"], event, kit) if typed["item"] else item
    typed["quantity"] = _answer(ask, f"Number (Enter keeps {line_number_text(line)}): ")
    if typed["quantity"]:
        read_quantity(typed["quantity"], event)
    typed |= _where(line, kit, item, ask)
    if event.kind in MEDICATED:
        typed |= _on_the_label(line, kit, ask)
    made = amended(line, kit, Typed.model_validate(typed), person, today)
    for doubt in made.doubts:
        if _answer(ask, f"{clean(doubt)} Type yes if it is so: ").lower() != "yes":
            raise NotUnderstood("Nothing was changed.")
    if made.implausible is not None:
        again = _answer(ask, f"{made.implausible} is more than the kit says is plausible; again: ")
        if again != str(made.implausible):
            raise NotUnderstood("The numbers differ; nothing was changed.")
    return made.decision


def _announced(line: Line, ask: Ask) -> Typed:
    """Which count it was, and of which group, as typed."""
    kept = PHASES[line.phase] if line.phase else NOTHING
    names = ", ".join(PHASES.values())
    count = _answer(ask, f"Which count: {names} (Enter keeps {kept})? ")
    if count:
        read_phase(count)
    names = ", ".join(GROUPS.values())
    kept = group_text(line.group)
    group = _answer(ask, f"Of what: {names} or {ALL_GROUPS} (Enter keeps {kept})? ")
    return Typed(phase=count, group=group)


def _on_the_label(line: Line, kit: Kit, ask: Ask) -> dict[str, str]:
    """Strength, expiry and container as typed."""
    heard = line.medication or MedicationDetail()

    def changed(what: str, kept: str | None, read: Callable[[str], object]) -> str:
        typed = _answer(ask, f"{what} (Enter keeps {kept or NOTHING}): ")
        if typed and typed.lower() != NOTHING:
            read(typed)
        return typed

    kept = strength_text(heard.strength) if heard.strength else None
    typed = {"strength": changed("Strength", kept, read_typed_strength)}
    if heard.additive is not None:
        beside = heard.additive_strength
        what = f"Strength of {item_label(heard.additive, kit)}"
        kept = strength_text(beside) if beside else None
        typed["additive_strength"] = changed(what, kept, read_typed_strength)
    kept = heard.expiry.isoformat() if heard.expiry else None
    typed["expiry"] = changed("Expires", kept, read_expiry)
    kept = clean(heard.container) if heard.container else None
    typed["container"] = changed("Container", kept, read_container)
    return typed


def _where(line: Line, kit: Kit, item: str | None, ask: Ask) -> dict[str, str]:
    """Place and part as typed; asked only where one was heard."""
    typed = {}
    if line.place is not None:
        kept = where_text(line.place, None)
        typed["place"] = _answer(ask, f"Place (Enter keeps {kept}, all means every place): ")
        if typed["place"]:
            read_place(typed["place"])
    if line.part is not None:
        kept = clean(line.part)
        typed["part"] = _answer(ask, f"Part (Enter keeps {kept}, all means every part): ")
        if typed["part"]:
            read_part(typed["part"], item, kit)
    return typed


def _whole(
    ledger: Ledger,
    history: CaseHistory,
    record: CountRecord,
    person: Person,
    ask: Ask,
    show: Show,
    done_here: list[int],
) -> bool:
    """Accept every line that is still open, once they were shown together and nothing is asked."""
    reasons = reasons_against_whole(record)
    if reasons:
        show(Text("The record cannot be confirmed as a whole while this is open:", style="bold"))
        show(hanging(("  ?", Text(clean(reason), style="bold yellow")) for reason in reasons))
        return False
    waiting = [line for line in record.lines if line.is_open]
    show(record_view(record, history.kit, timed=history.has_sound))
    numbers = ranges([line.number for line in waiting])
    typed = ask(f"Accept the open lines ({numbers}) as they stand? Type yes: ")
    if typed is None or typed.strip().lower() != "yes":
        show(Text("Nothing was accepted."))
        return False
    for line in waiting:
        if _kept(ledger, history, accepted(line, person), show) is not None:
            done_here.append(line.number)
    return True


def _play(line: Line, history: CaseHistory, show: Show, play: Play) -> None:
    if not history.has_sound:
        show(Text("This line came from written words; there is no sound to play."))
        return
    play(history.source, line.event.start_s, line.event.end_s)


def _back(
    answer: str, done_here: list[int], record: CountRecord, person: Person, show: Show
) -> Decision | None:
    _, _, named = answer.partition(" ")
    if not named and not done_here:
        show(Text("Nothing was decided in this sitting; u 4 takes back line 4."))
        return None
    number = int(named) if named else done_here[-1]
    line = next((line for line in record.lines if line.number == number), None)
    if line is None:
        show(Text(f"There is no decision on line {number} to take back."))
        return None
    try:
        return taken_back(line, person)
    except NotUnderstood as problem:
        show(Text(str(problem)))
        return None


def _kept(ledger: Ledger, history: CaseHistory, decision: Decision, show: Show) -> Line | None:
    """Keep the decision, then say so; gives the line as it stands now, None if nothing was kept."""
    try:
        append_decision(ledger, history.case_id, decision, seen=history.last_entry)
    except Overtaken:
        show(Text(f"Someone else decided on line {decision.line} meanwhile; look at it again."))
        return None
    now = read_case(ledger, history.case_id)
    record = record_of(now)
    line = record.lines[decision.line - 1]
    show(Text(_said(decision, line, now.kit)))
    return line


def _said(decision: Decision, line: Line, kit: Kit) -> str:
    by = f"{decision.initials} ({decision.role.value})"
    if decision.act is Act.UNDO:
        return f"Kept: the decision on line {line.number} is taken back by {by}."
    if line.is_open:
        reasons = " ".join(line_notes(line)) or "It cannot be confirmed as it stands."
        return f"Kept, but line {line.number} stays open. {reasons}"
    if decision.act is Act.AMEND:
        return f"Kept: line {line.number} {amended_text(line, kit)} by {by}."
    words = state_text(line).removesuffix(f" {decision.initials}")
    return f"Kept: line {line.number} {words} by {by}."


def _answer(ask: Ask, prompt: str) -> str:
    typed = ask(prompt)
    if typed is None:
        raise Stopped
    return typed.strip()
