"""``python -m tests.benchmarks.lost_words``: lines of which a word is lost, or taken for another.

Speech is slow to hear, and a wrong line without a question is rare in it. This looks for them
without sound: in whole spoken cases that ``tests.benchmarks.spoken_cases`` heard (its scratch
folder is needed), words are lost, or taken for others, in the way they were elsewhere in the same
recordings, and every case is judged again. The change is made in every reading of the sound and is
as sure as the words were, so that only meaning and the tally can notice; that a number is taken for
another one is left out, since nothing but a second count can tell.

Every silent error is printed with the change that made it, and how often that change was heard.
Many of them nobody could ask about ("twenty thirty" for "twenty thirty one").
"""

import os
import random
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from multiprocessing import get_context
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress, TextColumn, TimeElapsedColumn
from tests.benchmarks.line_voices import VOICES
from tests.benchmarks.lines import hearing_version, stored
from tests.benchmarks.spoken_cases import Take, as_heard, by_line, line_at
from tests.cases.generate import Case
from tests.cases.judge import Outcome, judge

from countersign.hearing import Utterance
from countersign.hearing.confidence import read_calibration
from countersign.hearing.models import current_model
from countersign.hearing.utterance import TALK, Word
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning import understand
from countersign.meaning.numbers import is_number_word
from countersign.tally import build_record

Heard = dict[str, Counter[str]]
"""What was heard for a word, or for two in a row, and how often; nothing is an empty text."""

SURE = 0.98
"""No more sure than this is a word that was put in the place of another."""
APART = (6, 12)
"""Utterances from one change to the next."""


@dataclass(frozen=True)
class Recording:
    """A spoken case as it was heard; ``starts`` are the seconds at which its utterances begin."""

    seed: int
    case: Case
    utterances: tuple[Utterance, ...]
    starts: tuple[float, ...]


@dataclass(frozen=True)
class Change:
    """``said`` became ``heard`` in the utterance ``at``, which begins at ``start_s``."""

    at: int
    start_s: float
    said: str
    heard: str


@dataclass(frozen=True)
class Wrong:
    """A silent error that a change made."""

    seed: int
    change: Change
    line: str
    sentence: str


def recordings(
    kit: Kit, scratch: Path, first: int, cases: int, lines: int, voices: Sequence[str]
) -> Iterator[Recording]:
    """The cases that were heard."""
    heard = stored(scratch / f"heard-cases-{hearing_version(kit)}.jsonl")
    calibration = read_calibration(current_model())
    for seed in range(first, first + cases):
        take = Take(seed, lines, tuple(voices), None)
        one = heard.get(take.key(kit))
        if one is None:
            continue
        utterances = tuple(as_heard(one, calibration))
        yield Recording(seed, take.case(kit), utterances, tuple(one["starts"]))


def what_was_heard(some: Sequence[Recording]) -> Heard:
    """What became of words: where up to two that were said stand against up to two others."""
    found: Heard = defaultdict(Counter)
    for one in some:
        words: dict[int, list[str]] = defaultdict(list)
        for utterance in one.utterances:
            for word in utterance.words:
                words[line_at(one.starts, word.start_s)].append(word.text)
        for line, said in enumerate(one.case.utterances, 1):
            before, after = said.text.replace(",", " ").split(), words.get(line, [])
            for tag, a, b, c, d in SequenceMatcher(None, before, after, False).get_opcodes():
                if tag == "equal" or not 1 <= b - a <= 2 or d - c > 2 or not after:
                    continue
                numbers = any(map(is_number_word, before[a:b]))
                if not (numbers and any(map(is_number_word, after[c:d]))):
                    found[" ".join(before[a:b])][" ".join(after[c:d])] += 1
    return found


def changed(
    utterance: Utterance, at: int, known: Heard, rng: random.Random
) -> tuple[Utterance, Change] | None:
    """An utterance with a word or two heard otherwise, ``None`` if none of its words ever was."""
    words = utterance.words
    spans = [(n, n + size) for n in range(len(words)) for size in (1, 2) if n + size <= len(words)]
    named = [(n, end, " ".join(word.text for word in words[n:end])) for n, end in spans]
    possible = [each for each in named if each[2] in known]
    if not possible:
        return None
    begin, end, said = rng.choice(possible)
    instead = known[said]
    heard = rng.choices(list(instead), [number**0.5 for number in instead.values()])[0]
    start_s, end_s = words[begin].start_s, words[end - 1].end_s
    new = _replaced(words, start_s, end_s, heard)
    if not new:
        return None
    others = [
        each.model_copy(update={"words": _replaced(each.words, start_s, end_s, heard)})
        for each in utterance.alternatives
    ]
    alternatives = tuple(each for each in others if each.words)
    other = utterance.model_copy(update={"words": new, "alternatives": alternatives})
    return other, Change(at, words[0].start_s, said, heard)


def _replaced(words: Sequence[Word], start_s: float, end_s: float, heard: str) -> tuple[Word, ...]:
    """The words with those of a stretch of time put for others; talk beside talk is one."""
    new = heard.split()
    step = (end_s - start_s) / max(1, len(new))
    found: list[Word] = []
    put = False
    for word in words:
        if not start_s <= (word.start_s + word.end_s) / 2 <= end_s:
            found.append(word)
        elif not put:
            put = True
            for number, text in enumerate(new):
                begins = start_s + number * step
                confidence = min(word.confidence, SURE)
                found.append(
                    Word(text=text, start_s=begins, end_s=begins + step, confidence=confidence)
                )
    joined: list[Word] = []
    for word in found:
        if joined and joined[-1].text == word.text == TALK:
            joined[-1] = joined[-1].model_copy(update={"end_s": word.end_s})
        else:
            joined.append(word)
    return tuple(joined)


def try_once(one: Recording, kit: Kit, known: Heard, rng: random.Random) -> tuple[int, list[Wrong]]:
    """Change words here and there in a case; how many, and the silent errors of it."""
    utterances, changes = list(one.utterances), []
    at = rng.randrange(APART[0])
    while at < len(utterances):
        found = changed(utterances[at], at, known, rng)
        if found is not None:
            utterances[at] = found[0]
            changes.append(found[1])
        at += rng.randrange(*APART)
    wrong = []
    for line, sentence in _silent(one, kit, utterances).items():
        for change in changes:
            alone = list(one.utterances)
            alone[change.at] = utterances[change.at]
            if line in _silent(one, kit, alone):
                wrong.append(Wrong(one.seed, change, utterances[change.at].text, sentence))
                break
    return len(changes), wrong


def _silent(one: Recording, kit: Kit, utterances: Sequence[Utterance]) -> dict[int, str]:
    """The sentences of silent errors by the first line of their steps."""
    record = build_record(kit, list(understand(utterances, kit)), ())
    return {
        each.step.first_line: each.sentence
        for each in judge(one.case, by_line(record, one.starts))
        if each.outcome is Outcome.SILENT and each.got
    }


@dataclass(frozen=True)
class Part:
    """What one process does: the cases, how long, and where chance begins."""

    seed: int
    seconds: float
    scratch: Path
    first: int
    cases: int
    lines: int
    voices: tuple[str, ...]


def try_for_a_while(part: Part) -> tuple[int, list[Wrong], Heard]:
    """The number of changes, the silent errors, and what was known to be heard."""
    kit = read_kit(demo_kit_path())
    some = list(recordings(kit, part.scratch, part.first, part.cases, part.lines, part.voices))
    known = what_was_heard(some)
    rng = random.Random(part.seed)
    tried = 0
    wrong: list[Wrong] = []
    until = time.monotonic() + part.seconds
    while some and time.monotonic() < until:
        number, found = try_once(rng.choice(some), kit, known, rng)
        tried += number
        wrong += found
    return tried, wrong, known


def main(
    first: Annotated[int, typer.Option(help="The first seed of the cases.")] = 7700,
    cases: Annotated[int, typer.Option(help="How many seeds.")] = 2000,
    lines: Annotated[int, typer.Option(help="About how many things happen in each.")] = 30,
    seconds: Annotated[float, typer.Option(help="How long to try.")] = 120.0,
    seed: Annotated[int, typer.Option(help="Where chance begins.")] = 1,
    scratch: Annotated[Path, typer.Option(help="Folder with what was heard.")] = Path(".benchmark"),
    voice: Annotated[list[str] | None, typer.Option(help="The voices of the cases.")] = None,
    processes: Annotated[int, typer.Option(help="Processes at work.")] = os.cpu_count() or 1,
) -> None:
    """Silent errors that a lost word, or another one, would make."""
    console = Console(stderr=True, highlight=False, width=200)
    voices = tuple(voice or VOICES)
    parts = [
        Part(seed + number, seconds, scratch, first, cases, lines, voices)
        for number in range(processes)
    ]
    columns = (TextColumn("{task.description}"), TimeElapsedColumn())
    with Progress(*columns, console=console) as bar, get_context("spawn").Pool(processes) as pool:
        bar.add_task(f"losing words for {seconds:.0f} s", total=None)
        results = pool.map(try_for_a_while, parts)
    known = results[0][2]
    if not known:
        console.print(
            f"Nothing was heard yet in {scratch}; run tests.benchmarks.spoken_cases first."
        )
        raise typer.Exit(2)
    wrong = [each for _, some, _ in results for each in some]
    wrong.sort(key=lambda each: -known[each.change.said][each.change.heard])
    for each in wrong:
        change = each.change
        often = known[change.said][change.heard]
        what = f"“{change.said}” heard as “{change.heard or 'nothing'}” ({often} times)"
        console.print(f"case {each.seed}: {what}: “{each.line}”; {each.sentence}", markup=False)
    tried = sum(number for number, _, _ in results)
    print(f"{len(wrong)} silent errors in {tried:,} changes")


if __name__ == "__main__":
    typer.run(main)
