"""Comparing a record with the truth."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal

from tests.cases.generate import Case, Step
from tests.cases.judge import Judged
from tests.cases.medicines import drawn_mg, received_mg
from tests.cases.room import Truth

from countersign.meaning.event import Verdict
from countersign.medication import LabelState
from countersign.tally import Act, CountRecord, Decision, Role

BEGIN = datetime(2026, 3, 2, 7, 30, tzinfo=UTC)


def decisions_of(steps: Sequence[Step]) -> list[Decision]:
    """What people decide: they set aside what the case says, and accept every other line."""
    return [
        Decision(
            line=line,
            act=Act.SET_ASIDE if step.set_aside else Act.ACCEPT,
            role=Role.CIRCULATOR,
            initials="CD",
            at=BEGIN + timedelta(seconds=line),
        )
        for line, step in enumerate(steps, start=1)
    ]


def decisions_on(judged: Sequence[Judged]) -> list[Decision]:
    """What people decide about lines that were read.

    They accept the line of every step but those that the case says they set aside, and set aside
    what the second voice only said again.
    """
    made: list[Decision] = []
    for each in judged:
        for place, line in enumerate(each.got):
            aside = place > 0 or each.step.set_aside or each.step.event is None
            made.append(
                Decision(
                    line=line.number,
                    act=Act.SET_ASIDE if aside else Act.ACCEPT,
                    role=Role.CIRCULATOR,
                    initials="CD",
                    at=BEGIN + timedelta(seconds=line.number),
                )
            )
    return made


def lines_until(judged: Sequence[Judged], step: int) -> int:
    """How many lines of the record there are once this step is said."""
    return max((line.number for each in judged[: step + 1] for line in each.got), default=0)


def differences(record: CountRecord, truth: Truth, *, confirmed: bool) -> list[str]:
    """A sentence for everything in a record that is not the truth; empty if all of it is."""
    found = _of_numbers(record, truth, confirmed=confirmed)
    found += _of_findings(record, truth)
    if confirmed and not truth.half_counted and record.verdict != truth.verdict:
        found.append(f"verdict {record.verdict}, truly {truth.verdict}")
    return [*found, *_of_medications(record, truth)]


def _of_numbers(record: CountRecord, truth: Truth, *, confirmed: bool) -> list[str]:
    found = []
    totals = {total.item: total for total in record.totals}
    for item, fact in truth.items.items():
        total = totals.pop(item, None)
        if total is None:
            found.append(f"{item} has no total")
            continue
        pairs = [(total.heard_expected, fact.expected), (total.heard_last, fact.last)]
        if confirmed:
            # the confirmed side knows no kit number: it begins with the first confirmed count
            if fact.initial is not None:
                pairs.append((total.confirmed_expected, fact.expected))
            pairs.append((total.confirmed_last, fact.last))
        found += [f"{item}: {pair[0]}, truly {pair[1]}" for pair in pairs if pair[0] != pair[1]]
        by_sum = (fact.initial or 0) + fact.added - fact.removed + fact.pieces
        if fact.initial is not None and total.heard_expected != by_sum:
            found.append(f"{item}: {total.heard_expected} is not the sum {by_sum}")
    found += [
        f"{item} was never spoken of, yet has numbers"
        for item, total in totals.items()
        if total.confirmed_expected is not None or total.heard_last is not None
    ]
    return found


def _of_findings(record: CountRecord, truth: Truth) -> list[str]:
    found = []
    skipped = truth.half_counted
    said = {
        (each.item, each.counted, each.expected, bool(each.missing_parts))
        for each in record.discrepancies
        if each.is_open and each.item not in skipped
    }
    true = {
        (each.item, each.counted, each.expected, each.unequal_parts)
        for each in truth.discrepancies
        if each.item not in skipped
    }
    if said != true:
        found.append(f"open {sorted(said)}, truly {sorted(true)}")
    packed = {each.item: each.quantity for each in record.packed}
    in_wound = {item: fact.in_wound for item, fact in truth.items.items() if fact.in_wound}
    if packed != in_wound:
        found.append(f"in the wound {packed}, truly {in_wound}")
    broken = {each.item for each in record.broken} - skipped
    in_pieces = {item for item, fact in truth.items.items() if fact.in_pieces} - skipped
    if broken != in_pieces:
        found.append(f"in pieces {broken}, truly {in_pieces}")
    return found


def _of_medications(record: CountRecord, truth: Truth) -> list[str]:
    found = []
    there = {
        (each.name, _plain(each.strength), each.additive): each
        for each in record.medications.preparations
        if not each.drawn_up
    }
    for held in truth.medications:
        key = (held.what.name, _plain(held.what.strength), held.what.additive)
        each = there.pop(key, None)
        if each is None:
            found.append(f"{key} is not on the field")
            continue
        label = LabelState.COMPLETE if held.labelled else LabelState.NONE
        for name, said, true in (
            ("received", each.received_ml, held.received_ml),
            ("drawn", each.drawn_ml, held.drawn_ml),
            ("left", each.remaining_ml, held.left_ml),
            ("label", each.label, label),
            ("container", each.container, held.container),
        ):
            if said != true:
                found.append(f"{key}: {name} {said}, truly {true}")
    found += [f"{key} was never received" for key in there]
    totals = {total.name: total for total in record.medications.totals}
    for name, true_mg in received_mg(truth.medications).items():
        if (said_mg := _mg(totals[name].received)) != true_mg:
            found.append(f"{name}: {said_mg} mg received, truly {true_mg}")
    for name, true_mg in drawn_mg(truth.medications).items():
        if (said_mg := _mg(totals[name].drawn)) != true_mg:
            found.append(f"{name}: {said_mg} mg drawn, truly {true_mg}")
    return found


def _plain(strength: object) -> tuple[Decimal, str] | None:
    if strength is None:
        return None
    return strength.value, strength.unit  # type: ignore[attr-defined]


def _mg(amount: object) -> Decimal | None:
    if amount is None:
        return None
    scale = {"ug": Decimal("0.001"), "mg": Decimal(1), "g": Decimal(1000)}
    return amount.value * scale[amount.unit]  # type: ignore[attr-defined]


def verdict_of(case: Case) -> Verdict | None:
    """The verdict that may stand at the end."""
    return Verdict(case.truth.verdict) if case.truth.verdict else None
