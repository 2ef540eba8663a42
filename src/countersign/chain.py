"""The rooms in their order: sound, hearing, meaning, tally."""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from countersign.hearing import (
    Ears,
    OnPartial,
    Silence,
    Utterance,
    hear_with_silences,
    open_ears,
    written,
)
from countersign.kit import Kit
from countersign.meaning import Event, OnOpen, Question, understand
from countersign.sound import SAMPLE_RATE, Block, LevelMeter, SoundWarning, open_source, read_blocks
from countersign.tally import CountRecord, build_record

OnEvent = Callable[[Event], None]
OnProgress = Callable[[float], None]


class AskedLine(BaseModel):
    """A question with the number of the line it is about (``None`` for the whole record)."""

    model_config = ConfigDict(frozen=True)

    line: int | None
    code: str
    sentence: str


class Result(BaseModel):
    """What came out of one source. Nothing in it is confirmed.

    ``duration_s`` is the length of the sound in seconds, 0 for written words; ``model`` names the
    recogniser's model and its version, ``written`` for written words.
    """

    model_config = ConfigDict(frozen=True)

    source: str
    duration_s: float
    model: str
    events: tuple[Event, ...]
    record: CountRecord
    questions: tuple[AskedLine, ...]
    warnings: tuple[SoundWarning, ...] = ()


def listen(
    path: Path,
    kit: Kit,
    *,
    model: Path | None = None,
    ears: Ears | None = None,
    on_event: OnEvent | None = None,
    on_open: OnOpen | None = None,
    on_partial: OnPartial | None = None,
    on_progress: OnProgress | None = None,
) -> Result:
    """A recording to events and a draft record.

    ``on_event`` is called with each event as soon as it is complete, ``on_open`` after each
    utterance with what would come of it if nothing more were said, ``on_partial`` with the words
    so far of what is being said, ``on_progress`` with the seconds of sound used so far. ``ears``
    may be opened before and used for many recordings.
    Raises ``BadInput`` for a recording, model or kit that cannot be used.
    """
    open_source(path)  # refuse a bad file before the model is loaded
    meter = LevelMeter()
    blocks = read_blocks(path, meter=meter)
    ears = ears or open_ears(kit, model)
    return _draft(str(path), blocks, meter, ears, kit, on_event, on_open, on_partial, on_progress)


def live(
    blocks: Iterable[Block],
    kit: Kit,
    *,
    meter: LevelMeter | None = None,
    model: Path | None = None,
    ears: Ears | None = None,
    on_event: OnEvent | None = None,
    on_open: OnOpen | None = None,
    on_partial: OnPartial | None = None,
    on_progress: OnProgress | None = None,
) -> Result:
    """The same from blocks as they arrive, such as a microphone's, whose ``meter`` is given."""
    ears = ears or open_ears(kit, model)
    meter = meter or LevelMeter()
    return _draft(
        "microphone",
        blocks,
        meter,
        ears,
        kit,
        on_event,
        on_open,
        on_partial,
        on_progress,
        arriving=True,
    )


def read(lines: Iterable[str], kit: Kit, *, on_event: OnEvent | None = None) -> Result:
    """The same from written words, one utterance a line."""
    utterances = [
        written(line, number) for number, line in enumerate(lines, start=1) if line.strip()
    ]
    events = _collect(utterances, kit, on_event)
    return _result("written", 0.0, "written", events, kit, ())


def _draft(
    source: str,
    blocks: Iterable[Block],
    meter: LevelMeter,
    ears: Ears,
    kit: Kit,
    on_event: OnEvent | None,
    on_open: OnOpen | None,
    on_partial: OnPartial | None,
    on_progress: OnProgress | None,
    *,
    arriving: bool = False,
) -> Result:
    heard_s = 0.0

    def timed() -> Iterator[Block]:
        nonlocal heard_s
        for block in blocks:
            heard_s = block.start_s + len(block.samples) / SAMPLE_RATE
            yield block
            if on_progress is not None:
                on_progress(heard_s)

    heard = hear_with_silences(ears, timed(), on_partial, live=arriving)
    events = _collect(heard, kit, on_event, on_open)
    return _result(source, round(heard_s, 3), ears.info.version, events, kit, meter.warnings())


def _collect(
    utterances: Iterable[Utterance | Silence],
    kit: Kit,
    on_event: OnEvent | None,
    on_open: OnOpen | None = None,
) -> tuple[Event, ...]:
    events = []
    for event in understand(utterances, kit, on_open=on_open):
        if on_event is not None:
            on_event(event)
        events.append(event)
    return tuple(events)


def _result(
    source: str,
    duration_s: float,
    model: str,
    events: tuple[Event, ...],
    kit: Kit,
    warnings: Iterable[SoundWarning],
) -> Result:
    record = build_record(kit, events, ())
    return Result(
        source=source,
        duration_s=duration_s,
        model=model,
        events=events,
        record=record,
        questions=tuple(asked(record)),
        warnings=tuple(warnings),
    )


def asked(record: CountRecord) -> Iterator[AskedLine]:
    """Every question of a record, line by line, then those about the whole."""

    def about(line: int | None, question: Question) -> AskedLine:
        return AskedLine(line=line, code=question.code.value, sentence=question.sentence)

    for line in record.lines:
        for question in line.questions:
            yield about(line.number, question)
    for question in record.questions:
        yield about(None, question)
