"""One printing of a learner's practice: the attempts, what was added to them, and the hash of it.

Practice is no count record and is in no ledger; its sheet is checked against the kept attempts.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from countersign.exchange.software import software
from countersign.ledger.chain import hash_of
from countersign.papers.printing import Size
from countersign.problems import BadInput
from countersign.review import Attempt, Checklist, Entry, Score, Store, score

MOST_ATTEMPTS = 50
_FORM = "countersign practice 1"


@dataclass(frozen=True)
class Practised:
    """An attempt with what educators added, and its score."""

    attempt: Attempt
    entries: tuple[Entry, ...]
    score: Score


@dataclass(frozen=True)
class Practice:
    """One printing. ``attempts`` stand in the order in which they were measured."""

    learner: str
    attempts: tuple[Practised, ...]
    checklist: Checklist
    sha256: str
    printed_at: datetime
    size: Size
    software: str

    @property
    def entries(self) -> tuple[int, ...]:
        """How much had been added to each attempt."""
        return tuple(len(each.entries) for each in self.attempts)


def practice_of(
    store: Store,
    attempts: Sequence[str],
    checklist: Checklist,
    size: Size,
    printed_at: datetime | None = None,
    entries: Sequence[int] | None = None,
) -> Practice:
    """Kept attempts of one learner; of what was added to each, only the first ``entries``.

    Raises ``BadInput`` where an attempt is not there, where there are none or more than fit on a
    sheet, or where they are of several learners.
    """
    found = [store.read(each) for each in dict.fromkeys(attempts)]
    if len({each.learner for each in found}) != 1:
        raise BadInput("A sheet is about the attempts of one learner.")
    if len(found) > MOST_ATTEMPTS:
        raise BadInput(f"A sheet has room for {MOST_ATTEMPTS} attempts, not for {len(found)}.")
    found.sort(key=lambda each: (each.measured_at, each.attempt_id))
    added = [tuple(store.entries(each.attempt_id)) for each in found]
    if entries is not None:
        added = [own[:number] for own, number in zip(added, entries, strict=True)]
    return Practice(
        learner=found[0].learner,
        attempts=tuple(
            Practised(attempt=each, entries=own, score=score(each, checklist, own))
            for each, own in zip(found, added, strict=True)
        ),
        checklist=checklist,
        sha256=_fingerprint(found, added, checklist),
        printed_at=(printed_at or datetime.now().astimezone()).replace(microsecond=0),
        size=size,
        software=software(),
    )


def _fingerprint(
    attempts: Sequence[Attempt], added: Sequence[Sequence[Entry]], checklist: Checklist
) -> str:
    """SHA-256 of the canonical JSON of what is kept of the attempts, and of the checklist."""
    return hash_of(
        {
            "form": _FORM,
            "checklist": checklist.model_dump_json(),
            "attempts": [
                [each.model_dump_json(), *(entry.model_dump_json() for entry in own)]
                for each, own in zip(attempts, added, strict=True)
            ],
        }
    )


def practice_seal(made: Practice, form: str) -> str:
    """What the subject of the PDF says of it, as JSON."""
    return json.dumps(
        {
            "form": form,
            "attempts": [each.attempt.attempt_id for each in made.attempts],
            "entries": made.entries,
            "checklist": made.checklist.model_dump(mode="json"),
            "sha256": made.sha256,
            "printed_at": made.printed_at.isoformat(),
            "size": made.size.value,
            "software": made.software,
        },
        sort_keys=True,
    )
