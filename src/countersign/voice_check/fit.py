"""Which pronunciation of a word fits recordings of it best.

Each pronunciation gets a graph of its own, a word between pauses, and the bundled model walks each
recording through it; the decoder's cost of the best path says how well it fits. Two more walks say
what a loop of phones hears, which may be a pronunciation that nobody thought of, and how other
speech would cost.
"""

import json
import math
import shutil
import tempfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

import vosk
from pydantic import BaseModel, ConfigDict

from countersign.hearing.graph import WordGraph, write_graph
from countersign.hearing.models import bundled_model, describe_model
from countersign.hearing.topology import PHONES
from countersign.hearing.utterance import TALK
from countersign.kit.phones import Phones
from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE, Block

LONGEST_S = 10.0
"""A recording of one word is refused beyond this."""
_QUIET = bytes(SAMPLE_RATE)  # half a second, so that the decoder comes to the last sound's end
_SCALE = 0.5  # as in hearing: costs are sharper than the model's errors
_PHONE = 1.5
_TALK_PHONE = 2.5
_TALK_ENTRY = 1.0
_FREE = 6.0
"""What a pronunciation must be better by that was only heard: it is the best of all strings of
phones, so that it fits this recording too well."""
_READINGS = 3
_UNHEARD = 60.0
"""The cost beyond the best where the decoder gave a pronunciation up."""


class Fit(BaseModel):
    """How well one pronunciation fits the recordings.

    ``cost`` is a negative logarithm, summed over the recordings, above that of the best one (0).
    ``share`` is its part of the posterior among all that were tried. ``heard`` is true for one that
    nobody proposed and the loop of phones heard.
    """

    model_config = ConfigDict(frozen=True)

    phones: Phones
    cost: float
    share: float
    heard: bool


class Fits(BaseModel):
    """All fits, best first. ``strange`` numbers (from 1) the recordings that sound more like other
    speech than like any of the pronunciations.
    """

    model_config = ConfigDict(frozen=True)

    fits: tuple[Fit, ...]
    strange: tuple[int, ...]


class _Path(NamedTuple):
    words: str
    cost: float


def fit(variants: Sequence[Phones], recordings: Sequence[Iterable[Block]]) -> Fits:
    """Compare pronunciations of one word by recordings, in each of which it is said once.

    Raises ``BadInput`` for a recording that is too long or in which nobody speaks.
    """
    sounds = [_sound(blocks, number) for number, blocks in enumerate(recordings, start=1)]
    free = _walk(_phone_loop(), lambda phone: [(phone,)], sounds)
    for number, paths in enumerate(free, start=1):
        if not paths or not paths[0].words:
            raise BadInput(f"In recording {number} no word is heard.")
    heard = [tuple(path.words.split()) for paths in free for path in paths]
    tried = list(dict.fromkeys((*variants, *(phones for phones in heard if phones))))
    costs = {phones: _costs(phones, sounds) for phones in tried}
    talk = [paths[0].cost if paths else math.inf for paths in _walk(_talk(), _no_word, sounds)]
    strange = tuple(
        number
        for number, other in enumerate(talk, start=1)
        if other < min(costs[phones][number - 1] for phones in variants)
    )
    proposed = set(variants)
    totals = {
        phones: sum(each) + (0.0 if phones in proposed else _FREE) for phones, each in costs.items()
    }
    best = min(totals.values())
    above = {phones: min(total - best, _UNHEARD) for phones, total in totals.items()}
    weights = {phones: math.exp(-_SCALE * cost) for phones, cost in above.items()}
    found = [
        Fit(
            phones=phones,
            cost=round(cost, 2),
            share=round(weights[phones] / sum(weights.values()), 4),
            heard=phones not in proposed,
        )
        for phones, cost in above.items()
    ]
    return Fits(fits=tuple(sorted(found, key=lambda one: one.cost)), strange=strange)


def _sound(blocks: Iterable[Block], number: int) -> bytes:
    data = bytearray()
    for block in blocks:
        data += block.samples.tobytes()
        if len(data) > 2 * SAMPLE_RATE * LONGEST_S:
            raise BadInput(
                f"Recording {number} is longer than {LONGEST_S:.0f} s; say the word once and stop."
            )
    return bytes(data)


def _costs(phones: Phones, sounds: Sequence[bytes]) -> list[float]:
    graph = WordGraph(talk_phone=_TALK_PHONE, states=2, final=1)
    graph.arc(0, 1, "word", 0.0)
    found = _walk(graph, lambda _: [phones], sounds)
    return [next((p.cost for p in paths if p.words), math.inf) for paths in found]


def _phone_loop() -> WordGraph:
    graph = WordGraph(talk_phone=_TALK_PHONE)  # its start is its end: there may be no phone at all
    for phone in PHONES:
        graph.arc(0, 0, phone, _PHONE)
    return graph


def _talk() -> WordGraph:
    graph = WordGraph(talk_phone=_TALK_PHONE, states=2, final=1)
    graph.arc(0, 1, TALK, _TALK_ENTRY)
    return graph


def _no_word(word: str) -> list[Phones]:
    raise ValueError(word)


def _walk(
    graph: WordGraph, pronounce: Callable[[str], Iterable[Phones]], sounds: Sequence[bytes]
) -> list[list[_Path]]:
    """For each sound the best paths through the graph, none where the decoder finds no path."""
    vosk.SetLogLevel(-1)
    model = describe_model(bundled_model()).path
    with tempfile.TemporaryDirectory(prefix="countersign-") as made:
        folder = Path(made)
        for part in ("am", "conf"):
            _share(model / part, folder / part)
        write_graph(folder / "graph", graph, pronounce)
        try:
            loaded = vosk.Model(str(folder))
        except Exception:  # vosk raises a bare Exception without a reason
            raise BadInput("Vosk cannot load the bundled model.") from None
    return [_paths(loaded, sound) for sound in sounds]


def _share(source: Path, target: Path) -> None:
    try:
        target.symlink_to(source, target_is_directory=True)
    except OSError:  # a file system without links
        shutil.copytree(source, target)


def _paths(model: vosk.Model, sound: bytes) -> list[_Path]:
    recognizer = vosk.KaldiRecognizer(model, SAMPLE_RATE)
    recognizer.SetMaxAlternatives(_READINGS)
    # One piece: the decoder looks for a pause only between pieces, and must not stop at one here.
    recognizer.AcceptWaveform(sound + _QUIET)
    found = json.loads(recognizer.FinalResult()).get("alternatives", [])
    return [_Path(str(one["text"]).strip(), -float(one["confidence"])) for one in found]
