"""From a recording to a measured attempt: the whole chain once, with times kept."""

import logging
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from hashlib import sha256
from itertools import pairwise
from pathlib import Path

from countersign.hearing import TALK, Ears, Utterance, Word, hear
from countersign.hearing.models import ModelInfo
from countersign.kit import Kit
from countersign.meaning import EventKind, Spoken, understand
from countersign.medication.values import LabelState, MedicationAccount
from countersign.medication.words import mixture_text
from countersign.number_words import CARDINALS
from countersign.problems import BadInput
from countersign.review import attempt as values
from countersign.review.attempt import HESITATION_S, VERSION, Attempt
from countersign.review.waveform import Peaks
from countersign.sound import Block, LevelMeter, open_source, read_blocks
from countersign.tally import build_record
from countersign.tally.record import CountRecord, Line, NoticeCode
from countersign.wording import VERDICTS, item_label, line_number_text, line_text, number_text

_log = logging.getLogger(__name__)

ID_LENGTH = 16

LONGEST_S = 12 * 3600.0
"""A recording of practice is minutes long; a file of some kilobytes can hold weeks of silence, and
would keep everybody else's waiting."""

_ORDER = frozenset({NoticeCode.GROUP_ORDER, NoticeCode.PLACE_ORDER})
_NUMBER_QUESTIONS = frozenset(
    {
        "number_skipped",
        "number_repeated",
        "number_swapped",
        "sequence_start",
        "sequence_cut_off",
        "total_disagrees",
    }
)
_RESTART_PHRASES = [
    phrase.split() for phrase in ("start over", "starting over", "from the top", "start again")
]
_WIDEST_JOIN_S = 0.6
"""The words of one number ("twenty one") follow each other at least so closely."""


def attempt_id(path: Path) -> str:
    """The id of a recording; ``BadInput`` where there is none to listen to."""
    digest = open_source(path, digest=True).sha256
    assert digest is not None
    return digest[:ID_LENGTH]


def made_with(kit: Kit, model: ModelInfo) -> str:
    """What a measurement depends on besides the recording."""
    return (
        f"{VERSION}-{model.sha256[:12]}-{sha256(kit.model_dump_json().encode()).hexdigest()[:12]}"
    )


def analyse(path: Path, kit: Kit, ears: Ears, *, learner: str = "", name: str = "") -> Attempt:
    """Measure a recording; ``BadInput`` with one sentence where it cannot be listened to."""
    identity = attempt_id(path)
    if (open_source(path).duration_s or 0) > LONGEST_S:
        raise _too_long(path)
    meter, peaks = LevelMeter(), Peaks()
    said: list[Utterance] = []

    def measured(blocks: Iterable[Block]) -> Iterator[Block]:
        for block in blocks:
            peaks.add(block.samples)
            if peaks.duration_s > LONGEST_S:
                raise _too_long(path)
            yield block

    def kept(utterances: Iterable[Utterance]) -> Iterator[Utterance]:
        for utterance in utterances:
            said.append(utterance)
            yield utterance

    blocks = measured(read_blocks(path, meter=meter))
    events = tuple(understand(kept(hear(ears, blocks)), kit))
    record = build_record(kit, events, ())
    return measured_attempt(
        record,
        said,
        kit,
        attempt_id=identity,
        name=name or path.name,
        learner=learner,
        made_with=made_with(kit, ears.info),
        duration_s=round(peaks.duration_s, 3),
        warnings=tuple(warning.sentence for warning in meter.warnings()),
        peaks=peaks.columns(),
    )


def _too_long(path: Path) -> BadInput:
    return BadInput(f"{path} is longer than {LONGEST_S / 3600:g} hours, and no one attempt.")


def measured_attempt(
    record: CountRecord, said: Sequence[Utterance], kit: Kit, **known: object
) -> Attempt:
    """The measurements of a draft record whose utterances are known; pure."""
    words = [word for utterance in said for word in utterance.words]
    return Attempt.model_validate(
        {
            **known,
            "measured_at": datetime.now(UTC),
            "kit_title": kit.title,
            "said": [
                values.Said(start_s=u.start_s, end_s=u.end_s, text=_spoken_text(u)) for u in said
            ],
            "lines": [_shown(line, kit) for line in record.lines],
            "sequences": _sequences(record, words, kit),
            "medications": _medications(record.medications, kit),
            "out_of_order": [
                values.Moment(
                    at_s=record.lines[notice.line - 1].event.start_s if notice.line else 0.0,
                    text=notice.sentence,
                    line=notice.line,
                )
                for notice in record.notices
                if notice.code in _ORDER
            ],
            "verdict": VERDICTS[record.heard_verdict] if record.heard_verdict else None,
        }
    )


def _spoken_text(utterance: Utterance) -> str:
    return " ".join("…" if word.text == TALK else word.text for word in utterance.words)


def _shown(line: Line, kit: Kit) -> values.Shown:
    number = line_number_text(line)
    return values.Shown(
        number=line.number,
        start_s=line.event.start_s,
        end_s=line.event.end_s,
        text=line_text(line, kit),
        heard="" if number == "-" else number,
        should_be="" if line.expected is None else number_text(line.expected),
        words=line.event.words,
        confidence=line.event.confidence,
        questions=tuple(dict.fromkeys(question.sentence for question in line.questions)),
        struck=line.struck_by is not None,
    )


def _sequences(record: CountRecord, words: Sequence[Word], kit: Kit) -> list[values.Sequence]:
    """The counts of a record; saying "start over" belongs to the count that it leads to."""
    again = _restarts(words)
    found: list[values.Sequence] = []
    for line in record.lines:
        if line.event.kind is not EventKind.COUNT or not isinstance(line.event.quantity, int):
            continue
        sequence = _sequence(line, words, kit)
        said = [at_s for at_s in again if at_s < sequence.end_s]
        again = again[len(said) :]
        found.append(sequence.model_copy(update={"restarted": sequence.restarted or bool(said)}))
    return found


def _restarts(words: Sequence[Word]) -> list[float]:
    texts = [word.text for word in words]
    return [
        words[at].start_s
        for at in range(len(words))
        if any(texts[at : at + len(phrase)] == phrase for phrase in _RESTART_PHRASES)
    ]


def _sequence(line: Line, words: Sequence[Word], kit: Kit) -> values.Sequence:
    event = line.event
    numbers = event.sequence if event.spoken is Spoken.SEQUENCE else ()
    inside = [word for word in words if event.start_s <= _middle(word) <= event.end_s]
    heard = _numbers(inside)
    said = heard[: len(numbers) or None]
    gaps = [values.Gap(start_s=one.end_s, end_s=other.start_s) for one, other in pairwise(said)]
    pace = None
    if len(numbers) > 2 and len(said) > 2 and said[-1].start_s > said[0].start_s:
        minutes = (said[-1].start_s - said[0].start_s) / 60
        pace = round((len(said) - 1) / minutes, 1)
    groups = {item.id: item.group.value for item in kit.items}
    assert isinstance(event.quantity, int)
    return values.Sequence(
        line=line.number,
        item=item_label(event.item, kit),
        group=groups.get(event.item or ""),
        quantity=event.quantity,
        numbers=numbers,
        start_s=event.start_s,
        end_s=event.end_s,
        pace=pace,
        hesitations=tuple(gap for gap in gaps if numbers and gap.length_s > HESITATION_S),
        restarted=bool(numbers) and _began_again(heard),
        interrupted=bool(numbers) and _interrupted(inside, said),
        clean=not any(question.code.value in _NUMBER_QUESTIONS for question in event.questions),
    )


class _Number(values.Gap):
    value: int


def _numbers(words: Sequence[Word]) -> list[_Number]:
    """The numbers below a hundred in a row of words, "twenty one" as one."""
    found: list[_Number] = []
    for word in words:
        value = CARDINALS.get(word.text)
        if value is None:
            continue
        last = found[-1] if found else None
        joins = (
            last is not None
            and last.value >= 20
            and last.value % 10 == 0
            and 0 < value < 10
            and word.start_s - last.end_s < _WIDEST_JOIN_S
        )
        if last is not None and joins:
            found[-1] = _Number(start_s=last.start_s, end_s=word.end_s, value=last.value + value)
        else:
            found.append(_Number(start_s=word.start_s, end_s=word.end_s, value=value))
    return found


def _middle(word: Word) -> float:
    return (word.start_s + word.end_s) / 2


def _began_again(said: Sequence[_Number]) -> bool:
    return any(other.value == 1 and one.value > 2 for one, other in pairwise(said))


def _interrupted(inside: Sequence[Word], said: Sequence[_Number]) -> bool:
    if len(said) < 2:
        return False
    first, last = said[0].start_s, said[-1].end_s
    return any(word.text == TALK and first < _middle(word) < last for word in inside)


def _medications(account: MedicationAccount, kit: Kit) -> list[values.MedicationHeard]:
    return [
        values.MedicationHeard(
            name=mixture_text(kit, each.name, each.strength, each.additive, each.additive_strength),
            label_complete=each.label is LabelState.COMPLETE,
            missing=each.missing,
            expiry_read=each.expiry is not None or each.expiry_time is not None,
        )
        for each in account.preparations
        if not each.drawn_up
    ]
