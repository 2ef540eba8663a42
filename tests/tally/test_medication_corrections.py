"""Corrections of a strength, a volume or a date: what they take over and what stays asked."""

from decimal import Decimal

import pytest

from countersign.meaning.event import (
    Event,
    EventKind,
    MedicationDetail,
    Question,
    QuestionCode,
    Strength,
)
from countersign.tally.corrections import follow_corrections

ONE, TWO = (Strength(value=Decimal(value), unit="%") for value in (1, 2))


def _event(kind: EventKind, *codes: QuestionCode, **fields: object) -> Event:
    detail = MedicationDetail.model_validate(fields)
    return Event(
        kind=kind,
        item=detail.name,
        quantity=detail.volume_ml,
        unit="mL" if detail.volume_ml is not None else None,
        medication=detail,
        start_s=0,
        end_s=1,
        words=kind.value,
        questions=tuple(Question(code=code, sentence=f"{code.value}.") for code in codes),
    )


def _receipt(*codes: QuestionCode, **fields: object) -> Event:
    return _event(
        EventKind.RECEIPT, *codes, name="lidocaine", strength=ONE, volume_ml=Decimal(15), **fields
    )


def test_a_strength_alone_stands_in_for_the_line_with_its_volume() -> None:
    first, second = follow_corrections(
        [_receipt(), _event(EventKind.CORRECTION, strength=TWO)], frozenset()
    )
    assert first.struck_by == 2
    assert (second.kind, second.item, second.quantity) == (EventKind.RECEIPT, "lidocaine", 15)


def test_another_name_takes_over_the_last_medication() -> None:
    first, second = follow_corrections(
        [_receipt(), _event(EventKind.CORRECTION, name="bupivacaine")], frozenset()
    )
    assert (first.struck_by, second.kind, second.item) == (2, EventKind.RECEIPT, "bupivacaine")


@pytest.mark.parametrize(
    ("asked", "said", "stays"),
    [
        (QuestionCode.TEEN_OR_TEN, {"strength": TWO}, True),
        (QuestionCode.TEEN_OR_TEN, {"volume_ml": Decimal(50)}, False),
        (QuestionCode.EXPIRY_PAST, {"strength": TWO}, True),
        (QuestionCode.STRENGTH_MISSING, {"strength": TWO}, False),
        (QuestionCode.OTHER_READING, {"strength": TWO}, True),
        (QuestionCode.LABEL_INCOMPLETE, {"strength": TWO}, False),
    ],
)
def test_what_is_not_answered_stays_asked(
    asked: QuestionCode, said: dict[str, object], stays: bool
) -> None:
    _, second = follow_corrections(
        [_receipt(asked), _event(EventKind.CORRECTION, **said)], frozenset()
    )
    assert [question.code for question in second.questions] == ([asked] if stays else [])


def test_a_correction_is_of_what_was_received_and_not_of_its_read_back() -> None:
    lines = follow_corrections(
        [_receipt(), _receipt(read_back=True), _event(EventKind.CORRECTION, strength=TWO)],
        frozenset(),
    )
    assert (lines[2].strikes, lines[2].passed_over) == (1, 2)


def test_nothing_to_correct() -> None:
    (line,) = follow_corrections([_event(EventKind.CORRECTION, strength=TWO)], frozenset())
    assert (line.in_vain, line.kind) == (True, None)
