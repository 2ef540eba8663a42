"""A case with a few lines, and a person who types from a list."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from rich.console import Console, RenderableType

from countersign.confirm import Person, walk
from countersign.kit.model import Group, Item, Kit, Medication
from countersign.ledger import (
    Ledger,
    append_event,
    open_case,
    open_ledger,
    read_case,
    record_of,
)
from countersign.meaning.event import Event, EventKind, Phase, Question, QuestionCode, Spoken
from countersign.problems import BadInput
from countersign.tally import CountRecord, Decision, Role

AB = Person(Role.SCRUB, "AB")


@pytest.fixture
def kit() -> Kit:
    lap = Item(
        id="lap_sponge",
        label="laparotomy sponge",
        group=Group.SPONGES,
        spoken=("lap", "laps"),
        pack=5,
        most=40,
    )
    raytec = Item(
        id="raytec",
        label="x-ray detectable sponge",
        group=Group.SPONGES,
        spoken=("raytec", "raytecs"),
        pack=10,
    )
    needle = Item(id="needle", label="needle", group=Group.SHARPS, spoken=("needle", "needles"))
    local = Medication(id="lidocaine", label="lidocaine", spoken=("lidocaine",))
    saline = Medication(id="saline", label="sodium chloride", spoken=("saline",))
    return Kit(
        title="Test kit",
        procedure="open inguinal hernia repair",
        items=(lap, raytec, needle),
        medications=(local, saline),
    )


def counted(item: str | None, quantity: int | None, at: float, words: str, **more: object) -> Event:
    return Event.model_validate(
        {
            "kind": EventKind.COUNT,
            "item": item,
            "quantity": quantity,
            "unit": "each",
            "phase": Phase.INITIAL,
            "spoken": Spoken.TOTAL,
            "start_s": at,
            "end_s": at + 2.5,
            "words": words,
            "confidence": 0.91,
            **more,
        }
    )


EVENTS = (
    counted("lap_sponge", 5, 1.0, "five laps"),
    counted(
        "raytec",
        10,
        4.0,
        "ten raytecs",
        questions=(
            Question(code=QuestionCode.LOW_CONFIDENCE, sentence="The number was hard to hear."),
        ),
    ),
    counted("needle", 2, 8.0, "two needles"),
)


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(tmp_path / "ledger.sqlite3")
    yield opened
    opened.close()


@pytest.fixture
def case(ledger: Ledger, kit: Kit) -> str:
    name = open_case(ledger, kit, "microphone")
    for event in EVENTS:
        append_event(ledger, name, event)
    return name


@dataclass
class Sitting:
    """One run of the walk with scripted answers; the end of the list is the end of the input."""

    ledger: Ledger
    case: str
    shown: list[str] = field(default_factory=list)
    prompts: list[str] = field(default_factory=list)
    played: list[tuple[str, float, float]] = field(default_factory=list)
    fails_to_play: str | None = None

    def go(self, *answers: str, person: Person = AB) -> CountRecord:
        waiting = list(answers)
        console = Console(width=80, force_terminal=False)

        def ask(prompt: str) -> str | None:
            self.prompts.append(prompt)
            return waiting.pop(0) if waiting else None

        def show(what: RenderableType) -> None:
            with console.capture() as captured:
                console.print(what)
            text = captured.get()
            if text.startswith("Kept: line"):
                self._must_be_on_disk()
            self.shown.append(text)

        def play(source: str, start_s: float, end_s: float) -> None:
            self.played.append((source, start_s, end_s))
            if self.fails_to_play:
                raise BadInput(self.fails_to_play)

        record = walk(self.ledger, self.case, person, ask=ask, show=show, play=play)
        assert not waiting, f"never asked for: {waiting}"
        return record

    def _must_be_on_disk(self) -> None:
        """Seen through another opening of the file, at the moment the screen says so."""
        other = open_ledger(self.ledger.path, create=False)
        kept = sum(text.startswith("Kept") for text in self.shown)
        assert len(read_case(other, self.case).decisions) == kept + 1
        other.close()

    @property
    def text(self) -> str:
        return "\n".join(self.shown)

    @property
    def decisions(self) -> tuple[Decision, ...]:
        return read_case(self.ledger, self.case).decisions

    @property
    def record(self) -> CountRecord:
        return record_of(read_case(self.ledger, self.case))


@pytest.fixture
def sitting(ledger: Ledger, case: str) -> Sitting:
    return Sitting(ledger, case)
