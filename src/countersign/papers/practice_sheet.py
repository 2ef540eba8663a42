"""The educator's summary of a learner's practice: figures over attempts, then each attempt."""

from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Spacer, Table, TableStyle

from countersign.caution import NOT_CONFIRMED
from countersign.papers.page import SUBJECT, Dress, dressed, printed_text
from countersign.papers.practice import Practice, Practised, practice_seal
from countersign.papers.practice_pictures import figure, sound_rows
from countersign.papers.tables import cell, headed, heading, inner_width, sentence, table
from countersign.review import EntryKind, Verdict
from countersign.review.attempt import HESITATION_S, Attempt, Shown
from countersign.wording import clock_text

TITLE = "Practice summary"
FORM = "practice-summary"
_BAND = (
    f"PRACTICE, {NOT_CONFIRMED}: what the program heard in a skills lab. It is no count record, "
    "and nobody confirmed it."
)
_CAUTION = "The program can mishear: listen to the place before you judge a learner by it."
_VERDICTS = {
    Verdict.MET: "met",
    Verdict.PARTLY: "partly",
    Verdict.NOT_MET: "NOT met",
    Verdict.NOT_SEEN: "not seen",
    None: "not judged",
}
_IN_ONE_TABLE = 6
_MOST_QUESTIONS = 40
_AGAIN = 60

_MEANINGS = (
    ("Pace", "numbers a minute, from the first to the last number of each count said one by one."),
    ("Pause", f"more than {HESITATION_S:g} s between two numbers of one count."),
    (
        "Slip",
        "a number left out, said twice or out of turn, a total that disagrees with the numbers "
        "before it, or groups and places out of the usual order, as heard.",
    ),
    ("Lines that asked", "lines about which the program would ask a person."),
    ("Score", "share of the checklist that was met, among the points that were judged."),
)


def practice_sheet(made: Practice) -> bytes:
    """The summary as PDF."""
    return dressed(_dress(made), content(made))


def content(made: Practice) -> list[Flowable]:
    """Everything on the sheet, in its order."""
    parts = [*_opening(made), *_figures(made), *_attempts(made), *_points(made)]
    for number, each in enumerate(made.attempts, start=1):
        parts += _attempt(made, number, each)
    return parts


def _dress(made: Practice) -> Dress:
    several = len(made.attempts)
    return Dress(
        size=made.size,
        title=TITLE,
        right=f"Learner {made.learner}" if made.learner else "Learner not named",
        below="; ".join(dict.fromkeys(each.attempt.kit_title for each in made.attempts)),
        band=lambda marks: (_BAND, True),
        caution=_CAUTION,
        small=(
            f"{made.software}; {printed_text(made.printed_at)}",
            f"SHA-256 {made.sha256} of {several} attempt{'' if several == 1 else 's'}",
        ),
        software=made.software,
        subject=f"{SUBJECT} {practice_seal(made, FORM)}",
    )


# Over all attempts


def _opening(made: Practice) -> list[Flowable]:
    several = len(made.attempts)
    first, last = made.attempts[0].attempt, made.attempts[-1].attempt
    words = f"{several} attempt{'' if several == 1 else 's'}. Checklist: {made.checklist.title}."
    parts: list[Flowable] = [sentence(words)]
    if several > 1:
        changes = [
            f"pace {_number(first.pace)} to {_number(last.pace)} numbers a minute",
            f"pauses {first.hesitations} to {last.hesitations}",
            f"slips {first.slips} to {last.slips}",
            f"score {_percent(made.attempts[0])} to {_percent(made.attempts[-1])}",
        ]
        parts.append(sentence(f"From the first to the last: {'; '.join(changes)}.", bold=True))
    return parts


def _figures(made: Practice) -> list[Flowable]:
    attempts = [each.attempt for each in made.attempts]
    width = inner_width(made) / 3 - 8
    pictures = [
        figure("Pace", "numbers a minute", [each.pace for each in attempts], width),
        figure(
            "Pauses", f"over {HESITATION_S:g} s", [each.hesitations for each in attempts], width
        ),
        figure("Slips", "as heard", [each.slips for each in attempts], width),
        figure("Started again", "counts", [each.restarts for each in attempts], width),
        figure("Lines that asked", "number", [each.asked for each in attempts], width),
        figure("Score", "percent", [each.score.percent for each in made.attempts], width, 100),
    ]
    grid = Table([pictures[:3], pictures[3:]], colWidths=[inner_width(made) / 3] * 3)
    grid.setStyle(TableStyle([("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    meanings = [sentence(f"{name}: {meaning}") for name, meaning in _MEANINGS]
    return [KeepTogether([*heading("Attempt by attempt")[1:], grid]), *meanings]


def _attempts(made: Practice) -> list[Flowable]:
    rows = [
        [
            cell(str(number), right=True),
            cell(
                each.attempt.name,
                below=[
                    (f"{_day(made, each.attempt)}, {clock_text(each.attempt.duration_s)}", False)
                ],
                most=_AGAIN,
            ),
            cell(_number(each.attempt.pace), right=True),
            cell(str(each.attempt.hesitations), right=True),
            cell(str(each.attempt.slips), right=True),
            cell(str(each.attempt.restarts), right=True),
            cell(f"{each.attempt.asked} of {len(each.attempt.lines)}", right=True),
            cell(_percent(each), below=[(f"of {each.score.judged} points", False)], right=True),
        ]
        for number, each in enumerate(made.attempts, start=1)
    ]
    head = ("No.", "Recording", "Pace", "Pauses", "Slips", "Again", "Asked", "Score")
    widths = (28, None, 42, 42, 38, 38, 48, 62)
    made_table = table(made, head, rows, widths, right=(0, 2, 3, 4, 5, 6, 7))
    return headed(made, "In numbers", made_table)


def _points(made: Practice) -> list[Flowable]:
    """The checklist, a column for each attempt, in as many tables as it takes."""
    parts: list[Flowable] = []
    for start in range(0, len(made.attempts), _IN_ONE_TABLE):
        some = made.attempts[start : start + _IN_ONE_TABLE]
        rows = [
            [
                cell(
                    point.say, below=[(f"counts {point.weight} times", False)] * (point.weight > 1)
                ),
                *(_verdict(each, point.id) for each in some),
            ]
            for point in made.checklist.points
        ]
        numbers = [f"{start + at}." for at in range(1, len(some) + 1)]
        made_table = table(made, ["Point", *numbers], rows, [None, *[56] * len(some)])
        words = "Checklist" if start == 0 else "Checklist, later attempts"
        parts += headed(made, words, made_table)
    return parts


def _verdict(each: Practised, point: str) -> Flowable:
    found = next(one for one in each.score.points if one.point.id == point)
    by = [(found.by, False)] if found.by else []
    return cell(_VERDICTS[found.verdict], bold=found.verdict is Verdict.NOT_MET, below=by)


# One attempt


def _attempt(made: Practice, number: int, each: Practised) -> list[Flowable]:
    attempt = each.attempt
    title = f"Attempt {number}: {attempt.name}"
    rows = sound_rows(attempt, inner_width(made))
    words = (
        f"{_day(made, attempt)} (version, model and kit {attempt.made_with}), "
        f"{clock_text(attempt.duration_s)}. Bars are lines of the "
        "draft with their number: grey as heard, white with a thick edge where the program asks "
        "(?). Dashed boxes are pauses."
    )
    opening = [*heading(title)[1:], sentence(words), rows[0]]
    parts: list[Flowable] = [CondPageBreak(200), Spacer(1, 9), KeepTogether(opening), *rows[1:]]
    parts += [sentence(f"Sound: {warning}") for warning in attempt.warnings]
    parts += _items(made, attempt)
    parts += _asked(made, attempt)
    parts += _reasons(made, each)
    parts += _added(made, each)
    return parts


def _items(made: Practice, attempt: Attempt) -> list[Flowable]:
    if not attempt.sequences:
        return [sentence("Nothing was counted.")]
    rows = []
    for each in attempt.sequences:
        notes = ["one by one" if each.numbers else "as a total"]
        notes += ["started again"] * each.restarted + ["other talk between"] * each.interrupted
        notes += ["a slip, as heard"] * (not each.clean)
        rows.append(
            [
                cell(str(each.line), right=True),
                cell(each.item, below=[("; ".join(notes), not each.clean)], most=_AGAIN),
                cell(str(each.quantity), right=True),
                cell(_number(each.pace), right=True),
                cell(", ".join(f"{gap.length_s:.1f} s" for gap in each.hesitations) or "-"),
            ]
        )
    head = ("Line", "Item", "Number", "Pace", "Pauses")
    made_table = table(made, head, rows, (32, None, 48, 48, 120), right=(0, 2, 3))
    out = [sentence(f"Order: {moment.text}", bold=True) for moment in attempt.out_of_order]
    return [*headed(made, "How each item was counted", made_table), Spacer(1, 3), *out]


def _asked(made: Practice, attempt: Attempt) -> list[Flowable]:
    asking = [line for line in attempt.lines if line.questions]
    if not asking:
        return [sentence("No line of this attempt asked anything.")]
    rows = [
        [
            cell(str(line.number), right=True),
            cell(clock_text(line.start_s)),
            cell(line.text, below=[(f"heard {line.heard}", False)] * bool(line.heard), most=_AGAIN),
            cell(_sentences(line)),
        ]
        for line in asking[:_MOST_QUESTIONS]
    ]
    made_table = table(
        made, ("Line", "At", "Heard", "Asked"), rows, (32, 48, 160, None), right=(0,)
    )
    parts = headed(made, "What the program would ask", made_table)
    if len(asking) > _MOST_QUESTIONS:
        parts.append(sentence(f"{len(asking) - _MOST_QUESTIONS} more lines asked; see the page."))
    return parts


def _sentences(line: Shown) -> str:
    return " ".join(line.questions)


def _reasons(made: Practice, each: Practised) -> list[Flowable]:
    """Why each point was judged as it was."""
    rows = [
        [
            cell(found.point.say),
            cell(_VERDICTS[found.verdict], bold=found.verdict is Verdict.NOT_MET),
            cell(found.why or "-", below=[(f"judged by {found.by}", False)] if found.by else []),
        ]
        for found in each.score.points
    ]
    made_table = table(made, ("Point", "Verdict", "Why"), rows, (190, 60, None))
    return headed(made, "Why each point was judged so", made_table)


def _added(made: Practice, each: Practised) -> list[Flowable]:
    shown = [entry for entry in each.entries if entry.kind is not EntryKind.POINT]
    if not shown:
        return []
    parts = heading("What the educator added")
    for entry in shown:
        place = f" at {clock_text(entry.at_s)}" if entry.at_s is not None else ""
        said = entry.text
        if entry.kind is EntryKind.CORRECTION:
            number = "" if entry.quantity is None else f" {entry.quantity}"
            said = f"line {entry.line} was truly {entry.item}{number}. {entry.text}".strip()
        parts.append(sentence(f"{entry.initials}, {entry.kind.value}{place}: {said}"))
    return parts


# Words


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:g}"


def _percent(each: Practised) -> str:
    return "-" if each.score.percent is None else f"{each.score.percent} %"


def _day(made: Practice, attempt: Attempt) -> str:
    return f"measured {attempt.measured_at.astimezone(made.printed_at.tzinfo):%Y-%m-%d %H:%M}"
