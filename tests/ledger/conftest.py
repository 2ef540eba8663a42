"""A small kit and the ledger of one test."""

from collections.abc import Iterator
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pytest

from countersign.kit.model import Group, Item, Kit
from countersign.ledger import Ledger, open_ledger
from countersign.meaning.event import Event, EventKind, Phase, Question, QuestionCode, Spoken
from countersign.tally.record import Act, Decision, Role


@pytest.fixture
def kit() -> Kit:
    lap = Item(
        id="lap_sponge",
        label="laparotomy sponge",
        group=Group.SPONGES,
        spoken=("lap", "laps"),
        pack=5,
    )
    return Kit(title="Test kit", procedure="open inguinal hernia repair", items=(lap,))


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    opened = open_ledger(tmp_path / "ledger.sqlite3")
    yield opened
    opened.close()


@pytest.fixture
def event() -> Event:
    return Event(
        kind=EventKind.COUNT,
        item="lap_sponge",
        quantity=5,
        unit="each",
        phase=Phase.INITIAL,
        spoken=Spoken.SEQUENCE,
        sequence=(1, 2, 3, 4, 5),
        start_s=1.25,
        end_s=4.5,
        words="laps one two three four five",
        confidence=0.93,
        questions=(
            Question(code=QuestionCode.LOW_CONFIDENCE, sentence="The number was hard to hear."),
        ),
    )


@pytest.fixture
def decision() -> Decision:
    return Decision(
        line=1,
        act=Act.AMEND,
        role=Role.SCRUB,
        initials="AB",
        at=datetime(2026, 11, 25, 9, 30, tzinfo=UTC),
        quantity=Decimal("4.50"),
        reason="one was still in the pack",
    )
