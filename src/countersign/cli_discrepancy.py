"""The commands for discrepancies and for the policy that says what to do about them."""

from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.text import Text

from countersign import settings
from countersign.cli_options import CaseArgument, JsonOption, LedgerOption
from countersign.printable import clean
from countersign.problems import BadInput
from countersign.terminal import ask, emit, screen, show_mistakes

if TYPE_CHECKING:  # rooms are imported where a command needs them, so that --help stays quick
    from countersign.ledger import CaseHistory, Ledger
    from countersign.policy import Policy
    from countersign.tally.record import CountRecord, Discrepancy, Packed

policy_app = typer.Typer(help="Look at policy files.", rich_markup_mode=None)

PolicyOption = Annotated[
    Path | None,
    typer.Option("--policy", metavar="FILE", help="The policy (TOML). Default: common practice."),
]


def discrepancy(
    case: CaseArgument,
    item: Annotated[
        str | None, typer.Option("--item", help="The item, where more than one differs.")
    ] = None,
    step: Annotated[
        str | None, typer.Option("--step", help="Enter this step of the policy as done.")
    ] = None,
    take_back: Annotated[
        bool, typer.Option("--take-back", help="Take the entry of --step back.")
    ] = False,
    remark: Annotated[
        str | None, typer.Option("--remark", help="A remark that is kept with --step.")
    ] = None,
    exception: Annotated[
        str | None,
        typer.Option(
            "--exception",
            metavar="REASON",
            help="Let “correct” stand for this reason; needs --scrub and --circulator.",
        ),
    ] = None,
    withdraw: Annotated[
        bool, typer.Option("--withdraw", help="Withdraw the exception instead.")
    ] = False,
    scrub: Annotated[str | None, typer.Option("--scrub", help="Initials of the scrub.")] = None,
    circulator: Annotated[
        str | None, typer.Option("--circulator", help="Initials of the circulator.")
    ] = None,
    role: Annotated[
        str | None, typer.Option("--role", help="scrub, circulator, relief or educator.")
    ] = None,
    initials: Annotated[str | None, typer.Option("--initials", help="Your initials.")] = None,
    show_only: Annotated[
        bool, typer.Option("--show", help="Only show; ask nothing and keep nothing.")
    ] = False,
    as_json: JsonOption = False,
    policy: PolicyOption = None,
    ledger: LedgerOption = None,
) -> None:
    """Show what a count is missing or has over, and enter what was done about it."""
    from countersign.ledger import open_ledger, read_case, record_of
    from countersign.policy import read_policy

    if step is not None and exception is not None:
        raise BadInput("Choose one, --step or --exception.")
    set_for_now = read_policy(settings.policy_path(policy))
    with closing(open_ledger(ledger, create=False)) as opened:
        history = read_case(opened, case.strip().lower())
        # What was entered stands under the policy of its day, unless another is asked for.
        used = set_for_now if policy is not None else history.policy or set_for_now
        record = record_of(history)
        if step is not None:
            _keep_step(
                opened, history, record, used, item, step, remark, role, initials, not take_back
            )
        elif exception is not None:
            _keep_exception(
                opened, history, record, item, exception, scrub, circulator, withdrawn=withdraw
            )
        elif as_json:
            emit(_as_json(history, record, used))
        elif show_only:
            _show(history, record, used)
        else:
            _go_through(opened, history, record, used, role, initials)


@policy_app.command("check")
def policy_check(file: Annotated[Path, typer.Argument(metavar="FILE")]) -> None:
    """Say everything that is wrong with a policy file, with its line."""
    from countersign.policy import check_policy, read_policy

    show_mistakes(file, check_policy(file))
    policy = read_policy(file)
    words = f"{clean(policy.title)}: {len(policy.steps)} steps; the policy can be used."
    screen().print(Text(words), soft_wrap=True)


@policy_app.command("show")
def policy_show(
    file: Annotated[Path | None, typer.Argument(metavar="[FILE]")] = None,
) -> None:
    """Print the policy in use as TOML, to be copied and changed."""
    from countersign.policy import common_policy_path
    from countersign.policy.check import policy_text

    emit(policy_text(settings.policy_path(file) or common_policy_path()))


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("discrepancy")(discrepancy)
    app.add_typer(policy_app, name="policy")


def _keep_step(
    ledger: "Ledger",
    history: "CaseHistory",
    record: "CountRecord",
    policy: "Policy",
    item: str | None,
    step: str,
    remark: str | None,
    role: str | None,
    initials: str | None,
    done: bool,
) -> None:
    from countersign.confirm import who
    from countersign.confirm.amending import NotUnderstood
    from countersign.confirm.searching import open_ones, step_done, step_said, the_one
    from countersign.ledger import append_step

    try:
        found = the_one(open_ones(record), _item_id(history, item))
        console = screen()
        person = who(ask, console.print, role, initials)
        made = step_done(found, policy, step, person, history.kit, remark=remark, done=done)
    except NotUnderstood as problem:
        raise BadInput(str(problem)) from None
    append_step(ledger, history.case_id, made, policy)
    console.print(Text(f"Kept: {step_said(made, history.kit)}"), soft_wrap=True)


def _keep_exception(
    ledger: "Ledger",
    history: "CaseHistory",
    record: "CountRecord",
    item: str | None,
    reason: str,
    scrub: str | None,
    circulator: str | None,
    *,
    withdrawn: bool,
) -> None:
    from countersign.confirm.amending import NotUnderstood
    from countersign.confirm.searching import exception_said, signed_exception
    from countersign.ledger import append_exception

    if scrub is None or circulator is None:
        raise BadInput("An exception needs both --scrub and --circulator.")
    try:
        found = _to_sign_for(record, _item_id(history, item))
        made = signed_exception(found, reason, scrub, circulator, withdrawn=withdrawn)
    except NotUnderstood as problem:
        raise BadInput(str(problem)) from None
    append_exception(ledger, history.case_id, made)
    screen().print(Text(f"Kept: {exception_said(made, history.kit)}"), soft_wrap=True)


def _to_sign_for(record: "CountRecord", item: str | None) -> "Discrepancy | Packed":
    """The open discrepancy that is meant, else what is packed in the wound."""
    from countersign.confirm.searching import open_ones, the_one

    open_now = open_ones(record)
    packed = [each for each in record.packed if item in (None, each.item)]
    if len(packed) == 1 and not any(item in (None, each.item) for each in open_now):
        return packed[0]
    return the_one(open_now, item)


def _item_id(history: "CaseHistory", typed: str | None) -> str | None:
    from countersign.confirm.amending import read_item
    from countersign.meaning.event import Event, EventKind

    if typed is None:
        return None
    counted = Event(kind=EventKind.COUNT, start_s=0, end_s=0, words="")
    return read_item(typed, counted, history.kit)


def _as_json(history: "CaseHistory", record: "CountRecord", policy: "Policy") -> str:
    from countersign.caution import TWO_PEOPLE
    from countersign.plain_json import json_text, plain
    from countersign.policy import checklist
    from countersign.wording import verdict_text

    return (
        json_text(
            {
                "case": history.case_id,
                "caution": [TWO_PEOPLE, policy.caution],
                "verdict": verdict_text(record),
                "discrepancies": [
                    {
                        **plain(found),
                        "open": found.is_open,
                        "difference": found.difference,
                        "checklist": [
                            {"step": checked.step.id, "say": checked.step.say, "done": checked.done}
                            for checked in checklist(policy, found, history.kit)
                        ],
                    }
                    for found in record.discrepancies
                ],
                "packed": record.packed,
                "broken": record.broken,
            }
        )
        + "\n"
    )


def _show(history: "CaseHistory", record: "CountRecord", policy: "Policy") -> None:
    from countersign.caution import TWO_PEOPLE
    from countersign.confirm.searching import discrepancy_view, policy_view, steps_view
    from countersign.findings_view import findings_view
    from countersign.policy import checklist

    console = screen()
    console.print(Text(f"Case {history.case_id}, {clean(history.kit.title)}", style="bold"))
    console.print(Text(TWO_PEOPLE, style="bold"))
    if not record.discrepancies:
        console.print(Text("No count differs from what should be there."))
    for found in record.discrepancies:
        console.print(discrepancy_view(found, record, history.kit, timed=history.has_sound))
        # What is over and done with asks for nothing any more; what was done about it stays.
        if found.is_open:
            console.print(policy_view(found, history.kit, policy))
        elif found.steps:
            steps = checklist(policy, found, history.kit)
            console.print(steps_view(steps, only_done=True))
    without = record.model_copy(update={"discrepancies": (), "notices": ()})
    rest = findings_view(without, history.kit)
    if rest is not None:
        console.print(rest)


def _go_through(
    ledger: "Ledger",
    history: "CaseHistory",
    record: "CountRecord",
    policy: "Policy",
    role: str | None,
    initials: str | None,
) -> None:
    from countersign.confirm import search, who
    from countersign.confirm.searching import open_ones

    if not open_ones(record):
        _show(history, record, policy)
        return
    console = screen()
    person = who(ask, console.print, role, initials)
    after = search(ledger, history.case_id, person, policy, ask=ask, show=console.print)
    left = len(open_ones(after))
    noun = "discrepancy" if left == 1 else "discrepancies"
    console.print(Text(f"Open: {left} {noun}; a later count that agrees resolves it."))
