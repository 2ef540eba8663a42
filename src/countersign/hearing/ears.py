"""Turns blocks of sound into utterances with Vosk."""

import json
import re
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import vosk

from countersign.hearing.confidence import Calibration, calibrated, read_calibration
from countersign.hearing.gate import Gate
from countersign.hearing.going_on import context_start, may_end_line
from countersign.hearing.grammar import counting_graph, open_graph, vocabulary
from countersign.hearing.models import ModelInfo, current_model, describe_model
from countersign.hearing.pauses import Pause
from countersign.hearing.readings import (
    UNKNOWN,
    after,
    distinct,
    own_word,
    readings_of,
    supported,
)
from countersign.hearing.tuning import (
    CONTEXT_S,
    DECODING,
    LEAST_TALK_S,
    LONGEST_GAP_S,
    MARGIN_S,
    OPEN_DECODING,
    READINGS,
    STEP_S,
)
from countersign.hearing.utterance import TALK, Alternative, Partial, Silence, Utterance, Word
from countersign.hearing.workspace import compiled_folder
from countersign.kit.model import Kit
from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE, Block

OnPartial = Callable[[Partial], None]

_STEP_BYTES = 2 * round(STEP_S * SAMPLE_RATE)
_STEPS_A_SECOND = round(1 / STEP_S)
_SURE_AFTER_S = 1.5
"""Where the decoder has no words yet, none began longer ago than this."""
_KEPT_SAMPLES = 60 * SAMPLE_RATE
_LAG_S = 0.4
"""The decoder says a word about this long after it began."""
_MOST_WAITING = 8
"""Utterances and silences that wait to be told; each holds up to two minutes of sound."""


@dataclass(frozen=True)
class Ears:
    """Loaded models. ``open`` is ``None`` where the model brings its own graph.

    ``forms`` finds the kit's spoken forms in a text, longest first; ``items`` names their items.
    Without ``calibration`` a word's confidence is its share of the readings.
    """

    info: ModelInfo
    counting: vosk.Model
    open: vosk.Model | None
    words: dict[str, str] | None
    forms: re.Pattern[str]
    items: dict[str, str]
    calibration: Calibration | None = None


def open_ears(kit: Kit, model_path: Path | None = None) -> Ears:
    """Load the model for this kit; ``BadInput`` if the model or the kit cannot be used."""
    vosk.SetLogLevel(-1)
    info = describe_model(model_path or current_model())
    items = {form: item.id for item in kit.items for form in item.spoken}
    longest_first = sorted(items, key=len, reverse=True)
    forms = re.compile(rf"\b(?:{'|'.join(map(re.escape, longest_first))})\b")
    if info.compiled:
        with ThreadPoolExecutor(1) as other:
            opened = other.submit(
                lambda: _load(compiled_folder(info, kit, "open", open_graph, OPEN_DECODING))
            )
            counting = _load(compiled_folder(info, kit, "counting", counting_graph, DECODING))
        return Ears(
            info=info,
            counting=counting,
            open=opened.result(),
            words=None,
            forms=forms,
            items=items,
            calibration=read_calibration(info.path),
        )
    model = _load(info.path)
    words = _known_words(model, kit, info)
    return Ears(info=info, counting=model, open=None, words=words, forms=forms, items=items)


def _load(folder: Path) -> vosk.Model:
    try:
        return vosk.Model(str(folder))
    except Exception:  # vosk raises a bare Exception without a reason
        raise BadInput(f"Vosk cannot load the model in {folder}.") from None


def _known_words(model: vosk.Model, kit: Kit, info: ModelInfo) -> dict[str, str] | None:
    """The kit's words as this model spells them, or ``None`` if it takes no word list."""
    if not info.word_list:
        return None
    spelled: dict[str, str] = {}
    for word in vocabulary(kit):
        for spelling in (word, word.upper(), word.capitalize()):
            if model.vosk_model_find_word(spelling) >= 0:
                spelled[spelling] = word
                break
    if not spelled:
        raise BadInput(f"The model in {info.path} knows none of the kit's words.")
    return spelled


def _recognizer(model: vosk.Model, words: dict[str, str] | None) -> vosk.KaldiRecognizer:
    if words is None:
        recognizer = vosk.KaldiRecognizer(model, SAMPLE_RATE)
    else:
        unknown = [UNKNOWN] if model.vosk_model_find_word(UNKNOWN) >= 0 else []
        listed = json.dumps([*words, *unknown], ensure_ascii=False)
        recognizer = vosk.KaldiRecognizer(model, SAMPLE_RATE, listed)
    recognizer.SetMaxAlternatives(READINGS)
    recognizer.SetWords(True)
    return recognizer


def hear(
    ears: Ears,
    blocks: Iterable[Block],
    on_partial: OnPartial | None = None,
    *,
    live: bool = False,
) -> Iterator[Utterance]:
    """Utterances as they end, in order of time.

    ``on_partial`` is called whenever the words so far of an utterance change, and without words
    once it has ended; it changes nothing in what is heard.

    The second, open decoding runs on each utterance that holds more than talk; its best reading is
    the utterance's last alternative. It runs beside the decoding of what follows, except where the
    source is ``live``: then nobody knows when the next block comes, and it is waited for. A room
    in which nobody speaks is not decoded (``gate.py``).
    """
    for part in hear_with_silences(ears, blocks, on_partial, live=live):
        if isinstance(part, Utterance):
            yield part


def hear_with_silences(
    ears: Ears,
    blocks: Iterable[Block],
    on_partial: OnPartial | None = None,
    *,
    live: bool = False,
) -> Iterator[Utterance | Silence]:
    """What :func:`hear` gives, and about once a second, while nobody speaks, how far that is so."""
    recognizer = _recognizer(ears.counting, ears.words)
    recent, before, gate = _Recent(), _Before(), Gate()
    partial, pause = _Partial(recognizer, ears.words, on_partial), Pause()
    told: deque[_Told] = deque()
    with ThreadPoolExecutor(1, thread_name_prefix="hear-again") as other:

        def finish(answer: str) -> None:
            partial.ended()
            from_s = gate.away / SAMPLE_RATE
            told.append(other.submit(_finish, ears, answer, from_s, recent.copy(), before))

        try:
            for number, data in enumerate(_steps(blocks), start=1):
                recent.add(data)
                was_open = gate.is_open
                steps = gate.add(data)
                if gate.is_open and not was_open:
                    pause = Pause()
                for step in steps:
                    paused = pause.add(step)
                    if recognizer.AcceptWaveform(step):
                        finish(recognizer.Result())
                    elif paused and may_end_line(partial.words(), ears.items):
                        finish(recognizer.FinalResult())  # not waiting for what is looked ahead
                    elif partial.changed():
                        yield from _due(told, wait=True)
                        partial.tell_of(recent.end_s)
                if gate.is_open and gate.is_still:
                    # Ended for good, so that the decoder starts afresh with what comes next.
                    finish(recognizer.FinalResult())
                    gate.close()
                if number % _STEPS_A_SECOND == 0 and not (gate.is_open and partial.words()):
                    told.append(Silence(until_s=round(max(0.0, recent.end_s - _SURE_AFTER_S), 3)))
                # With the gate closed there is nothing to decode meanwhile.
                at_once = live or not gate.is_open
                yield from _due(told, wait=at_once or len(told) > _MOST_WAITING)
        except Exception:  # of the source: what was heard before is not lost with it
            yield from _due(told, wait=True)
            raise
        if gate.is_open:
            if rest := gate.rest():
                recognizer.AcceptWaveform(rest)
            finish(recognizer.FinalResult())
        yield from _due(told, wait=True)


_Told = Future[Utterance | None] | Silence


def _due(told: deque[_Told], wait: bool) -> Iterator[Utterance | Silence]:
    """Take out what is ready, in order of time; everything where there is time to ``wait``."""
    while told:
        first = told[0]
        if isinstance(first, Silence):
            part: Utterance | Silence | None = first
        elif wait or first.done():
            part = first.result()
        else:
            return
        told.popleft()
        if part is not None:
            yield part


def _steps(blocks: Iterable[Block]) -> Iterator[bytes]:
    """The sound in steps of one length: the decoder looks for a pause only after each step, so that
    the words would depend on how the sound happened to be cut into blocks.
    """
    held = bytearray()
    for block in blocks:
        held += block.samples.tobytes()
        whole = len(held) // _STEP_BYTES * _STEP_BYTES
        for start in range(0, whole, _STEP_BYTES):
            yield bytes(held[start : start + _STEP_BYTES])
        del held[:whole]
    if held:
        yield bytes(held)


class _Partial:
    """Tells the words so far of the utterance that is being spoken, when they change."""

    def __init__(
        self,
        recognizer: vosk.KaldiRecognizer,
        spelled: dict[str, str] | None,
        tell: OnPartial | None,
    ) -> None:
        self.recognizer, self.spelled, self.tell = recognizer, spelled, tell
        self.told: tuple[str, ...] = ()
        self.now: tuple[str, ...] = ()
        self.start_s = 0.0

    def words(self) -> tuple[str, ...]:
        found = str(json.loads(self.recognizer.PartialResult()).get("partial", ""))
        return tuple(own_word(word, self.spelled) for word in found.split())

    def changed(self) -> bool:
        """Whether there is something new to tell."""
        self.now = self.words() if self.tell is not None else ()
        return self.now != self.told

    def tell_of(self, heard_s: float) -> None:
        if self.tell is None:
            return
        if not self.told:
            self.start_s = max(0.0, round(heard_s - _LAG_S, 3))
        self.told = self.now
        self.tell(Partial(words=self.now, start_s=self.start_s, heard_s=round(heard_s, 3)))

    def ended(self) -> None:
        if self.tell is not None and self.told:
            self.tell(Partial(words=(), start_s=self.start_s, heard_s=self.start_s))
            self.told = ()


@dataclass
class _Recent:
    """The last stretch of sound, long enough for any one utterance."""

    data: bytearray = field(default_factory=bytearray)
    dropped: int = 0

    def add(self, data: bytes) -> None:
        self.data += data
        surplus = len(self.data) - 2 * _KEPT_SAMPLES
        if surplus > _KEPT_SAMPLES:  # trimmed in large steps, not at every block
            del self.data[:surplus]
            self.dropped += surplus

    def copy(self) -> "_Recent":
        """The sound as it is now, for another thread."""
        return _Recent(self.data[:], self.dropped)

    @property
    def end_s(self) -> float:
        return (self.dropped + len(self.data)) / (2 * SAMPLE_RATE)

    def cut(self, start_s: float, end_s: float) -> bytes:
        first = max(0, 2 * int(start_s * SAMPLE_RATE) - self.dropped)
        last = max(first, 2 * int(end_s * SAMPLE_RATE) - self.dropped)
        return bytes(self.data[first:last])


@dataclass
class _Before:
    """The words that were heard last, as far as an utterance may go on with them."""

    words: tuple[Word, ...] = ()

    def add(self, words: tuple[Word, ...]) -> None:
        if self.words and words[0].start_s - self.words[-1].end_s > LONGEST_GAP_S:
            self.words = ()
        earliest = words[-1].end_s - CONTEXT_S - LONGEST_GAP_S
        self.words = tuple(word for word in (*self.words, *words) if word.start_s >= earliest)


def _finish(
    ears: Ears, answer: str, from_s: float, recent: _Recent, before: _Before
) -> Utterance | None:
    """What the decoder said of an utterance, heard again where that helps; ``None`` if nothing.

    ``from_s`` seconds of sound before it were kept from the decoder.
    """
    readings = readings_of(answer, ears.words, from_s)
    if not readings:
        return None
    readings = _going_on(ears, readings, recent, before) or readings
    words = supported(readings, ears.items)
    start_s, end_s = words[0].start_s, words[-1].end_s
    only_talk = all(word.text == TALK for word in words)
    if only_talk and end_s - start_s < LEAST_TALK_S:
        return None
    before.add(words)
    others = distinct(readings, ears.forms, ears.items)
    if ears.open is not None and not only_talk:
        again = _again(ears.open, None, recent, start_s - MARGIN_S, end_s + MARGIN_S)
        best = again[0] if again else Alternative(words=(), confidence=1.0)
        others.append(best.model_copy(update={"origin": "open"}))
    heard = Utterance(
        words=words,
        start_s=start_s,
        end_s=end_s,
        confidence=readings[0].confidence,
        alternatives=tuple(others),
    )
    return heard if ears.calibration is None else calibrated(heard, ears.calibration)


def _going_on(
    ears: Ears, readings: list[Alternative], recent: _Recent, before: _Before
) -> list[Alternative]:
    """The utterance heard again with the words before it; empty if there is no need."""
    words = readings[0].words
    from_s = context_start(before.words, words, ears.items)
    if from_s is None:
        return []
    again = _again(ears.counting, ears.words, recent, from_s, words[-1].end_s + MARGIN_S)
    return after(again, (before.words[-1].end_s + words[0].start_s) / 2)


def _again(
    model: vosk.Model,
    spelled: dict[str, str] | None,
    recent: _Recent,
    from_s: float,
    to_s: float,
) -> list[Alternative]:
    """Readings of a stretch of recent sound, heard by itself.

    The decoder lags behind the sound it was given, so that the stretch is named by its own times.
    """
    from_s = max(0.0, from_s)
    recognizer = _recognizer(model, spelled)
    recognizer.AcceptWaveform(recent.cut(from_s, to_s))
    return readings_of(recognizer.FinalResult(), spelled, from_s)
