"""Scoring an attempt against a checklist: what the program judges, and what a person says."""

from collections.abc import Sequence as Many
from decimal import Decimal

from pydantic import BaseModel, ConfigDict

from countersign.review.attempt import HESITATION_S, Attempt
from countersign.review.checklist import Check, Checklist, Point
from countersign.review.entries import Entry, EntryKind, Verdict

_WORTH = {Verdict.MET: Decimal(1), Verdict.PARTLY: Decimal("0.5"), Verdict.NOT_MET: Decimal(0)}


class PointScore(BaseModel):
    """One point: the verdict in force (``None`` where nobody can tell), why, and whose it is.

    ``by`` are the initials of the educator, ``None`` where the program judged.
    """

    model_config = ConfigDict(frozen=True)

    point: Point
    verdict: Verdict | None
    why: str
    by: str | None = None


class Score(BaseModel):
    """All points, and the share of the weight that was met among those that were judged.

    ``percent`` is ``None`` while nothing is judged; ``judged`` of ``points`` say how much it rests
    on.
    """

    model_config = ConfigDict(frozen=True)

    points: tuple[PointScore, ...]
    percent: int | None
    judged: int


def score(attempt: Attempt, checklist: Checklist, entries: Many[Entry] = ()) -> Score:
    """Score an attempt; an educator's verdict stands before the program's. Pure."""
    said = {
        entry.point: entry
        for entry in entries
        if entry.kind is EntryKind.POINT and entry.verdict is not None
    }
    points = []
    for point in checklist.points:
        entry = said.get(point.id)
        if entry is not None:
            points.append(
                PointScore(point=point, verdict=entry.verdict, why=entry.text, by=entry.initials)
            )
        else:
            verdict, why = _judge(point.check, attempt)
            points.append(PointScore(point=point, verdict=verdict, why=why))
    counted = [each for each in points if each.verdict in _WORTH]
    weight = sum(each.point.weight for each in counted)
    met = sum(each.point.weight * _WORTH[each.verdict] for each in counted if each.verdict)
    return Score(
        points=tuple(points),
        percent=round(100 * met / weight) if weight else None,
        judged=len(counted),
    )


def _judge(check: Check | None, attempt: Attempt) -> tuple[Verdict | None, str]:
    match check:
        case None:
            return None, "Only a person can see this."
        case Check.BOTH_VOICES:
            return None, "The program does not tell voices apart; listen for it."
        case Check.ORDER:
            if not attempt.sequences:
                return None, "Nothing was counted."
            if attempt.out_of_order:
                return Verdict.NOT_MET, attempt.out_of_order[0].text
            return Verdict.MET, "Groups and places came in the usual order."
        case Check.ONE_BY_ONE:
            return _one_by_one(attempt)
        case Check.LABELS:
            lacking = [each.name for each in attempt.medications if not each.label_complete]
            return _all_of("label", len(attempt.medications), lacking, "read completely")
        case Check.EXPIRY:
            lacking = [each.name for each in attempt.medications if not each.expiry_read]
            return _all_of("expiry", len(attempt.medications), lacking, "read")
        case Check.INTERRUPTIONS:
            broken = [each for each in attempt.sequences if each.interrupted or each.hesitations]
            lacking = [each.item for each in broken if not (each.clean or each.restarted)]
            return _all_of("interrupted item", len(broken), lacking, "taken up well")
        case Check.STEADY:
            if not any(each.numbers for each in attempt.sequences):
                return None, "Nothing was counted one by one."
            if attempt.hesitations:
                noun = "pause" if attempt.hesitations == 1 else "pauses"
                return Verdict.NOT_MET, (
                    f"{attempt.hesitations} {noun} of more than {HESITATION_S:g} s between numbers."
                )
            return Verdict.MET, f"No pause of more than {HESITATION_S:g} s between numbers."
        case Check.VERDICT:
            if attempt.verdict is None:
                return Verdict.NOT_MET, "No verdict was heard."
            return Verdict.MET, f"Heard: {attempt.verdict}."


def _one_by_one(attempt: Attempt) -> tuple[Verdict | None, str]:
    several = [each for each in attempt.sequences if each.quantity > 1]
    if not several:
        return None, "Nothing of which there is more than one was counted."
    lacking = [each.item for each in several if not each.numbers]
    return _all_of("item", len(several), lacking, "counted one by one")


def _all_of(noun: str, total: int, lacking: Many[str], what: str) -> tuple[Verdict | None, str]:
    if not total:
        return None, f"There was no {noun} to judge."
    if not lacking:
        return Verdict.MET, f"All were {what} ({total})."
    verdict = Verdict.NOT_MET if len(lacking) == total else Verdict.PARTLY
    return verdict, f"{total - len(lacking)} of {total} were {what}; not: {', '.join(lacking)}."
