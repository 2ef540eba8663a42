"""``python -m tests.benchmarks.lines``: thousands of spoken lines through the whole program.

Lines of known truth (``line_texts``) are spoken by voices kept out of training (``line_voices``),
clean and with noise, and go through hearing, meaning and the tally as a recording does, each line
in a record of its own. What was heard is appended to a file in the scratch folder, so a run that
was stopped goes on where it was, and ``--read-only`` judges it again without hearing.
"""

import hashlib
import json
import multiprocessing
import os
import random
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Annotated, Any

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
from tests.benchmarks.figures import between_markers
from tests.benchmarks.line_figures import Judged, judge, report
from tests.benchmarks.line_texts import KINDS, Line, draw_held_out, plain
from tests.benchmarks.line_voices import (
    SPEEDS,
    VOICES,
    as_int16,
    join,
    pieces_of,
    seeded,
    speak_all,
    usable,
    with_noise,
)

from countersign.hearing import Alternative, Utterance, Word, written
from countersign.hearing.confidence import calibrated, read_calibration
from countersign.hearing.models import current_model, describe_model
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning import understand
from countersign.sound import Block
from countersign.tally import build_record

SNR_DB = 10.0
BATCH = 24
ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Take:
    """A line spoken once: who, how fast, and whether there is noise."""

    line: Line
    voice: str
    speed: float
    noisy: bool

    @property
    def spoken(self) -> str:
        """What the speech depends on."""
        return f"{self.voice} {self.speed} {' / '.join(self.line.parts)}"

    @property
    def key(self) -> str:
        """Short name of the take, the same in every run."""
        return hashlib.sha1(f"{self.spoken} {self.noisy}".encode()).hexdigest()[:16]


def plan(kit: Kit, voices: Sequence[str], lines: int, noisy: int, seed: int) -> list[Take]:
    """``lines`` different takes, in proportion to the weights of kinds and voices, in mixed order.

    The first ``noisy`` of them come a second time with noise. A text is spoken at most once by a
    voice. Where a kind has too few held-out wordings, counts one by one make up the number.
    """
    total = sum(weight for weight, _ in KINDS.values())
    takes: list[Take] = []
    for kind, (weight, _) in KINDS.items():
        takes += _takes(kit, voices, kind, round(lines * weight / total), f"{seed} {kind}", takes)
    short = max(0, lines - len(takes))
    takes += _takes(kit, voices, "sequence", short, f"{seed} more", takes)
    random.Random(seed).shuffle(takes)
    return takes + [Take(t.line, t.voice, t.speed, noisy=True) for t in takes[:noisy]]


def _takes(
    kit: Kit, voices: Sequence[str], kind: str, count: int, seed: str, known: Sequence[Take]
) -> list[Take]:
    rng = random.Random(seed)
    used: dict[str, set[tuple[str, ...]]] = {voice: set() for voice in voices}
    for take in known:
        if take.line.kind == kind:
            used[take.voice].add(tuple(map(plain, take.line.parts)))
    takes: list[Take] = []
    for number in range(count):
        voice = rng.choices(list(voices), [VOICES[voice][2] for voice in voices])[0]
        line = draw_held_out(kit, kind, rng.randrange(2**40) + number, used[voice])
        if line is not None:
            used[voice].add(tuple(map(plain, line.parts)))
            takes.append(Take(line, voice, rng.choice(SPEEDS), noisy=False))
    return takes


def batches(takes: Sequence[Take]) -> Iterator[list[Take]]:
    """The takes in groups of one voice, since engines start slowly; both conditions mixed."""
    waiting: dict[tuple[str, bool], list[Take]] = {}
    for take in takes:
        group = waiting.setdefault((take.voice, take.noisy), [])
        group.append(take)
        if len(group) == BATCH:
            yield waiting.pop((take.voice, take.noisy))
    yield from waiting.values()


def sounds(takes: Sequence[Take], cache: Path | None) -> Iterator[tuple[Take, Any]]:
    """Each take with its sound (int16, 16 kHz); all are of one voice."""
    split = [pieces_of(take.line, take.speed) for take in takes]
    wanted = list(dict.fromkeys(p for parts in split for part in parts for p, _ in part))
    said = dict(zip(wanted, speak_all(takes[0].voice, wanted, cache), strict=True))
    for take, parts in zip(takes, split, strict=True):
        rng = seeded(take.spoken)
        speech = join([[(said[piece], pause) for piece, pause in part] for part in parts], rng)
        if take.noisy:
            speech = with_noise(speech, SNR_DB, seeded(take.spoken, "noise"))
        yield take, as_int16(speech)


def packed(utterance: Utterance) -> dict[str, Any]:
    """An utterance as short JSON; ``unpacked`` is the way back."""

    def rows(words: Sequence[Word]) -> list[list[Any]]:
        return [[w.text, w.start_s, w.end_s, w.confidence] for w in words]

    return {
        "words": rows(utterance.words),
        "confidence": round(utterance.confidence, 5),
        "others": [
            [a.origin, round(a.confidence, 5), rows(a.words)] for a in utterance.alternatives
        ],
    }


def unpacked(packed: dict[str, Any]) -> Utterance:
    """The utterance that was packed."""

    def words(rows: Sequence[Sequence[Any]]) -> tuple[Word, ...]:
        return tuple(Word(text=t, start_s=s, end_s=e, confidence=c) for t, s, e, c in rows)

    said = words(packed["words"])
    return Utterance(
        words=said,
        start_s=said[0].start_s,
        end_s=said[-1].end_s,
        confidence=packed["confidence"],
        alternatives=tuple(
            Alternative(words=words(rows), confidence=confidence, origin=origin)
            for origin, confidence, rows in packed["others"]
        ),
    )


_EARS: dict[Path, Any] = {}


def hear_batch(work: tuple[list[Take], Path, Path | None]) -> list[dict[str, Any]]:
    """What is heard in each take of a batch (in a process of its own, ears opened once)."""
    from countersign.hearing import hear, open_ears

    takes, kit_path, cache = work
    if kit_path not in _EARS:
        # What is kept is not calibrated, so that the calibration can be fitted on it.
        _EARS[kit_path] = replace(open_ears(read_kit(kit_path)), calibration=None)
    heard = []
    for take, samples in sounds(takes, cache):
        started = time.perf_counter()
        utterances = list(hear(_EARS[kit_path], [Block(samples=samples, start_s=0.0)]))
        heard.append(
            {
                "key": take.key,
                "audio_s": round(len(samples) / 16_000, 2),
                "seconds": round(time.perf_counter() - started, 3),
                "utterances": [packed(utterance) for utterance in utterances],
            }
        )
    return heard


def speak_batch(work: tuple[list[Take], Path, Path | None]) -> list[dict[str, Any]]:
    """Keep the speech of a batch for a later run."""
    takes, _, cache = work
    said = [
        piece for take in takes for part in pieces_of(take.line, take.speed) for piece, _ in part
    ]
    speak_all(takes[0].voice, list(dict.fromkeys(said)), cache)
    return [{} for _ in takes]


def hearing_version(kit: Kit) -> str:
    """A short digest of everything that what is heard depends on: model, kit, code of hearing."""
    import countersign.hearing as hearing

    digest = hashlib.sha256(describe_model(current_model()).sha256.encode())
    digest.update(kit.model_dump_json().encode())
    for module in sorted(Path(str(hearing.__file__)).parent.glob("*.py")):
        if module.name != "confidence.py":  # applied when what was heard is read
            digest.update(module.read_bytes())
    return digest.hexdigest()[:12]


def heard_file(scratch: Path, kit: Kit) -> Path:
    """Where what was heard is kept: one file for each version of hearing."""
    return scratch / f"heard-{hearing_version(kit)}.jsonl"


def stored(path: Path) -> dict[str, dict[str, Any]]:
    """What was heard before, by key; a last line that was cut off is left out."""
    found: dict[str, dict[str, Any]] = {}
    if path.is_file():
        with path.open(encoding="utf-8") as rows:
            for row in rows:
                if row.endswith("\n"):
                    one = json.loads(row)
                    found[one["key"]] = one
    return found


def hear_all(
    takes: Sequence[Take], path: Path, kit_path: Path, cache: Path | None, processes: int,
    progress: Progress,
) -> None:  # fmt: skip
    """Hear the takes that ``path`` lacks and append them to it."""
    known = stored(path).keys()
    missing = [take for take in takes if take.key not in known]
    bar = progress.add_task("heard", total=len(takes), completed=len(takes) - len(missing))
    if not missing:
        return
    work = [(batch, kit_path, cache) for batch in batches(missing)]
    random.Random(1).shuffle(work)  # so that a run that was stopped is a fair sample
    context = multiprocessing.get_context("spawn")
    with path.open("a", encoding="utf-8") as out, context.Pool(processes) as pool:
        for heard in pool.imap_unordered(hear_batch, work):
            out.writelines(json.dumps(one, separators=(",", ":")) + "\n" for one in heard)
            out.flush()
            progress.advance(bar, len(heard))


def speak_missing(
    takes: Sequence[Take], kit_path: Path, cache: Path, processes: int, progress: Progress
) -> None:
    """Speak every line, without hearing it."""
    clean = [take for take in takes if not take.noisy]
    bar = progress.add_task("spoken", total=len(clean))
    work = [(batch, kit_path, cache) for batch in batches(clean)]
    context = multiprocessing.get_context("spawn")
    with context.Pool(processes) as pool:
        for made in pool.imap_unordered(speak_batch, work):
            progress.advance(bar, len(made))


def read_take(work: tuple[Take, dict[str, Any], Path]) -> Judged:
    """Meaning and tally of what was heard in a take, judged against what was said."""
    take, heard, kit_path = work
    kit = _kit(kit_path)
    calibration = read_calibration(current_model())
    utterances = [unpacked(one) for one in heard["utterances"]]
    if calibration is not None:
        utterances = [calibrated(one, calibration) for one in utterances]
    record = build_record(kit, list(understand(utterances, kit)), ())
    said = [written(plain(part), number) for number, part in enumerate(take.line.parts, 1)]
    of_words = build_record(kit, list(understand(said, kit)), ())
    return judge(take, utterances, record, of_words, heard["audio_s"], heard["seconds"])


_KITS: dict[Path, Kit] = {}


def _kit(path: Path) -> Kit:
    if path not in _KITS:
        _KITS[path] = read_kit(path)
    return _KITS[path]


def read_all(
    takes: Sequence[Take], heard: dict[str, dict[str, Any]], kit_path: Path, processes: int,
    progress: Progress,
) -> list[Judged]:  # fmt: skip
    """Judge every take that was heard."""
    work = [(take, heard[take.key], kit_path) for take in takes if take.key in heard]
    bar = progress.add_task("read", total=len(work))
    context = multiprocessing.get_context("spawn")
    judged = []
    with context.Pool(processes) as pool:
        for one in pool.imap(read_take, work, chunksize=64):
            judged.append(one)
            progress.advance(bar)
    return judged


def main(
    lines: Annotated[int, typer.Option(help="How many lines are spoken.")] = 10_000,
    noisy: Annotated[int, typer.Option(help="How many come again with noise at 10 dB.")] = 3_000,
    scratch: Annotated[
        Path, typer.Option(help="Folder for speech and for what was heard; never committed.")
    ] = Path(".benchmark"),
    keep_speech: Annotated[bool, typer.Option(help="Keep the speech in the folder.")] = True,
    kit_path: Annotated[Path | None, typer.Option("--kit", help="Kit (default: the demo).")] = None,
    processes: Annotated[int, typer.Option(help="Processes at work.")] = os.cpu_count() or 1,
    seed: Annotated[int, typer.Option(help="Draws the lines.")] = 20261125,
    voice: Annotated[list[str] | None, typer.Option(help="Only these voices.")] = None,
    heard: Annotated[
        Path | None, typer.Option(help="File of what was heard (default: one for each version).")
    ] = None,
    read_only: Annotated[bool, typer.Option(help="Hear nothing new.")] = False,
    speak_only: Annotated[bool, typer.Option(help="Only keep the speech for a later run.")] = False,
    silent: Annotated[Path | None, typer.Option(help="Write every silent error here.")] = None,
    write: Annotated[Path | None, typer.Option(help="Write the tables to this file.")] = None,
    write_readme: Annotated[
        Path | None, typer.Option(help="Write the tables between the markers of this page.")
    ] = None,
) -> None:
    """Thousands of spoken lines through the whole program: silent errors, questions, words."""
    console = Console(stderr=True)
    if write_readme:
        between_markers(write_readme.read_text(encoding="utf-8"), "", "lines")
    kit_path = kit_path or demo_kit_path()
    kit = read_kit(kit_path)
    voices, notes = (voice or list(VOICES), []) if read_only else usable(voice or VOICES)
    for note in notes:
        console.print(f"[yellow]{note}")
    takes = plan(kit, voices, lines, noisy, seed)
    scratch.mkdir(parents=True, exist_ok=True)
    path = heard or heard_file(scratch, kit)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with Progress(
        *columns, TimeElapsedColumn(), TimeRemainingColumn(), console=console
    ) as progress:
        if speak_only:
            speak_missing(takes, kit_path, scratch / "speech", processes, progress)
            return
        if not read_only:
            cache = scratch / "speech" if keep_speech else None
            hear_all(takes, path, kit_path, cache, processes, progress)
        judged = read_all(takes, stored(path), kit_path, processes, progress)
    if not judged:
        console.print(f"Nothing was heard yet in {path}.")
        raise typer.Exit(2)
    text = report(judged, notes)
    print(text)
    if console.is_terminal:
        console.print(Markdown(text))
    if silent:
        rows = [asdict(one) for one in judged if one.silent]
        silent.write_text(
            "".join(json.dumps(row, default=str) + "\n" for row in rows), encoding="utf-8"
        )
    if write:
        write.write_text(text, encoding="utf-8")
    if write_readme:
        page = write_readme.read_text(encoding="utf-8")
        write_readme.write_text(between_markers(page, text, "lines"), encoding="utf-8")


if __name__ == "__main__":
    typer.run(main)
