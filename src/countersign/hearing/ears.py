"""Turns blocks of sound into utterances with Vosk."""

import json
import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import vosk

from countersign.hearing.grammar import counting_graph, open_graph, vocabulary
from countersign.hearing.models import ModelInfo, current_model, describe_model
from countersign.hearing.utterance import TALK, Alternative, Utterance, Word
from countersign.hearing.workspace import compiled_folder
from countersign.kit.model import Kit
from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE, Block

READINGS = 8
"""Paths asked of the decoder for each utterance."""

SCORE_SCALE = 0.5
"""Path scores are multiplied by this before they become a posterior: the network's scores are
sharper than its errors."""

_MARGIN_S = 0.3
"""Sound before and after an utterance given to the second decoding, shorter than a pause."""

_STEP_BYTES = 2 * SAMPLE_RATE // 5
_KEPT_SAMPLES = 60 * SAMPLE_RATE
_UNKNOWN = "[unk]"


@dataclass(frozen=True)
class Ears:
    """Loaded models. ``open`` is ``None`` where the model brings its own graph.

    ``forms`` finds the kit's spoken forms in a text, longest first; ``items`` names their items.
    """

    info: ModelInfo
    counting: vosk.Model
    open: vosk.Model | None
    words: dict[str, str] | None
    forms: re.Pattern[str]
    items: dict[str, str]


def open_ears(kit: Kit, model_path: Path | None = None) -> Ears:
    """Load the model for this kit; ``BadInput`` if the model or the kit cannot be used."""
    vosk.SetLogLevel(-1)
    info = describe_model(model_path or current_model())
    items = {form: item.id for item in kit.items for form in item.spoken}
    longest_first = sorted(items, key=len, reverse=True)
    forms = re.compile(rf"\b(?:{'|'.join(map(re.escape, longest_first))})\b")
    if info.compiled:
        return Ears(
            info=info,
            counting=_load(compiled_folder(info, kit, "counting", counting_graph)),
            open=_load(compiled_folder(info, kit, "open", open_graph)),
            words=None,
            forms=forms,
            items=items,
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
        unknown = [_UNKNOWN] if model.vosk_model_find_word(_UNKNOWN) >= 0 else []
        listed = json.dumps([*words, *unknown], ensure_ascii=False)
        recognizer = vosk.KaldiRecognizer(model, SAMPLE_RATE, listed)
    recognizer.SetMaxAlternatives(READINGS)
    recognizer.SetWords(True)
    return recognizer


def hear(ears: Ears, blocks: Iterable[Block]) -> Iterator[Utterance]:
    """Utterances as they end, in order of time.

    The second, open decoding runs on each utterance that holds more than talk; its best reading is
    the utterance's last alternative.
    """
    recognizer = _recognizer(ears.counting, ears.words)
    recent = _Recent()
    for data in _steps(blocks):
        recent.add(data)
        if recognizer.AcceptWaveform(data):
            yield from _finish(ears, json.loads(recognizer.Result()), recent)
    yield from _finish(ears, json.loads(recognizer.FinalResult()), recent)


def _steps(blocks: Iterable[Block]) -> Iterator[bytes]:
    """The sound in steps of one length: the decoder looks for a pause only after each step, so that
    the words would depend on how the sound happened to be cut into blocks.
    """
    held = bytearray()
    for block in blocks:
        held += block.samples.tobytes()
        while len(held) >= _STEP_BYTES:
            yield bytes(held[:_STEP_BYTES])
            del held[:_STEP_BYTES]
    if held:
        yield bytes(held)


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

    def cut(self, start_s: float, end_s: float) -> bytes:
        first = max(0, 2 * int(start_s * SAMPLE_RATE) - self.dropped)
        last = max(first, 2 * int(end_s * SAMPLE_RATE) - self.dropped)
        return bytes(self.data[first:last])


def _finish(ears: Ears, result: dict[str, Any], recent: _Recent) -> Iterator[Utterance]:
    readings = _readings(result, ears.words)
    if not readings:
        return
    best = readings[0]
    words = tuple(
        word.model_copy(update={"confidence": _support(word, readings)}) for word in best.words
    )
    start_s, end_s = words[0].start_s, words[-1].end_s
    others = _distinct(ears, readings)
    if ears.open is not None and any(word.text != TALK for word in words):
        # The decoder lags behind the sound it was given, so the stretch is cut by its own times.
        from_s = max(0.0, start_s - _MARGIN_S)
        others.append(_open_reading(ears.open, recent.cut(from_s, end_s + _MARGIN_S), from_s))
    yield Utterance(
        words=words,
        start_s=start_s,
        end_s=end_s,
        confidence=best.confidence,
        alternatives=tuple(others),
    )


def _distinct(ears: Ears, readings: list[Alternative]) -> list[Alternative]:
    """The readings after the best that say something else, likeliest first.

    Breath and room noise at the edges are often heard as talk too, and one form of an item as
    another of the same. A reading that differs only in that is the same reading, so their shares
    are added; one of nothing but talk is left out, for its share is already missing from the
    confidence of the words.
    """

    def meant(words: tuple[Word, ...]) -> str:
        text = " ".join(word.text for word in words)
        return ears.forms.sub(lambda form: ears.items[form.group()], text)

    shares: dict[str, Alternative] = {}
    for reading in readings:
        words = _without_edge_talk(reading.words)
        if not words:
            continue
        text = meant(words)
        share = reading.confidence + (shares[text].confidence if text in shares else 0.0)
        known = shares[text].words if text in shares else words
        shares[text] = Alternative(words=known, confidence=share)
    best = meant(_without_edge_talk(readings[0].words))
    others = [reading for text, reading in shares.items() if text != best]
    return sorted(others, key=lambda reading: -reading.confidence)


def _without_edge_talk(words: tuple[Word, ...]) -> tuple[Word, ...]:
    spoken = [index for index, word in enumerate(words) if word.text != TALK]
    return words[spoken[0] : spoken[-1] + 1] if spoken else ()


def _open_reading(model: vosk.Model, sound: bytes, from_s: float) -> Alternative:
    recognizer = _recognizer(model, None)
    recognizer.AcceptWaveform(sound)
    readings = _readings(json.loads(recognizer.FinalResult()), None)
    words = [
        word.model_copy(update={"start_s": word.start_s + from_s, "end_s": word.end_s + from_s})
        for word in (readings[0].words if readings else ())
    ]
    confidence = readings[0].confidence if readings else 1.0
    return Alternative(words=tuple(words), confidence=confidence, origin="open")


def _readings(result: dict[str, Any], spelled: dict[str, str] | None) -> list[Alternative]:
    """Vosk's alternatives with scores turned into shares of the posterior; empty ones left out."""
    found = result.get("alternatives", [])
    scores = [SCORE_SCALE * float(one["confidence"]) for one in found]
    top = max(scores, default=0.0)
    weights = [math.exp(score - top) for score in scores]
    readings = []
    for one, weight in zip(found, weights, strict=True):
        words = tuple(_word(entry, spelled) for entry in one.get("result", []))
        if words:
            readings.append(Alternative(words=words, confidence=weight / sum(weights)))
    return readings


def _word(entry: dict[str, Any], spelled: dict[str, str] | None) -> Word:
    text = str(entry["word"])
    if text == _UNKNOWN:
        text = TALK
    elif spelled is not None:
        text = spelled.get(text, text)
    return Word(text=text, start_s=round(entry["start"], 3), end_s=round(entry["end"], 3))


def _support(word: Word, readings: list[Alternative]) -> float:
    """The share of the posterior whose readings have this word at this time."""
    share = sum(
        reading.confidence
        for reading in readings
        if any(
            other.text == word.text and other.start_s < word.end_s and word.start_s < other.end_s
            for other in reading.words
        )
    )
    return min(1.0, round(share, 4))
