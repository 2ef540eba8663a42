"""Whether a record may be confirmed in one act instead of line by line."""

from countersign.tally.record import CountRecord, LineState


def can_confirm_whole(record: CountRecord) -> bool:
    """Whether every line nobody has acted on may be accepted at once."""
    return not reasons_against_whole(record)


def reasons_against_whole(record: CountRecord) -> tuple[str, ...]:
    """One sentence for each thing a person must see to first; empty if there is none."""
    if not record.lines:
        return ("There is nothing to confirm.",)
    return (
        *(question.sentence for question in record.questions),
        *(
            f"Line {line.number}: {question.sentence}"
            for line in record.lines
            if line.state is LineState.HEARD
            for question in line.questions
        ),
    )
