"""The stream: utterances in, events out, with what is still being said carried along."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from functools import partial
from typing import TYPE_CHECKING

from countersign.hearing.utterance import TALK, Silence, Utterance
from countersign.kit.model import Kit
from countersign.meaning.agreement import as_sure_as_meant
from countersign.meaning.doubts import Cue, Doubt, attach, doubts_of, drop_stale
from countersign.meaning.event import Event, EventKind, Phase, Verdict
from countersign.meaning.made_of_talk import without_unlikely
from countersign.meaning.medication.read_back import with_latest
from countersign.meaning.medication.unnamed import unnamed_receipt
from countersign.meaning.missed import missed_lines
from countersign.meaning.parted import parted
from countersign.meaning.questions import doubt
from countersign.meaning.reading import Before, Carried, Read, read
from countersign.meaning.reading.state import OF_AN_ITEM
from countersign.meaning.words import Token, pause, tokens_of

if TYPE_CHECKING:
    from spacy.tokens import Doc

Tag = Callable[[Iterable[Token]], "Doc"]
"""Makes the tagged document of some tokens."""

OnOpen = Callable[[tuple[Event, ...]], None]
"""Called with the events that would be given if nothing more were said; empty if there are none."""

LONGEST_PAUSE_S = 8.0
"""After this silence a count is over. People part sponges for a second or two between numbers; a
pause of many seconds means that something else is being done (to be tuned on recordings)."""

MOST_OPEN = 400
"""Words and pauses after which a count that nothing has ended is given as it stands, with a
question: enough for 120 needles counted one by one with a pause after each. What is open is read
again with each utterance; without this end a long stream would be read ever more slowly."""


@dataclass
class _Context:
    phase: Phase | None = None
    recounting: bool = False
    """Whether a count was said to be off, or a recount was asked for, and not settled since."""
    item: str | None = None
    item_end_s: float = 0.0
    placed: bool = False
    """Whether the count of that item had a place."""
    talked: bool = False
    """Whether talk was heard since."""
    tokens: tuple[Token, ...] = ()
    """The words of what is still being said."""
    carried: Carried = field(default_factory=Carried)
    doubts: list[Doubt] = field(default_factory=list)
    medications: tuple[Event, ...] = ()
    """The last events about medications, as they stand."""
    after_medication: bool = False
    set_up: str | None = None
    """The item that was set up last, if nothing but remarks came since."""
    set_up_asked: bool = False
    """Whether it may have been counted."""
    after_verdict: bool = False
    missing: str | None = None
    """The item that the last verdict said was missing."""
    struck: bool = False
    """Whether the last event struck the one before."""
    at_places: tuple[Event, ...] = ()
    """The counts of one item at places that came last."""
    unnamed: Event | None = None
    """The last event, if it was a number of which the item was not heard."""

    @property
    def before(self) -> Before:
        """What the reader has to know of what was said before."""
        return Before(
            self.phase,
            self.item,
            self.placed,
            self.talked,
            recounting=self.recounting,
            carried=self.carried,
            medications=self.medications,
            after_medication=self.after_medication,
            set_up=self.set_up,
            set_up_asked=self.set_up_asked,
            after_verdict=self.after_verdict,
            missing=self.missing,
            struck=self.struck,
            at_places=self.at_places,
            unnamed=self.unnamed,
        )


def understand(
    utterances: Iterable[Utterance | Silence],
    kit: Kit,
    today: date | None = None,
    *,
    on_open: OnOpen | None = None,
) -> Iterator[Event]:
    """The events in a stream of utterances, in the order in which they end.

    A count may be spread over several utterances; it is given once it is closed by another item, a
    total, a phase, a verdict, a pause of more than :data:`LONGEST_PAUSE_S`, or the end. ``today``
    is compared with spoken expiries; ``None`` means the current date.

    A stream that goes on for long says when nobody speaks: a :class:`Silence` between two
    utterances closes what is open once the pause is longer than :data:`LONGEST_PAUSE_S`. It changes
    no event: the next utterance would have closed the same, only later, so that a stream that is
    read again from its kept utterances gives the same events.

    ``on_open`` shows what is still open. After each utterance, and after each silence that closed
    something, it is called with the events that would be given if nothing more were said (usually
    one, empty if nothing is open); by then the events that the utterance closed have been taken
    from the iterator. They are provisional: each call replaces the one before, nothing of them may
    be kept, and what is given later may differ. A live listener does::

        def heard():  # utterances as they end, and time while nobody speaks
            for part in hear_with_silences(ears, blocks):
                if isinstance(part, Utterance):
                    words.append(part)  # silences need not be kept
                yield part

        for event in understand(heard(), kit, on_open=show):
            append_event(ledger, case_id, event)
    """
    # spaCy takes most of a second to load; who only wants the values above does without it
    from countersign.meaning.pipeline import pipeline, read_tokens

    tag = partial(read_tokens, pipeline(kit))
    day = today if today is not None else date.today()
    context = _Context()
    for part in utterances:
        silent = isinstance(part, Silence)
        until_s = part.until_s if isinstance(part, Silence) else part.start_s
        over = bool(context.tokens) and until_s - context.tokens[-1].end_s > LONGEST_PAUSE_S
        if over:
            yield from _finish(tag, kit, day, context)
        # what is still open may be about that item
        if not context.tokens and until_s - context.item_end_s > LONGEST_PAUSE_S:
            context.item = None
        if not isinstance(part, Silence):
            for utterance in parted(part):
                yield from _hear(tag, kit, day, context, utterance)
        if on_open is not None and (over or not silent):
            on_open(_provisional(tag, kit, day, context))
    yield from _finish(tag, kit, day, context)
    if on_open is not None:
        on_open(())


def _provisional(tag: Tag, kit: Kit, day: date, context: _Context) -> tuple[Event, ...]:
    """What :func:`_finish` would give."""
    if not context.tokens:
        return ()
    found = _events(read(tag(context.tokens), kit, context.before, day, ended=True))
    return tuple(attach(event, context.doubts) for event in found)


def _hear(
    tag: Tag, kit: Kit, day: date, context: _Context, utterance: Utterance
) -> Iterator[Event]:
    counting = context.before.counting
    utterance = without_unlikely(utterance, counting=counting)
    joint = (*context.tokens, pause(utterance)) if context.tokens else ()
    second = next((each for each in utterance.alternatives if each.origin == "open"), None)
    heard = (*joint, *tokens_of(utterance.words, utterance.speaker, second))
    if len(heard) == len(joint):
        return
    doc = tag(heard)
    found = read(doc, kit, context.before, day)
    missed: list[Event] = []
    if utterance.alternatives:
        others = [
            (
                alternative,
                _events(
                    read(
                        tag((*joint, *tokens_of(alternative.words, utterance.speaker))),
                        kit,
                        context.before,
                        day,
                    )
                ),
            )
            for alternative in utterance.alternatives
        ]
        surer = as_sure_as_meant(heard, utterance, _events(found), others)
        if surer != heard:
            heard, doc = surer, tag(surer)
            found = read(doc, kit, context.before, day)
        context.doubts += doubts_of(_events(found), others, utterance, kit, _cues(doc))
        missed = missed_lines(_events(found), others, utterance, counting=counting)
    kept = next((i for i, reading in enumerate(found) if reading.open), len(found))
    for event in _events(found[:kept]):
        yield from _give(context, event)
    unnamed = unnamed_receipt(utterance, _events(found), day)
    if unnamed is not None:
        yield unnamed
    yield from missed
    context.talked = context.talked or any(word.text == TALK for word in utterance.words)
    if kept == len(found):
        _drop(context)
        return
    first = found[kept]
    context.tokens = heard[first.carry_from :]
    context.carried = first.carried
    context.doubts = drop_stale(context.doubts, context.tokens[0].start_s)
    if len(context.tokens) > MOST_OPEN:
        yield from _finish(tag, kit, day, context, cut=True)


def _cues(doc: "Doc") -> list[Cue]:
    heard: tuple[Token, ...] = doc._.heard
    return [
        Cue(heard[span.start].start_s, heard[span.end - 1].end_s, span._.confidence)
        for span in doc.spans["cues"]
    ]


def _finish(
    tag: Tag, kit: Kit, day: date, context: _Context, *, cut: bool = False
) -> Iterator[Event]:
    if context.tokens:
        for found in read(tag(context.tokens), kit, context.before, day, ended=True):
            if found.event is not None:
                yield from _give(
                    context, _asked(found.event) if cut and found.open else found.event
                )
    _drop(context)


def _asked(event: Event) -> Event:
    question = doubt("It went on for very long without an end; it may not be whole.")
    return event.model_copy(update={"questions": (*event.questions, question)})


def _drop(context: _Context) -> None:
    context.tokens, context.carried, context.doubts = (), Carried(), []


def _events(found: list[Read]) -> list[Event]:
    return [reading.event for reading in found if reading.event is not None]


def _at_places(before: tuple[Event, ...], event: Event) -> tuple[Event, ...]:
    if event.kind is not EventKind.COUNT or event.place is None:
        return ()
    same = before and (before[-1].item, before[-1].part) == (event.item, event.part)
    return (*before[-_MOST_PLACES:], event) if same else (event,)


_MOST_PLACES = 8


def _give(context: _Context, event: Event) -> Iterator[Event]:
    if event.kind is EventKind.PHASE:
        context.phase, context.recounting = event.phase, False
    elif event.kind is EventKind.VERDICT and event.verdict is not Verdict.CORRECT:
        context.recounting = True
    elif event.kind is EventKind.VERDICT and not event.group:
        context.phase, context.recounting = None, False
    if event.kind in OF_AN_ITEM:
        context.item, context.item_end_s = event.item or context.item, event.end_s
        context.placed = event.place is not None
        after = (token for token in context.tokens if token.start_s >= event.end_s)
        context.talked = any(token.text == TALK for token in after)
    elif event.kind is not EventKind.REMARK:
        context.item = None
    if event.kind is not EventKind.REMARK:
        context.at_places = _at_places(context.at_places, event)
        bare = event.item is None and event.quantity is None
        context.struck = event.kind is EventKind.CORRECTION and bare
        context.set_up = event.item if event.kind is EventKind.SET_UP else None
        context.set_up_asked = event.kind is EventKind.SET_UP and bool(event.questions)
        counted = event.kind is EventKind.COUNT and event.quantity is not None
        context.unnamed = event if counted and event.item is None else None
    if event.kind is EventKind.VERDICT:
        context.missing = event.item if event.verdict is Verdict.NOT_CORRECT else None
    context.after_verdict = event.kind is EventKind.VERDICT
    context.medications = with_latest(context.medications, event)
    context.after_medication = event.medication is not None
    yield attach(event, context.doubts)
