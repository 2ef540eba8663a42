"""``python -m tests.benchmarks.latency``: how soon words and lines come while somebody speaks.

Recordings are played in real time through the microphone's own path. The clock of every figure
starts where the sound of the word or phrase ends, so that all waiting counts: for the microphone's
pieces, for the network's look ahead, for the pause that ends an utterance, and for the computer.
The same is given without the computer's own time, counted in the sound that had been given by then:
that figure is the same on every machine, and the difference shows how busy this one was.

A word's end is taken from two places. For every word, from the answer of the whole file. For the
last word of each piece that was spoken, from the manifest, which knows how the recording was made:
that figure owes nothing to the recogniser.
"""

import json
import math
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer

from countersign.hearing import TALK, Ears, Partial, Utterance, hear, open_ears
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning import Event, understand
from countersign.sound import SAMPLE_RATE, Block, microphone, read_blocks

ROOT = Path(__file__).resolve().parents[2]
SAME_END_S = 0.25
"""An utterance that ends this close to the end of a spoken piece is taken to be that piece."""
AFTER_S = 2.0
"""Silence is played this long after a recording, as a room goes on being quiet."""


@dataclass(frozen=True)
class Moment:
    """When something came: ``clock_s`` since the sound began, ``sound_s`` of it given by then."""

    clock_s: float
    sound_s: float

    def after(self, end_s: float) -> "Moment":
        """The same counted from ``end_s``."""
        return Moment(self.clock_s - end_s, self.sound_s - end_s)


@dataclass
class Latencies:
    """From the end of the sound to what is told about it, one figure a word or line."""

    partial_words: list[Moment] = field(default_factory=list)
    partial_pieces: list[Moment] = field(default_factory=list)
    utterances: list[Moment] = field(default_factory=list)
    pieces: list[Moment] = field(default_factory=list)
    events: list[Moment] = field(default_factory=list)
    recordings: int = 0
    same: int = 0
    different: list[str] = field(default_factory=list)


@dataclass
class Played:
    """What came while a recording was played, and when."""

    partials: list[tuple[Moment, Partial]] = field(default_factory=list)
    utterances: list[tuple[Moment, Utterance]] = field(default_factory=list)
    events: list[tuple[Moment, Event]] = field(default_factory=list)
    length_s: float = math.inf


def silence(from_s: float) -> Iterator[Block]:
    """The quiet that follows a recording, in blocks as long as the microphone's pieces."""
    size = round(microphone.PIECE_S * SAMPLE_RATE)
    for number in range(round(AFTER_S / microphone.PIECE_S)):
        yield Block(np.zeros(size, np.int16), from_s + number * microphone.PIECE_S)


def play(path: Path, ears: Ears, kit: Kit) -> Played:
    """Play ``path`` in real time and note what comes when."""
    played = Played()
    began: float | None = None
    given_s = 0.0

    def clock() -> float:
        # The player asks for the time when it begins: the second 0 of the sound.
        nonlocal began
        now = time.monotonic()
        began = now if began is None else began
        return now

    def now() -> Moment:
        assert began is not None
        return Moment(time.monotonic() - began, given_s)

    def on_partial(partial: Partial) -> None:
        played.partials.append((now(), partial))

    def blocks() -> Iterator[Block]:
        nonlocal given_s
        for block in microphone.file_as_microphone(path, seconds=microphone.PIECE_S, clock=clock):
            given_s = block.start_s + len(block.samples) / SAMPLE_RATE
            yield block
        for quiet in silence(given_s):
            given_s = quiet.start_s + len(quiet.samples) / SAMPLE_RATE
            time.sleep(max(0.0, given_s - now().clock_s))
            yield quiet
        played.length_s = given_s

    def noted() -> Iterator[Utterance]:
        for utterance in hear(ears, blocks(), on_partial):
            played.utterances.append((now(), utterance))
            yield utterance

    for event in understand(noted(), kit):
        played.events.append((now(), event))
    return played


def first_told(played: Played, utterance: Utterance, came: Moment) -> list[Moment]:
    """For each word of ``utterance`` the moment at which a partial first had it in its place."""
    earlier = [at.clock_s for at, _ in played.utterances if at.clock_s < came.clock_s]
    since = max(earlier, default=-1.0)
    partials = [
        (at, partial) for at, partial in played.partials if since <= at.clock_s <= came.clock_s
    ]
    return [
        next(
            (at for at, partial in partials if partial.words[place : place + 1] == (word.text,)),
            came,
        )
        for place, word in enumerate(utterance.words)
    ]


def measure(
    path: Path, spoken: Sequence[dict[str, Any]], ears: Ears, kit: Kit, to: Latencies
) -> None:
    """Play one recording and add its figures to ``to``."""
    played = play(path, ears, kit)
    to.recordings += 1
    whole = hear(ears, [*read_blocks(path), *silence(played.length_s - AFTER_S)])
    if [utterance for _, utterance in played.utterances] == list(whole):
        to.same += 1
    else:
        to.different.append(path.name)
    ends = [float(piece["end_s"]) for piece in spoken]
    for came, utterance in played.utterances:
        if all(word.text == TALK for word in utterance.words):
            continue
        end_s = min(ends, key=lambda end: abs(end - utterance.end_s), default=math.inf)
        ends_piece = abs(end_s - utterance.end_s) <= SAME_END_S
        told = first_told(played, utterance, came)
        for place, (word, at) in enumerate(zip(utterance.words, told, strict=True)):
            if word.text == TALK:
                continue
            to.partial_words.append(at.after(word.end_s))
            if ends_piece and place + 1 == len(told):
                to.partial_pieces.append(at.after(end_s))
        if came.sound_s >= played.length_s:
            continue  # the sound ended: no pause had to be waited for
        to.utterances.append(came.after(utterance.end_s))
        if ends_piece:
            to.pieces.append(came.after(end_s))
    to.events += [
        at.after(event.end_s) for at, event in played.events if at.sound_s < played.length_s
    ]


def quantile(values: Sequence[float], share: float) -> float | None:
    """The value below which ``share`` of the values lie (nearest rank), ``None`` without values."""
    return sorted(values)[max(0, math.ceil(share * len(values)) - 1)] if values else None


def table(found: Latencies) -> str:
    """The figures as Markdown."""

    def row(name: str, moments: Sequence[Moment]) -> str:
        clock = [moment.clock_s for moment in moments]
        sound = [moment.sound_s for moment in moments]
        cells = [
            "–" if value is None else f"{1000 * value:.0f} ms"
            for values in (clock, sound)
            for value in (quantile(values, 0.5), quantile(values, 0.95))
        ]
        return f"| {name} | {len(moments)} | {' | '.join(cells)} |"

    lines = [
        "| from the end of the sound to | measured | median | 95th percentile"
        " | median, in sound given | 95th percentile |",
        "|---|---|---|---|---|---|",
        row("a word among the words so far, ends as recognised", found.partial_words),
        row("the same, last words of spoken pieces, ends as made", found.partial_pieces),
        row("the words of a whole phrase, ends as recognised", found.utterances),
        row("the same, ends as made", found.pieces),
        row("an event, which may wait for what closes a count", found.events),
        "",
        f"- Words and times equal those of the whole file in {found.same} of {found.recordings}"
        " recordings.",
    ]
    lines += [f"- Different: {name}." for name in found.different]
    return "\n".join(lines) + "\n"


def main(
    fixtures: Annotated[Path, typer.Option(help="Folder of the made recordings.")] = (
        ROOT / "audio_fixtures"
    ),
    every: Annotated[int, typer.Option(help="Play every so many recordings only.")] = 1,
    write: Annotated[Path | None, typer.Option(help="Write the table to this file.")] = None,
) -> None:
    """Play recordings in real time and print how soon words and lines came."""
    kit = read_kit(demo_kit_path())
    ears = open_ears(kit)
    listed = json.loads((fixtures / "manifest.json").read_text(encoding="utf-8"))["recordings"]
    found = Latencies()
    for entry in listed[::every]:
        measure(fixtures / entry["file"], entry["spoken"], ears, kit, found)
    text = table(found)
    print(text)
    if write:
        write.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    typer.run(main)
