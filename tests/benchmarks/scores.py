"""How well the events of a recording agree with what was said."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import Any

from countersign.voice_check.score import in_order

QUANTITIES = frozenset({"count", "addition", "removal", "correction", "draw"})
"""Kinds that change a number on the record."""

Wanted = Mapping[str, Any]
Heard = Mapping[str, Any]


@dataclass(frozen=True)
class Score:
    """Numbers of events; scores of several recordings are added.

    ``wanted`` and ``heard`` leave remarks out. ``exact`` are heard events that agree with a wanted
    one in every field that is judged. The rest are about events that change a number:
    ``lines_wanted``; ``lines_exact``; ``lines_heard``; ``lines_asked`` carry a question;
    ``asked_needlessly`` are exact, carry a question and had no need to; ``silent_errors`` are not
    what was said and carry no question; ``missing`` were said and nothing of the kind was heard.
    """

    wanted: int = 0
    heard: int = 0
    exact: int = 0
    lines_wanted: int = 0
    lines_heard: int = 0
    lines_exact: int = 0
    lines_asked: int = 0
    asked_needlessly: int = 0
    silent_errors: int = 0
    missing: int = 0

    def __add__(self, other: "Score") -> "Score":
        return Score(
            *(getattr(self, part.name) + getattr(other, part.name) for part in fields(Score))
        )

    @property
    def precision(self) -> float | None:
        """Share of the heard events that are exact; ``None`` where nothing was heard."""
        return self.exact / self.heard if self.heard else None

    @property
    def recall(self) -> float | None:
        """Share of the wanted events that are exact; ``None`` where nothing was wanted."""
        return self.exact / self.wanted if self.wanted else None

    @property
    def question_rate(self) -> float | None:
        """Share of the heard lines that ask a person; ``None`` where there are none."""
        return self.lines_asked / self.lines_heard if self.lines_heard else None


def same(wanted: Any, heard: Any) -> bool:
    """Whether a heard value is the wanted one: numbers by value, mappings by the wanted keys."""
    if isinstance(wanted, Mapping):
        return isinstance(heard, Mapping) and all(
            same(value, heard.get(key)) for key, value in wanted.items()
        )
    if isinstance(wanted, list | tuple):
        return (
            isinstance(heard, list | tuple)
            and len(wanted) == len(heard)
            and all(map(same, wanted, heard))
        )
    if isinstance(wanted, int | str) and isinstance(heard, int | str | Decimal) and wanted != heard:
        try:
            return Decimal(str(wanted)) == Decimal(str(heard))
        except ArithmeticError:
            return False
    return bool(wanted == heard)


def agrees(wanted: Wanted, heard: Heard) -> bool:
    """Whether every judged field agrees and, where the truth demands a question, one is raised.

    ``questions`` of a wanted event are codes of which at least one must be raised; fields that the
    wanted event leaves out are not judged.
    """
    judged = {key: value for key, value in wanted.items() if key != "questions"}
    demanded = set(wanted.get("questions", ()))
    raised = set(heard.get("questions", ()))
    return same(judged, heard) and (not demanded or bool(demanded & raised))


def pair(wanted: Sequence[Wanted], heard: Sequence[Heard]) -> list[tuple[int, int]]:
    """The longest list of ``(wanted, heard)`` positions that agree, both in the order of time."""
    return in_order([[agrees(w, h) for h in heard] for w in wanted])


def score(wanted: Sequence[Wanted], heard: Sequence[Heard]) -> Score:
    """The score of one recording. Events are mappings as in the manifest and ``observed``."""
    wanted = [event for event in wanted if event["kind"] != "remark"]
    heard = [event for event in heard if event["kind"] != "remark"]
    pairs = pair(wanted, heard)
    truth = {j: wanted[i] for i, j in pairs}
    lines = [j for j, event in enumerate(heard) if event["kind"] in QUANTITIES]
    asked = [j for j in lines if heard[j].get("questions")]
    wrong = [j for j in lines if j not in truth]
    found = {i for i, _ in pairs}
    lost = [i for i, event in enumerate(wanted) if event["kind"] in QUANTITIES and i not in found]
    return Score(
        wanted=len(wanted),
        heard=len(heard),
        exact=len(pairs),
        lines_wanted=sum(event["kind"] in QUANTITIES for event in wanted),
        lines_heard=len(lines),
        lines_exact=sum(j in truth for j in lines),
        lines_asked=len(asked),
        asked_needlessly=sum(j in truth and not truth[j].get("questions") for j in asked),
        silent_errors=sum(not heard[j].get("questions") for j in wrong),
        missing=max(0, len(lost) - len(wrong)),
    )


def observed(record: Any) -> list[dict[str, Any]]:
    """The lines of a ``CountRecord`` as plain events with meaning's and the tally's codes."""
    events = []
    for line in record.lines:
        event = line.event.model_dump(mode="json")
        codes = {question.code.value for question in (*line.questions, *line.event.questions)}
        events.append({**event, "questions": sorted(codes)})
    return events


def word_errors(said: Sequence[str], heard: Sequence[str]) -> int:
    """Substitutions, insertions and deletions that turn ``heard`` into ``said`` (Levenshtein)."""
    row = list(range(len(heard) + 1))
    for i, word in enumerate(said, 1):
        previous, row[0] = row[0], i
        for j, other in enumerate(heard, 1):
            previous, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, previous + (word != other))
    return row[-1]


def word_error_rate(pairs: Iterable[tuple[Sequence[str], Sequence[str]]]) -> float | None:
    """Errors over said words of all ``(said, heard)`` pairs; ``None`` where nothing was said."""
    errors = words = 0
    for said, heard in pairs:
        errors += word_errors(said, heard)
        words += len(said)
    return errors / words if words else None
