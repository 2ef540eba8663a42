"""``python -m tests.benchmarks.spoken_cases``: whole invented cases spoken, against their truth.

The cases of ``tests.cases`` (initial count, medications, what comes and goes, talk, interruptions,
corrections, relief, closing and final count, with discrepancies) are spoken by the voices kept out
of training, every role by another voice, with pauses between utterances and a room's faint noise.
Each case goes through the program as one recording, as ``countersign listen`` hears it, and every
line of the draft is held against what was said. The voices are held out; the wordings are those of
a case, some of which training may have used.

What the figures mean:

* A *silent error* is a line of the draft that nobody said, or whose kind, item, quantity or other
  content is wrong, and about which neither hearing, meaning nor the tally asks.
* *Lost in silence* is something said that is no line, and no question covers its words.
* A *discrepancy* is, in the simulated room, an item whose count is not what should be there, taken
  once from the count that opened it. It is looked for in the draft at the first verdict after it,
  or at the end of the case: *shown* if the draft then has that item open; *asked* if not, but some
  line about the item up to there is wrong, and every wrong one carries a question (whoever answers
  it gets the discrepancy shown); else *missed*. Nothing is confirmed in the draft, so that
  "somebody will look" never counts as found, nor does a question about an exact line.
* *Not there* are open items of the draft, looked for at the same moments, that are none in the
  room: of wrong lines, and of lines that people set aside in the room, which a draft still has.

What was heard is appended to a file in the scratch folder, so that a run that was stopped goes on
where it was, and ``--read-only`` judges it again without hearing.
"""

import hashlib
import json
import multiprocessing
import os
import random
import re
import time
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import soundfile
import typer
from rich.console import Console
from rich.markdown import Markdown
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from tests.benchmarks.figures import between_markers, percent
from tests.benchmarks.line_figures import rate
from tests.benchmarks.line_voices import (
    SPEEDS,
    VOICES,
    as_int16,
    seeded,
    speak_all,
    usable,
    with_noise,
)
from tests.benchmarks.lines import hearing_version, packed, stored, unpacked
from tests.cases.acts import Add, Remove, Say, Strike
from tests.cases.checking import lines_until
from tests.cases.generate import Case, generate
from tests.cases.judge import Judged, Outcome, brief, judge
from tests.fixtures_maker import noises
from tests.fixtures_maker.voices import RATE, Samples

from countersign.hearing import Utterance
from countersign.hearing.confidence import Calibration, calibrated, read_calibration
from countersign.hearing.models import current_model
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning import Event, understand
from countersign.sound import read_blocks
from countersign.tally import CountRecord, build_record

ROLES = ("scrub", "circulator", "relief", "surgeon", "anesthesia")
BETWEEN_S = (1.1, 2.2)
"""Silence between two utterances: longer than the pause that ends one, far shorter than the pause
that ends a count."""
SECOND_VOICE_S = (0.9, 1.4)
"""Silence before the second voice says the same again."""
LEVELS_DB = (-4.0, 0.0)
"""How much softer than the loudest a role may speak: people stand at different distances."""
EARLY_S = 0.4
"""A word is heard to begin at most so long before it was spoken."""


@dataclass(frozen=True)
class Cast:
    """Which voice speaks a role, how fast and how loud."""

    voice: str
    speed: float
    level_db: float


@dataclass(frozen=True)
class Take:
    """One case as it is spoken; ``snr_db`` is ``None`` without noise."""

    seed: int
    lines: int
    voices: tuple[str, ...]
    snr_db: float | None

    def case(self, kit: Kit) -> Case:
        """The case with its truth."""
        return generate(kit, self.seed, lines=self.lines)

    @property
    def cast(self) -> dict[str, Cast]:
        """Every role with a voice of its own, as far as there are enough."""
        rng = random.Random(f"{self.seed} cast")
        voices = rng.sample(self.voices, len(self.voices))
        return {
            role: Cast(voices[at % len(voices)], rng.choice(SPEEDS), rng.uniform(*LEVELS_DB))
            for at, role in enumerate(ROLES)
        }

    def key(self, kit: Kit) -> str:
        """Short name of the take: changes with every word, voice and pause."""
        said = [f"{each.voice}: {each.text}" for each in self.case(kit).utterances]
        whole = f"{said} {self.cast} {self.snr_db} {BETWEEN_S} {SECOND_VOICE_S}"
        return hashlib.sha1(whole.encode()).hexdigest()[:16]


def spoken(text: str) -> str:
    """``text`` as the synthesisers get it: a comma is a word of its own, so that names beside it
    are spelled as they sound."""
    return re.sub(r"\s*,\s*", " , ", text).strip()


def speak(take: Take, kit: Kit, cache: Path | None) -> tuple[np.ndarray, list[float]]:
    """The sound of a case (int16, 16 kHz) and the second at which each utterance begins."""
    case, cast = take.case(kit), take.cast
    again = {id(step.read_back) for step in case.steps if step.read_back}
    wanted: dict[str, list[tuple[str, float]]] = {}
    for each in case.utterances:
        by = cast[each.voice]
        wanted.setdefault(by.voice, []).append((spoken(each.text), by.speed))
    said: dict[tuple[str, str, float], Samples] = {}
    for voice, pieces in wanted.items():
        pieces = list(dict.fromkeys(pieces))
        for (text, speed), samples in zip(pieces, speak_all(voice, pieces, cache), strict=True):
            said[voice, text, speed] = samples
    rng = seeded(take.seed, "pauses")
    sound: list[Samples] = [np.zeros(int(0.5 * RATE), np.float32)]
    starts: list[float] = []
    for number, each in enumerate(case.utterances):
        by = cast[each.voice]
        if number:
            pause = rng.uniform(*(SECOND_VOICE_S if id(each) in again else BETWEEN_S))
            sound.append(np.zeros(int(pause * RATE), np.float32))
        starts.append(sum(map(len, sound)) / RATE)
        sound.append(said[by.voice, spoken(each.text), by.speed] * 10 ** (by.level_db / 20))
    sound.append(np.zeros(RATE, np.float32))
    speech = np.concatenate(sound).astype(np.float32)
    speech = noises.mix(speech, noises.ventilation(len(speech), rng), 45.0)
    if take.snr_db is not None:
        speech = with_noise(speech, take.snr_db, seeded(take.seed, "noise"))
    return as_int16(speech), starts


_EARS: dict[Path, Any] = {}


def hear_case(work: tuple[Take, Path, Path]) -> dict[str, Any]:
    """What is heard in one case (in a process of its own, ears opened once)."""
    from countersign.hearing import hear, open_ears

    take, kit_path, scratch = work
    kit = read_kit(kit_path)
    samples, starts = speak(take, kit, scratch / "speech")
    if kit_path not in _EARS:
        # What is kept is not calibrated, so that a new calibration can be tried on it.
        _EARS[kit_path] = replace(open_ears(kit), calibration=None)
    folder = scratch / "cases"
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{take.key(kit)}.flac"
    soundfile.write(path, samples, RATE, subtype="PCM_16")
    started = time.process_time()
    utterances = list(hear(_EARS[kit_path], read_blocks(path)))
    return {
        "key": take.key(kit),
        "audio_s": round(len(samples) / RATE, 2),
        "seconds": round(time.process_time() - started, 2),
        "starts": [round(start, 3) for start in starts],
        "utterances": [packed(utterance) for utterance in utterances],
    }


def as_heard(one: dict[str, Any], calibration: Calibration | None) -> list[Utterance]:
    """The utterances of a case that was kept, with the confidence that the program gives them."""
    utterances = [unpacked(each) for each in one["utterances"]]
    if calibration is None:
        return utterances
    return [calibrated(each, calibration) for each in utterances]


@dataclass(frozen=True)
class Astray:
    """A discrepancy of the room: how it was found in the draft (``shown``, ``asked``, ``missed``),
    at which line it was opened, and a sentence."""

    item: str
    found: str
    sentence: str


@dataclass(frozen=True)
class Held:
    """A spoken case held against its truth."""

    take: Take
    judged: tuple[Judged, ...]
    astray: tuple[Astray, ...]
    not_there: tuple[str, ...]
    heard: tuple[str, ...]
    """What was heard where each step was said."""
    audio_s: float
    seconds: float

    @property
    def silent(self) -> list[tuple[Judged, str]]:
        """The steps with a wrong line and no question, with what was heard."""
        return [pair for pair in self._wrong() if pair[0].got]

    @property
    def lost(self) -> list[tuple[Judged, str]]:
        """The steps that gave no line, and no question covers their words."""
        return [pair for pair in self._wrong() if not pair[0].got]

    def _wrong(self) -> list[tuple[Judged, str]]:
        wrong = (Outcome.SILENT, Outcome.LOST)
        pairs = zip(self.judged, self.heard, strict=True)
        return [(each, heard) for each, heard in pairs if each.outcome in wrong]


def hold(
    take: Take,
    case: Case,
    kit: Kit,
    utterances: Sequence[Utterance],
    starts: Sequence[float],
    audio_s: float = 0.0,
    seconds: float = 0.0,
) -> Held:
    """Meaning and tally of what was heard in a case, held against the room."""
    events = list(understand(utterances, kit))
    record = build_record(kit, events, ())
    judged = judge(case, by_line(record, starts))
    astray, not_there = _discrepancies(kit, case, judged, events)
    texts: list[list[str]] = [[] for _ in case.steps]
    for utterance in utterances:
        for word in utterance.words:
            texts[_step_at(case, line_at(starts, word.start_s))].append(word.text)
    return Held(
        take=take,
        judged=tuple(judged),
        astray=tuple(astray),
        not_there=tuple(not_there),
        heard=tuple(" ".join(words) for words in texts),
        audio_s=audio_s,
        seconds=seconds,
    )


def line_at(starts: Sequence[float], second: float) -> int:
    """The spoken utterance, counted from 1, in which or after which something was heard."""
    return max(1, bisect_right(starts, second + EARLY_S))


def _step_at(case: Case, line: int) -> int:
    return next(at for at, step in enumerate(case.steps) if line <= step.last_line)


def by_line(record: CountRecord, starts: Sequence[float]) -> CountRecord:
    """The record with the number of the utterance in place of the seconds."""

    def told(event: Event) -> Event:
        begin = line_at(starts, event.start_s)
        # the end is that of a word: an utterance that begins there is not yet spoken
        end = max(begin, line_at(starts, event.end_s - EARLY_S - 0.01))
        return event.model_copy(update={"start_s": float(begin), "end_s": float(end)})

    lines = tuple(line.model_copy(update={"event": told(line.event)}) for line in record.lines)
    return record.model_copy(update={"lines": lines})


def _discrepancies(
    kit: Kit, case: Case, judged: Sequence[Judged], events: Sequence[Event]
) -> tuple[list[Astray], list[str]]:
    """Every discrepancy of the room, and the open items of the draft that are none."""
    last = len(case.steps) - 1
    found: list[Astray] = []
    not_there: set[tuple[str, int]] = set()
    opened: dict[str, int] = {}
    looked_for: set[tuple[str, int]] = set()
    for at, step in enumerate(case.steps):
        truth = step.truth
        true = {each.item for each in truth.discrepancies if each.item not in truth.half_counted}
        opened = {item: opened.get(item, at) for item in true}
        if not isinstance(step.act, Say) and at != last:
            continue
        until = lines_until(judged, at)
        record = build_record(kit, events[:until], ())
        shown = {each.item: each.line for each in record.discrepancies if each.is_open}
        for item in sorted(true):
            key = (item, opened[item])
            if key in looked_for:
                continue
            looked_for.add(key)
            how = "shown" if item in shown else "missed"
            if how == "missed" and _is_asked(item, judged[: at + 1]):
                how = "asked"
            about = [each.sentence for each in _about(item, judged[: at + 1])]
            sentence = f"{item} at line {step.first_line}: {' / '.join(about)}"
            found.append(Astray(item, how, sentence))
        for item, line in shown.items():
            if item not in true and item not in truth.half_counted:
                not_there.add((item, line))
    return found, [f"{item} from line {line} of the draft" for item, line in sorted(not_there)]


def _about(item: str, judged: Sequence[Judged]) -> list[Judged]:
    """The steps that are about the number of an item, with what was struck after them."""
    found: list[Judged] = []
    for before, each in zip([None, *judged], judged, strict=False):
        named = getattr(each.step.act, "item", None) == item
        struck = isinstance(each.step.act, Strike) and before is not None and before in found
        if named or struck:
            found.append(each)
    return found


def _is_asked(item: str, judged: Sequence[Judged]) -> bool:
    """Whether some line about an item is wrong or too many, and all such are asked about."""
    about = _about(item, judged)
    twice = [each for each in about if _moved_twice(each)]
    wrong = [each for each in about if each.outcome is not Outcome.EXACT]
    return bool(wrong or twice) and all(each.outcome is Outcome.QUESTIONED for each in wrong)


def _moved_twice(judged: Judged) -> bool:
    """Whether the second voice's repeat of what was added or removed is a line too: one that asks,
    or the step would not be exact.
    """
    moved = isinstance(judged.step.act, Add | Remove)
    return moved and judged.outcome is Outcome.EXACT and len(judged.got) > 1


# The figures


def report(held: Sequence[Held], notes: Sequence[str] = ()) -> str:
    """The figures as Markdown: without noise and with it."""
    clean = [one for one in held if one.take.snr_db is None]
    noisy = [one for one in held if one.take.snr_db is not None]
    columns = [(name, some) for name, some in (("clean", clean), ("noise", noisy)) if some]
    head = ["", *(_head(name, some) for name, some in columns)]
    rows = [[label, *(figure(some) for _, some in columns)] for label, figure in FIGURES]
    table = ["| " + " | ".join(head) + " |", "|---" * len(head) + "|"]
    table += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join([*table, "", *(f"- {note}" for note in notes)]).rstrip() + "\n"


def _head(name: str, held: Sequence[Held]) -> str:
    levels = {one.take.snr_db for one in held} - {None}
    return name + "".join(f", {level:g} dB" for level in sorted(filter(None, levels)))


def _all(held: Sequence[Held]) -> list[Judged]:
    return [each for one in held for each in one.judged]


def _said(held: Sequence[Held]) -> str:
    minutes = sum(one.audio_s for one in held) / 60
    return f"{len(held)}; {len(_all(held)):,}; {minutes:.0f} minutes"


def _silent(held: Sequence[Held]) -> str:
    return rate(sum(len(one.silent) for one in held), len(_all(held)))


def _lost(held: Sequence[Held]) -> str:
    lost = [each for one in held for each, _ in one.lost]
    telling = [each for each in _all(held) if each.step.event is not None]
    return f"{len(lost)} of {len(telling):,}"


def _exact(held: Sequence[Held]) -> str:
    telling = [each for each in _all(held) if each.step.event is not None]
    return percent(sum(each.outcome is Outcome.EXACT for each in telling) / len(telling))


def _asked(held: Sequence[Held]) -> str:
    exact = [each for each in _all(held) if each.outcome is Outcome.EXACT]
    return percent(sum(each.needless for each in exact) / len(exact) if exact else None)


def _in_talk(held: Sequence[Held]) -> str:
    talk = [each for each in _all(held) if each.step.event is None]
    lines = [line for each in talk for line in each.got]
    return f"{len(lines)} in {len(talk)}"


def _found(held: Sequence[Held]) -> str:
    astray = [each for one in held for each in one.astray]
    by = {how: sum(each.found == how for each in astray) for how in ("shown", "asked", "missed")}
    return (
        f"{len(astray) - by['missed']} of {len(astray)}: "
        f"{by['shown']} shown, {by['asked']} asked about, {by['missed']} missed"
    )


def _not_there(held: Sequence[Held]) -> str:
    return str(sum(len(one.not_there) for one in held))


def _real_time(held: Sequence[Held]) -> str:
    audio_s = sum(one.audio_s for one in held)
    return f"{sum(one.seconds for one in held) / audio_s:.3f}" if audio_s else "–"


FIGURES = (
    ("Cases; things said; sound", _said),
    ("Silent errors (95 % upper bound)", _silent),
    ("Lost in silence", _lost),
    ("Discrepancies found", _found),
    ("Discrepancies of the draft that were none", _not_there),
    ("Events exact", _exact),
    ("Exact events that hearing or meaning ask about", _asked),
    ("Lines heard in talk", _in_talk),
    ("Real-time factor of hearing", _real_time),
)


def show(held: Held, console: Console) -> None:
    """Every silent error, everything lost and every discrepancy missed of a case."""
    noise = f" at {held.take.snr_db:g} dB" if held.take.snr_db is not None else ""
    name = f"case {held.take.seed}{noise}"
    for title, found in (("silent", held.silent), ("lost", held.lost)):
        for each, heard in found:
            sentence = each.sentence.partition(": ")[2]
            line = f"{name}, line {each.step.first_line}, {title}: {sentence}; heard “{heard}”"
            console.print(line, markup=False)
    for astray in held.astray:
        if astray.found == "missed":
            console.print(f"{name}, missed: {astray.sentence}", markup=False)


def show_questioned(held: Held, console: Console) -> None:
    """Every event that was not exact but asked about."""
    for each, heard in zip(held.judged, held.heard, strict=True):
        if each.outcome is Outcome.QUESTIONED:
            asked = "; ".join(brief(line.event) for line in each.got)
            said = " | ".join(one.text for one in each.step.utterances)
            console.print(f"asked: “{said}” heard “{heard}” gave {asked}", markup=False)


def main(
    cases: Annotated[int, typer.Option(help="How many cases.")] = 4,
    lines: Annotated[int, typer.Option(help="About how many things happen in each.")] = 45,
    first: Annotated[int, typer.Option(help="The first seed.")] = 7000,
    noise: Annotated[
        list[float] | None, typer.Option(help="Each case again with noise at so many dB.")
    ] = None,
    scratch: Annotated[
        Path, typer.Option(help="Folder for speech and for what was heard; never committed.")
    ] = Path(".benchmark"),
    kit_path: Annotated[Path | None, typer.Option("--kit", help="Kit (default: the demo).")] = None,
    processes: Annotated[int, typer.Option(help="Processes at work.")] = os.cpu_count() or 1,
    voice: Annotated[list[str] | None, typer.Option(help="Only these voices.")] = None,
    read_only: Annotated[bool, typer.Option(help="Hear nothing new.")] = False,
    questioned: Annotated[bool, typer.Option(help="Print what was asked about as well.")] = False,
    write_readme: Annotated[
        Path | None, typer.Option(help="Write the table between the markers of this page.")
    ] = None,
) -> None:
    """Whole cases, spoken: silent errors, what was lost, and every discrepancy."""
    console = Console(stderr=True, width=None if Console().is_terminal else 220, highlight=False)
    if write_readme:
        between_markers(write_readme.read_text(encoding="utf-8"), "", "spoken-cases")
    kit_path = kit_path or demo_kit_path()
    kit = read_kit(kit_path)
    voices, notes = (voice or list(VOICES), []) if read_only else usable(voice or VOICES)
    takes = [
        Take(seed, lines, tuple(voices), snr)
        for snr in (None, *(noise or ()))
        for seed in range(first, first + cases)
    ]
    scratch.mkdir(parents=True, exist_ok=True)
    path = scratch / f"heard-cases-{hearing_version(kit)}.jsonl"
    if not read_only:
        _hear(takes, path, kit, kit_path, scratch, processes, console)
    heard = stored(path)
    calibration = read_calibration(current_model())
    held = []
    for take in takes:
        one = heard.get(take.key(kit))
        if one is None:
            continue
        utterances = as_heard(one, calibration)
        case = take.case(kit)
        held.append(
            hold(take, case, kit, utterances, one["starts"], one["audio_s"], one["seconds"])
        )
    if not held:
        console.print(f"Nothing was heard yet in {path}.")
        raise typer.Exit(2)
    for each in held:
        show(each, console)
        if questioned:
            show_questioned(each, console)
    seeds = f"Seeds {first} to {first + cases - 1}, about {lines} things in each."
    text = report(held, [seeds, *notes])
    print(text)
    if console.is_terminal:
        console.print(Markdown(text))
    if write_readme:
        page = write_readme.read_text(encoding="utf-8")
        write_readme.write_text(between_markers(page, text, "spoken-cases"), encoding="utf-8")


def _hear(
    takes: Sequence[Take], path: Path, kit: Kit, kit_path: Path, scratch: Path, processes: int,
    console: Console,
) -> None:  # fmt: skip
    """Hear the cases that ``path`` lacks and append them to it."""
    known = stored(path).keys()
    missing = [take for take in takes if take.key(kit) not in known]
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(
        *columns, TimeElapsedColumn(), TimeRemainingColumn(), console=console
    ) as progress:
        bar = progress.add_task("cases heard", total=len(takes))
        progress.advance(bar, len(takes) - len(missing))
        if not missing:
            return
        work = [(take, kit_path, scratch) for take in missing]
        context = multiprocessing.get_context("spawn")
        with path.open("a", encoding="utf-8") as out, context.Pool(processes) as pool:
            for one in pool.imap_unordered(hear_case, work):
                out.write(json.dumps(one, separators=(",", ":")) + "\n")
                out.flush()
                progress.advance(bar)


if __name__ == "__main__":
    typer.run(main)
