"""What is fuzzed: how an input is made from a seed, and what takes it.

A target gives back nothing where the input was used, and a sentence where it was refused. Whatever
else it raises is a failure, and so is a sentence that is none.
"""

import io
import json
import random
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from hashlib import sha256
from pathlib import Path

import numpy as np
import soundfile
from tests.abuse.mutating import ODD_TEXT, broken, broken_text

from countersign.exchange import document_text, entries_csv, import_case, read_exported, read_stored
from countersign.exchange.document import document_hash
from countersign.exchange.stored import StoredCase, fingerprint
from countersign.kit import check_kit, demo_kit_path, read_kit
from countersign.ledger import (
    Ledger,
    append_decision,
    append_event,
    open_case,
    open_ledger,
    read_case,
    record_of,
)
from countersign.medication.published import published_doses
from countersign.number_words import spell
from countersign.policy import check_policy, read_policy
from countersign.problems import BadInput
from countersign.review import read_checklist
from countersign.review.checklist import common_checklist_path
from countersign.sound import LevelMeter, read_blocks
from countersign.tally.record import Act, Decision, Role

FIXTURES = Path(__file__).parents[2] / "audio_fixtures"


class Wrong(AssertionError):
    """An input was taken, or refused, in a way that it must not be."""


@dataclass(frozen=True)
class Target:
    """``make`` gives the bytes of a try, ``take`` uses the file that holds them."""

    name: str
    make: Callable[[random.Random], bytes]
    take: Callable[[Path], None]


def attempt(target: Target, path: Path) -> str | None:
    """Try the file; the sentence of a refusal, None where it was used. Raises on any failure."""
    try:
        target.take(path)
    except BadInput as refused:
        sentence = str(refused)
        if not sentence.endswith((".", "?")) or "\n" in sentence or len(sentence) > 1000:
            raise Wrong(f"This is no sentence: {sentence!r}") from refused
        return sentence
    return None


# Recordings


@cache
def _recordings() -> dict[str, tuple[bytes, ...]]:
    rng = np.random.default_rng(3)
    speech = rng.normal(0, 0.05, 24_000).astype(np.float32)
    made: dict[str, list[bytes]] = {}
    for name, codings in {
        "WAV": ("PCM_16", "PCM_24", "FLOAT", "ULAW", "IMA_ADPCM", "MS_ADPCM", "GSM610"),
        "FLAC": ("PCM_16",),
        "OGG": ("VORBIS", "OPUS"),
        "MP3": ("MPEG_LAYER_III",),
        "AIFF": ("PCM_16",),
        "CAF": ("ALAC_16",),
        "AU": ("PCM_16",),
        "RF64": ("PCM_16",),
        "W64": ("PCM_16",),
    }.items():
        for coding in codings:
            for channels in (1, 2) if coding != "GSM610" else (1,):
                file = io.BytesIO()
                frames = np.stack([speech] * channels, axis=1)
                rate = 48_000 if coding == "OPUS" else 16_000
                soundfile.write(file, frames, rate, format=name, subtype=coding)
                kind = "Opus" if coding == "OPUS" else name
                made.setdefault(kind, []).append(file.getvalue())
    made["Opus"].append((FIXTURES / "blades-opus.opus").read_bytes())
    return {kind: tuple(several) for kind, several in made.items()}


@cache
def _films() -> tuple[bytes, ...]:
    program = shutil.which("ffmpeg")
    if program is None:
        return ()
    made = []
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "a.wav").write_bytes(_recordings()["WAV"][0])
        for name, *options in (
            ("a.m4a",),
            ("a.webm",),
            ("a.aac",),
            ("a.wma",),
            ("a.mka", "-c:a", "flac"),
        ):
            command = [program, "-loglevel", "error", "-i", "a.wav", *options, name]
            done = subprocess.run(command, cwd=folder, check=False, capture_output=True)
            if done.returncode == 0:
                made.append((Path(folder) / name).read_bytes())
    return tuple(made)


def _recording(kind: str) -> Callable[[random.Random], bytes]:
    def make(chance: random.Random) -> bytes:
        several = _films() if kind == "M4A" else _recordings()[kind]
        return broken(chance.choice(several), chance)

    return make


_LONGEST_SAMPLES = 16_000 * 600


def _listened(path: Path) -> None:
    """All blocks, of which a broken header of a short file must not promise hours."""
    meter = LevelMeter()
    given = 0
    for block in read_blocks(path, meter=meter):
        given += len(block.samples)
        if block.samples.dtype != np.int16 or block.samples.ndim != 1:
            raise Wrong("a block of another shape")
        if given > _LONGEST_SAMPLES:
            raise Wrong("a second of sound became ten minutes")
    if any("\n" in warning.sentence for warning in meter.warnings()):
        raise Wrong("a warning of several lines")


# Files that a site writes


def _toml(path: Path) -> Callable[[random.Random], bytes]:
    def make(chance: random.Random) -> bytes:
        text = path.read_text(encoding="utf-8")
        if chance.random() < 0.2:
            return broken(text.encode(), chance)
        return broken_text(text, chance).encode("utf-8", "surrogatepass")

    return make


def _kit_taken(path: Path) -> None:
    mistakes = check_kit(path)
    if any("\n" in each.sentence or each.line < 1 for each in mistakes):
        raise Wrong("a mistake that is no sentence, or nowhere")
    errors = [each for each in mistakes if each.level == "error"]
    try:
        read_kit(path)
    except BadInput:
        if not errors:
            raise Wrong("the kit is refused though nothing is wrong with it") from None
        raise


def _policy_taken(path: Path) -> None:
    check_policy(path)
    read_policy(path)


def _doses_path() -> Path:
    import countersign.medication

    return Path(countersign.medication.__file__).with_name("maximum_doses.toml")


def _doses_taken(path: Path) -> None:
    published_doses(path)


def _checklist_taken(path: Path) -> None:
    read_checklist(path)


# Cases from elsewhere


@cache
def _case() -> tuple[StoredCase, bytes, bytes, bytes]:
    from countersign.chain import read
    from countersign.exchange.fhir import fhir_text

    kit = read_kit(demo_kit_path())
    lines = (
        "laps one two three four five",
        "needles six",
        "receiving lidocaine one percent ten mls",
        "label reads lidocaine one percent",
        "strike that",
        "count is correct",
    )
    with tempfile.TemporaryDirectory() as folder:
        ledger = open_ledger(Path(folder) / "ledger.sqlite3")
        case = open_case(ledger, kit, "written words")
        for event in read(lines, kit).events:
            append_event(ledger, case, event)
        for line in (1, 2):
            decision = Decision(
                line=line, act=Act.ACCEPT, role=Role.SCRUB, initials="AB", at=datetime.now(UTC)
            )
            append_decision(ledger, case, decision)
        stored, history = read_stored(ledger, case), read_case(ledger, case)
        record = record_of(history)
        made = (
            stored,
            document_text(history, record, stored).encode(),
            fhir_text(history, record, stored, datetime(2026, 1, 2, tzinfo=UTC)).encode(),
            entries_csv(record, stored).encode(),
        )
        ledger.close()
    return made


def resealed(document: dict[str, object], change: Callable[[StoredCase], StoredCase]) -> bytes:
    """A document with another history, whose hashes all fit: what a forger would write."""
    history = dict(document["history"])  # type: ignore[call-overload]
    names = StoredCase.model_fields
    stored = change(StoredCase.model_validate({name: history[name] for name in names}))
    shown = stored.model_dump(mode="json")
    document = {**document, "history": {**history, **shown, "sha256": fingerprint(stored)}}
    document["document_sha256"] = document_hash(document)
    return json.dumps(document).encode()


def _forged(chance: random.Random) -> bytes:
    """One value in one entry, or in the kit, replaced by an odd one."""
    document = json.loads(_case()[1])

    def change(stored: StoredCase) -> StoredCase:
        if chance.random() < 0.3:
            kit = _odd_value(stored.kit, chance)
            digest = sha256(kit.encode("utf-8", "surrogatepass")).hexdigest()
            return stored.model_copy(update={"kit": kit, "kit_sha256": digest})
        at = chance.randrange(len(stored.entries))
        entry = stored.entries[at]
        body = _odd_value(entry.body, chance)
        entries = list(stored.entries)
        entries[at] = entry.model_copy(update={"body": body})
        return stored.model_copy(update={"entries": tuple(entries)})

    return resealed(document, change)


_ODD_VALUES = (
    None, True, -1, 0, 2**63, 10**30, 1.5, 1e308, "", "NaN", "Infinity", "1E+9999999", "-0",
    "1E-9999999", [], {}, [None], {"a": 1}, "x" * 10_000, *ODD_TEXT,
)  # fmt: skip


def _odd_value(text: str, chance: random.Random) -> str:
    found = json.loads(text)
    here = found
    while True:
        key = chance.choice(list(here) if isinstance(here, dict) else range(len(here)))
        if isinstance(here[key], dict | list) and here[key] and chance.random() < 0.7:
            here = here[key]
            continue
        here[key] = chance.choice(_ODD_VALUES)
        return json.dumps(found)


def _imported_case(chance: random.Random) -> bytes:
    _, document, bundle, rows = _case()
    if chance.random() < 0.6:
        return _forged(chance)
    return broken(chance.choice((document, bundle, rows)), chance)


def _imported(path: Path) -> None:
    stored = read_exported(path.read_bytes())
    ledger: Ledger = open_ledger(path.with_name("import.sqlite3"))
    try:
        import_case(ledger, stored)
        history = read_case(ledger, stored.case)
        record = record_of(history)
        if len(document_text(history, record, read_stored(ledger, stored.case))) > 10_000_000:
            raise Wrong("a small case became a large document")
    finally:
        ledger.close()
        for each in path.parent.glob("import.sqlite3*"):
            each.unlink()


def _paper(chance: random.Random) -> bytes:
    return broken(_printed(), chance)


@cache
def _printed() -> bytes:
    from countersign.papers import Size, printing, write_papers

    with tempfile.TemporaryDirectory() as folder:
        ledger = open_ledger(Path(folder) / "ledger.sqlite3")
        import_case(ledger, _case()[0])
        first, *_ = write_papers(
            printing(ledger, _case()[0].case, Size.A4), Path(folder) / "papers", replace=False
        )
        ledger.close()
        return first.read_bytes()


def _verified(path: Path) -> None:
    from countersign.papers import verify

    ledger = open_ledger(path.with_name("verify.sqlite3"))
    try:
        import_case(ledger, _case()[0])
        verify(path.read_bytes(), ledger)
    finally:
        ledger.close()
        for each in path.parent.glob("verify.sqlite3*"):
            each.unlink()


# Words

_WORDS = """
laps raytecs needles blades lap kelly clamps mixters strike that cancel i mean no sorry one two
three five seven ten twelve fifteen fifty twenty hundred thousand oh zero half point percent to plus
additional adding passing off pack of total is correct count first final closing relief lidocaine
epinephrine saline syringe label expires march milligrams mls per kilo twenty twenty seven recount
mayo stand back table <talk> <silence> 1 10 0.5 1:200,000 1e9 -3 99999999999999999999 3/4 5%
""".split()
_TALK = (
    "the light please thank you table up a bit music who called later fine okay over there".split()
)


def said(chance: random.Random) -> tuple[list[str], list[tuple[str, int]]]:
    """Utterances: clean counts with talk between them, and what was counted."""
    kit = read_kit(demo_kit_path())
    lines: list[str] = []
    counted = []
    for item in chance.sample(kit.items, chance.randint(1, 4)):
        quantity, name = chance.randint(1, 30), chance.choice(item.spoken)
        lines += [_talk(chance) for _ in range(chance.randint(0, 2))]
        ones = " ".join(spell(n) for n in range(1, quantity + 1))
        how = (f"{spell(quantity)} {name}", f"{name} {spell(quantity)}", f"{name} {ones}")
        large = "-"
        if chance.random() < 0.1:  # no count is that large, and it must not become a small one
            large = chance.choice((f"{spell(quantity)} thousand", str(quantity * 1000)))
            how = (f"{large} {name}", f"{name} {large}", f"{name} {ones} {large}")
        lines.append(chance.choice(how))
        counted.append((item.id, quantity * 1000 if how[0].startswith(large) else quantity))
    return [*lines, _talk(chance)], counted


def _talk(chance: random.Random) -> str:
    return " ".join(chance.choices(_TALK, k=chance.randint(1, 6)))


def _spoken_words(chance: random.Random) -> bytes:
    if chance.random() < 0.3:
        lines, counted = said(chance)
        return ("#" + json.dumps(counted) + "\n" + "\n".join(lines)).encode()
    lines = []
    for _ in range(chance.randint(1, 12)):
        words = [chance.choice((*_WORDS, *_WORDS, *_TALK)) for _ in range(chance.randint(0, 25))]
        if chance.random() < 0.2:
            words.insert(chance.randint(0, len(words)), chance.choice(ODD_TEXT))
        lines.append(" ".join(words))
    return "\n".join(lines).encode("utf-8", "surrogatepass")


def _understood(path: Path) -> None:
    """No error, a record that adds up, and no number that was said is lost without a question."""
    from countersign.chain import read
    from countersign.plain_json import json_text

    text = path.read_bytes().decode("utf-8", "replace")
    counted: list[tuple[str, int]] = []
    if text.startswith("#["):
        first, _, text = text.partition("\n")
        counted = json.loads(first[1:])
    result = read(text.splitlines(), read_kit(demo_kit_path()))
    json_text(result)
    if len(result.record.lines) != len(result.events):
        raise Wrong("a record with more or fewer lines than events")
    asked = bool(result.questions) or any(event.questions for event in result.events)
    found = {(event.item, event.quantity) for event in result.events}
    lost = [each for each in counted if tuple(each) not in found]
    if lost and not asked:
        raise Wrong(f"lost without a question: {lost}")
    made_up = [pair for pair in found if counted and pair[1] is not None and [*pair] not in counted]
    if made_up and not asked:
        raise Wrong(f"made up without a question: {made_up}")


TARGETS: tuple[Target, ...] = (
    *(Target(kind, _recording(kind), _listened)
      for kind in ("WAV", "FLAC", "OGG", "Opus", "MP3", "M4A", "AIFF", "CAF", "AU", "RF64", "W64")),
    Target("kit", _toml(demo_kit_path()), _kit_taken),
    Target("policy", _toml(Path(str(common_checklist_path())).parents[1] / "policy"
                           / "common_practice.toml"), _policy_taken),
    Target("doses", _toml(_doses_path()), _doses_taken),
    Target("checklist", _toml(common_checklist_path()), _checklist_taken),
    Target("case", _imported_case, _imported),
    Target("paper", _paper, _verified),
    Target("words", _spoken_words, _understood),
)  # fmt: skip
