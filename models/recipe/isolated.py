"""Make the set of single words that checkpoints are chosen by: tightly cut, one word a clip.

    python isolated.py --out DIR --people people-0-000.jsonl --prompts SOUNDS LIST \\
        --piper MODEL --kokoro MODEL STYLES VOCABULARY

Three groups: ``digits`` (the held-out made voices say the ten digits at three rates),
``peoplewords`` (words cut out of the validation recordings of people) and ``prompts`` (one-word
recordings of one person in Debian's asterisk-core-sounds-en-g722, CC BY-SA 3.0; never used for
training). ``SOUNDS`` is that package's folder of sounds and ``LIST`` its core-sounds-en.txt.
"""

from __future__ import annotations

import argparse
import random
import tempfile
from pathlib import Path

import numpy as np
from corpus import RATE, ShardWriter, Utterance, read_audio, read_shard
from pronounce import phones_of, words_of
from speak import make_speaker, resample, trim
from texts import DIGITS, number_words
from voices import held_out_voices

RATES = (0.85, 1.1, 1.35)
WORDS_OF_PEOPLE = 300


def add(writer: ShardWriter, group: str, audio: np.ndarray, text: str) -> None:
    """One word (float audio, any level), cut tightly."""
    audio = trim(audio / max(1e-4, np.abs(audio).max()) * 0.5, -30.0, 0.0)
    u = Utterance("word", group, group, 0, 0, text, phones_of(text) or [])
    writer.add((audio * 32767).astype(np.int16), u)


def made_digits(writer: ShardWriter, arguments: argparse.Namespace) -> None:
    """The ten digits in every held-out voice."""
    for engine in ("flite", "festival", "espeak", "piper", "kokoro"):
        arguments.engine = engine
        with tempfile.TemporaryDirectory() as folder:
            speak = make_speaker(arguments, Path(folder))
            for voice in held_out_voices(engine):
                for digit in DIGITS:
                    for rate in RATES:
                        audio, hertz = speak(digit, voice, rate)[:2]
                        add(writer, "digits", resample(audio, hertz), digit)


def words_of_people(writer: ShardWriter, index: Path) -> None:
    """Words of at least three phones, and number words, from the validation recordings."""
    audio, lines = read_shard(index)
    found = []
    for u in lines:
        if u.set != "valid":
            continue
        for text, (first, last, phones) in zip(words_of(u.text), u.words, strict=True):
            if len(phones) >= 3 and 0.12 * RATE < last - first < 0.9 * RATE:
                found.append((audio[u.start + first : u.start + last] / 32768.0, text))
    random.Random(3).shuffle(found)
    for clip, text in found[:WORDS_OF_PEOPLE]:
        add(writer, "peoplewords", clip, text)


def prompts(writer: ShardWriter, sounds: Path, texts: Path) -> None:
    """One-word prompts (a number in figures is spelled out)."""
    for line in texts.read_text(encoding="utf-8").splitlines():
        name, _, text = line.partition(":")
        text = text.strip().strip(".!").lower()
        if text.isdigit() and int(text) < 1000:
            text = number_words(int(text))
        file = sounds / f"{name}.g722"
        if file.exists() and text.isalpha() and len(text) > 1 and phones_of(text):
            add(writer, "prompts", read_audio(file) / 32768.0, text)


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--people", type=Path, required=True)
    parser.add_argument("--prompts", type=Path, nargs=2, required=True)
    parser.add_argument("--kokoro", nargs=3, required=True)
    parser.add_argument("--piper", required=True)
    parser.add_argument("--device")
    a = parser.parse_args()
    writer = ShardWriter()
    made_digits(writer, a)
    words_of_people(writer, a.people)
    prompts(writer, *a.prompts)
    counts: dict[str, int] = {}
    for u in writer.lines:
        counts[u.voice] = counts.get(u.voice, 0) + 1
    writer.write(a.out / "words-000")
    print(counts, {g: len({u.text for u in writer.lines if u.voice == g}) for g in counts})


if __name__ == "__main__":
    main()
