"""The stream: utterances in, events out, with what is still being said carried along."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date

from spacy.language import Language
from spacy.tokens import Doc

from countersign.hearing.utterance import Utterance
from countersign.kit.model import Kit
from countersign.meaning.doubts import Cue, Doubt, attach, doubts_of, drop_stale
from countersign.meaning.event import Event, EventKind, Phase, Verdict
from countersign.meaning.pipeline import pipeline, read_tokens
from countersign.meaning.reading import Before, Carried, Read, read
from countersign.meaning.unnamed import unnamed_receipt
from countersign.meaning.words import Token, pause, tokens_of

LONGEST_PAUSE_S = 8.0
"""After this silence a count is over. People part sponges for a second or two between numbers; a
pause of many seconds means that something else is being done (to be tuned on recordings)."""


@dataclass
class _Context:
    phase: Phase | None = None
    item: str | None = None
    item_end_s: float = 0.0
    tokens: tuple[Token, ...] = ()
    """The words of what is still being said."""
    carried: Carried = field(default_factory=Carried)
    doubts: list[Doubt] = field(default_factory=list)

    @property
    def before(self) -> Before:
        """What the reader has to know of what was said before."""
        return Before(self.phase, self.item, self.carried)


def understand(
    utterances: Iterable[Utterance], kit: Kit, today: date | None = None
) -> Iterator[Event]:
    """The events in a stream of utterances, in the order in which they end.

    A count may be spread over several utterances; it is given once it is closed by another item, a
    total, a phase, a verdict, a pause of more than :data:`LONGEST_PAUSE_S`, or the end. ``today``
    is compared with spoken expiries; ``None`` means the current date.
    """
    nlp = pipeline(kit)
    day = today if today is not None else date.today()
    context = _Context()
    for utterance in utterances:
        if utterance.start_s - context.item_end_s > LONGEST_PAUSE_S:
            context.item = None
        if context.tokens and utterance.start_s - context.tokens[-1].end_s > LONGEST_PAUSE_S:
            yield from _finish(nlp, kit, day, context)
        yield from _hear(nlp, kit, day, context, utterance)
    yield from _finish(nlp, kit, day, context)


def _hear(
    nlp: Language, kit: Kit, day: date, context: _Context, utterance: Utterance
) -> Iterator[Event]:
    joint = (*context.tokens, pause(utterance)) if context.tokens else ()
    heard = (*joint, *tokens_of(utterance.words, utterance.speaker))
    if len(heard) == len(joint):
        return
    doc = read_tokens(nlp, heard)
    found = read(doc, kit, context.before, day)
    if utterance.alternatives:
        others = [
            (
                alternative,
                _events(
                    read(
                        read_tokens(
                            nlp, (*joint, *tokens_of(alternative.words, utterance.speaker))
                        ),
                        kit,
                        context.before,
                        day,
                    )
                ),
            )
            for alternative in utterance.alternatives
        ]
        context.doubts += doubts_of(_events(found), others, utterance, kit, _cues(doc))
    kept = next((i for i, reading in enumerate(found) if reading.open), len(found))
    for event in _events(found[:kept]):
        yield from _give(context, event)
    unnamed = unnamed_receipt(utterance, _events(found), day)
    if unnamed is not None:
        yield unnamed
    if kept == len(found):
        _drop(context)
        return
    first = found[kept]
    context.tokens = heard[first.carry_from :]
    context.carried = first.carried
    context.doubts = drop_stale(context.doubts, context.tokens[0].start_s)


def _cues(doc: Doc) -> list[Cue]:
    heard: tuple[Token, ...] = doc._.heard
    return [
        Cue(heard[span.start].start_s, heard[span.end - 1].end_s, span._.confidence)
        for span in doc.spans["cues"]
    ]


def _finish(nlp: Language, kit: Kit, day: date, context: _Context) -> Iterator[Event]:
    if context.tokens:
        for event in _events(read(read_tokens(nlp, context.tokens), kit, context.before, day)):
            yield from _give(context, event)
    _drop(context)


def _drop(context: _Context) -> None:
    context.tokens, context.carried, context.doubts = (), Carried(), []


def _events(found: list[Read]) -> list[Event]:
    return [reading.event for reading in found if reading.event is not None]


def _give(context: _Context, event: Event) -> Iterator[Event]:
    if event.kind is EventKind.PHASE:
        context.phase = event.phase
    elif event.kind is EventKind.VERDICT and event.verdict is Verdict.CORRECT and not event.group:
        context.phase = None
    if event.kind in (EventKind.COUNT, EventKind.ADDITION, EventKind.REMOVAL, EventKind.CORRECTION):
        context.item, context.item_end_s = event.item or context.item, event.end_s
    else:
        context.item = None
    yield attach(event, context.doubts)
