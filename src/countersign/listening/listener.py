"""One live case: a thread that turns kept sound into kept words, and those into events."""

import logging
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

from countersign.hearing import Ears, Partial, Silence, Utterance, Word, hear_with_silences
from countersign.kit import Kit
from countersign.ledger import Ledger, Note, append_event, append_note, read_case
from countersign.listening.kept_sound import KeptSound
from countersign.listening.kept_words import KeptWords
from countersign.meaning import Event, OnOpen, understand
from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE, Block

_log = logging.getLogger(__name__)

SOUND_FILE = "sound.wav"
WORDS_FILE = "words.jsonl"
LEAD_S = 0.3
"""Sound before the last kept utterance from which a later listener hears on."""

OnEvent = Callable[[int, Event], None]
"""Called with the line number of an event that is on disk."""

OnPartial = Callable[[Partial], None]
"""Called with the words so far of what is being said, and without words once it has ended."""

OnUtterance = Callable[[Utterance], None]
"""Called with an utterance once it is on disk, before the events that come of it."""


class _Abandoned(Exception):
    """The listener was told to stop in the middle of its sound."""


class Listener:
    """Listens to one case until it is ended, and goes on where an earlier one stopped.

    Everything is kept before it is used: sound, then words, then events in the ledger. A listener
    that starts on a folder with kept words reads those instead of hearing them again, and leaves
    out the events that the ledger already has, so that a restart neither loses nor doubles a line.
    Silences close a count that nobody goes on with; they change no event, so they are not kept.
    """

    def __init__(
        self,
        ears: Ears,
        kit: Kit,
        ledger: Ledger,
        case_id: str,
        folder: Path,
        *,
        on_event: OnEvent | None = None,
        on_partial: OnPartial | None = None,
        on_utterance: OnUtterance | None = None,
        on_open: OnOpen | None = None,
    ) -> None:
        """Open the case's folder; ``BadInput`` where it cannot be read or written."""
        self.case_id = case_id
        self.trouble: BadInput | None = None
        """What stopped the listening, if anything did."""
        self.sound = KeptSound(folder / SOUND_FILE)
        self.words = KeptWords(folder / WORDS_FILE)
        self.kit = kit
        self._ears, self._ledger = ears, ledger
        self._on_event, self._on_partial = on_event, on_partial
        self._on_utterance, self._on_open = on_utterance, on_open
        self._kept_events = len(read_case(ledger, case_id).events)
        self._given = 0
        self._heard_to = 0
        self._abandoned = False
        self._thread = threading.Thread(target=self._run, name=f"listen-{case_id}", daemon=True)

    def start(self) -> None:
        """Begin to listen in a thread."""
        self._thread.start()

    def feed(self, at: int, data: bytes) -> int:
        """Keep int16 samples that begin at sample ``at``; returns how many samples are kept.

        A gap is kept as silence and noted in the case. ``BadInput`` where nothing can be kept, or
        where listening has stopped.
        """
        if self.trouble is not None:
            raise self.trouble
        missing = self.sound.append(at, data)
        if missing:
            seconds = missing / SAMPLE_RATE
            text = f"{seconds:.1f} s of sound did not arrive; lines may be missing there."
            append_note(self._ledger, self.case_id, Note(topic="remark", text=text))
        return self.sound.samples

    @property
    def behind_s(self) -> float:
        """Seconds of kept sound that wait to be heard; many where the machine is too busy."""
        return max(0, self.sound.samples - self._heard_to) / SAMPLE_RATE

    def end(self) -> None:
        """The case is over: whatever is still being said is finished, and a note says so.

        ``BadInput`` where listening had stopped before.
        """
        self._finish()
        if self.trouble is not None:
            raise self.trouble
        note = Note(
            topic="listening_ended",
            duration_s=round(self.sound.samples / SAMPLE_RATE, 3),
            model=self._ears.info.version,
        )
        append_note(self._ledger, self.case_id, note)

    def stop(self) -> None:
        """Stop in the middle, with everything that came kept; another listener can go on."""
        self._abandoned = True
        self._finish()

    def _finish(self) -> None:
        self.sound.end()
        if self._thread.ident is not None:
            self._thread.join()
        self.sound.close()
        self.words.close()

    def _run(self) -> None:
        try:
            *ended, going_on = [list(stretch) for stretch in self.words.stretches]
            for stretch in ended:
                self._give(understand(stretch, self.kit))
            self._give(understand(self._heard(going_on), self.kit, on_open=self._on_open))
        except _Abandoned:
            pass
        except BadInput as problem:
            self.trouble = problem
        except Exception:
            _log.exception("listening to case %s stopped", self.case_id)
            self.trouble = BadInput("Listening stopped because of an error in the program.")

    def _heard(self, kept: list[Utterance]) -> Iterator[Utterance | Silence]:
        """The kept utterances of this stretch, then what is heard from there on.

        The last of them is heard again and left out: a listener that began at its very end would
        take the sound that dies away there for a word.
        """
        yield from kept
        last = next((s[-1] for s in reversed(self.words.stretches) if s), None)
        known_s = last.end_s if last is not None else 0.0
        first_s = max(0.0, last.start_s - LEAD_S) if last is not None else 0.0
        start = round(first_s * SAMPLE_RATE)
        shift = start / SAMPLE_RATE
        sound = self._blocks(start)
        for part in hear_with_silences(self._ears, sound, self._on_partial, live=True):
            if isinstance(part, Silence):
                if part.until_s + shift > known_s:
                    yield Silence(until_s=part.until_s + shift)
            elif (utterance := since(_later(part, shift), known_s)) is not None:
                yield self._kept(utterance)
        self.words.end()

    def _kept(self, utterance: Utterance) -> Utterance:
        self.sound.sync()
        self.words.append(utterance)
        if self._on_utterance is not None:
            self._on_utterance(utterance)
        return utterance

    def _blocks(self, start: int) -> Iterator[Block]:
        shift = start / SAMPLE_RATE
        for block in self.sound.blocks(start):
            self._heard_to = round(block.start_s * SAMPLE_RATE) + len(block.samples)
            yield Block(block.samples, block.start_s - shift)
            if self._abandoned:
                raise _Abandoned

    def _give(self, events: Iterator[Event]) -> None:
        for event in events:
            self._given += 1
            if self._given <= self._kept_events:
                continue
            number = append_event(self._ledger, self.case_id, event)
            if self._on_event is not None:
                self._on_event(number, event)


def since(utterance: Utterance, time_s: float) -> Utterance | None:
    """What an utterance says after ``time_s``, ``None`` if that is nothing.

    A word belongs to the side on which its middle lies.
    """
    if utterance.start_s >= time_s:
        return utterance

    def later(words: tuple[Word, ...]) -> tuple[Word, ...]:
        return tuple(word for word in words if word.start_s + word.end_s > 2 * time_s)

    words = later(utterance.words)
    if not words:
        return None
    others = (
        other.model_copy(update={"words": later(other.words)}) for other in utterance.alternatives
    )
    return utterance.model_copy(
        update={
            "words": words,
            "start_s": words[0].start_s,
            "alternatives": tuple(other for other in others if other.words),
        }
    )


def _later(utterance: Utterance, seconds: float) -> Utterance:
    """The same utterance with all its times moved ``seconds`` on."""

    def moved(words: tuple[Word, ...]) -> tuple[Word, ...]:
        return tuple(
            word.model_copy(
                update={"start_s": word.start_s + seconds, "end_s": word.end_s + seconds}
            )
            for word in words
        )

    return utterance.model_copy(
        update={
            "words": moved(utterance.words),
            "alternatives": tuple(
                other.model_copy(update={"words": moved(other.words)})
                for other in utterance.alternatives
            ),
            "start_s": utterance.start_s + seconds,
            "end_s": utterance.end_s + seconds,
        }
    )
