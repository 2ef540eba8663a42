"""Expands a graph of words into the graph of transitions that the decoder walks (Kaldi's HCLG)."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np

from countersign.hearing.fst import ARC, write_fst
from countersign.hearing.topology import (
    PHONES,
    SILENCE,
    phone_id,
    phone_names,
    transition_ids,
    word_boundaries,
)
from countersign.hearing.tuning import REST_FRAME, SILENCE_FRAME
from countersign.hearing.utterance import TALK

Phones = tuple[str, ...]


@dataclass
class WordGraph:
    """A graph whose arcs carry words. State 0 is the start.

    ``final`` is the one state where an utterance may
    end. ``arcs`` are (source, target, word or ``None``, cost); costs are negative logarithms.
    ``talk_phone`` is the cost of each phone of speech outside the grammar. ``shared`` holds the
    states inside phrases by what leads to them.
    """

    talk_phone: float
    states: int = 1
    final: int = 0
    arcs: list[tuple[int, int, str | None, float]] = field(default_factory=list)
    shared: dict[tuple[int, str, float], int] = field(default_factory=dict)

    def new_state(self) -> int:
        """A fresh state."""
        self.states += 1
        return self.states - 1

    def arc(self, source: int, target: int, word: str | None, cost: float) -> None:
        """Add an arc."""
        self.arcs.append((source, target, word, cost))

    def phrase(self, source: int, target: int, text: str, cost: float) -> None:
        """Add a path through the words of ``text``; phrases that begin alike share the words."""
        *first, last = text.split()
        here = source
        for word in first:
            step = (here, word, cost)
            if step not in self.shared:
                self.shared[step] = self.new_state()
                self.arc(here, self.shared[step], word, cost)
            here, cost = self.shared[step], 0.0
        self.arc(here, target, last, cost)


class Spoken(NamedTuple):
    """What is still to be said of a word, and where it leads; its label stands on its first phone
    and is 0 after it.
    """

    phones: Phones
    label: int
    cost: float
    target: int
    whole: bool = True

    @property
    def position(self) -> str:
        """The place of the next phone in the word, as Kaldi names it."""
        if self.whole:
            return "singleton" if len(self.phones) == 1 else "begin"
        return "end" if len(self.phones) == 1 else "internal"

    def after_first(self, paid: float) -> "Spoken":
        """The rest of the word after its first phone, where ``paid`` of its cost stands."""
        return Spoken(self.phones[1:], 0, self.cost - paid, self.target, whole=False)


class _Expansion:
    """Collects transition arcs; one instance for one graph."""

    def __init__(self, states: int) -> None:
        self.states = states
        self.sources: list[int] = []
        self.rows: list[tuple[int, int, float, int]] = []
        self.ids = transition_ids()

    def new_state(self) -> int:
        self.states += 1
        return self.states - 1

    def add(self, source: int, target: int, transition: int, word: int, cost: float) -> None:
        self.sources.append(source)
        self.rows.append((transition, word, cost, target))

    def silence(self, source: int, target: int) -> None:
        loop = self.new_state()
        self.add(source, loop, self.ids[SILENCE, 0, 1], 0, SILENCE_FRAME)
        self.add(loop, loop, self.ids[SILENCE, 0, 0], 0, SILENCE_FRAME)
        self.add(loop, target, 0, 0, 0.0)

    def phone(
        self, source: int, target: int, phone: str, position: str, word: int, cost: float
    ) -> None:
        """One phone; after the first frame of a state come its self-loops (Kaldi's reordering)."""
        number = phone_id(phone, position)
        rests = (number, 1, 0) in self.ids
        sounding = self.new_state()
        self.add(source, sounding, self.ids[number, 0, 2 if rests else 1], word, cost)
        self.add(sounding, sounding, self.ids[number, 0, 0], 0, 0.0)
        self.add(sounding, target, 0, 0, 0.0)
        if rests:
            before, resting = self.new_state(), self.new_state()
            self.add(source, before, self.ids[number, 0, 1], word, cost)
            self.add(before, before, self.ids[number, 0, 0], 0, 0.0)
            self.add(before, resting, self.ids[number, 1, 1], 0, REST_FRAME)
            self.add(resting, resting, self.ids[number, 1, 0], 0, REST_FRAME)
            self.add(resting, target, 0, 0, 0.0)

    def words(self, source: int, spoken: Iterable[Spoken]) -> None:
        """All words that leave one state; those with the same label share what begins alike.

        Each cost stands as early as all paths beyond it bear it. Costs and words of whole paths are
        those of single paths; the decoder has far fewer of them to follow while nobody speaks.
        Words with different labels share nothing: a label that comes later shows the word later.
        """
        words = list(dict.fromkeys(spoken))
        ways: dict[tuple[str, str, int], list[Spoken]] = {}
        for word in words:
            ways.setdefault((word.phones[0], word.position, word.label), []).append(word)
        for (phone, position, _), shared in ways.items():
            self._way(source, phone, position, shared)

    def _way(self, source: int, phone: str, position: str, shared: list[Spoken]) -> None:
        """The arcs of one phone, and of all that follows it."""
        if len(shared[0].phones) == 1:
            for word in shared:
                self.phone(source, word.target, phone, position, word.label, word.cost)
            return
        cost = min(word.cost for word in shared)
        there = self.new_state()
        self.phone(source, there, phone, position, shared[0].label, cost)
        self.words(there, [word.after_first(cost) for word in shared])

    def talk(self, source: int, target: int, word: int, cost: float, each: float) -> None:
        """Any run of phones as one word."""
        inside = self.new_state()
        for phone in PHONES:
            self.phone(source, target, phone, "singleton", word, cost + each)
            self.phone(source, inside, phone, "begin", word, cost + each)
            self.phone(inside, inside, phone, "internal", 0, each)
            self.phone(inside, target, phone, "end", 0, each)


def write_graph(
    folder: Path, graph: WordGraph, pronounce: Callable[[str], Iterable[Phones]]
) -> None:
    """Write ``HCLG.fst``, ``words.txt``, ``phones.txt`` and ``phones/word_boundary.int``.

    ``pronounce`` gives the pronunciations of each word but ``TALK``. Words may be set off by
    silence on either side. Raises ``ValueError`` for a word nobody can pronounce.
    """
    words = sorted({word for _, _, word, _ in graph.arcs if word is not None})
    numbers = {word: number for number, word in enumerate(words, start=1)}
    expansion = _Expansion(graph.states)
    after_pause: dict[int, int] = {}
    leaving = {source for source, _, word, _ in graph.arcs if word is not None} | {graph.final}
    for state in sorted(leaving):
        after_pause[state] = expansion.new_state()
        expansion.add(state, after_pause[state], 0, 0, 0.0)
        expansion.silence(state, after_pause[state])
    spoken: dict[int, list[Spoken]] = {}
    for source, target, word, cost in graph.arcs:
        if word is None:
            expansion.add(source, target, 0, 0, cost)
        elif word == TALK:
            here = after_pause[source]
            expansion.talk(here, target, numbers[word], cost, graph.talk_phone)
        else:
            readings = list(pronounce(word))
            if not readings:
                raise ValueError(f"no pronunciation for {word!r}")
            spoken.setdefault(source, []).extend(
                Spoken(phones, numbers[word], cost, target) for phones in readings
            )
    for source, leaves in spoken.items():
        expansion.words(after_pause[source], leaves)
    (folder / "phones").mkdir(parents=True, exist_ok=True)
    arcs = np.array(expansion.rows, dtype=ARC)
    sources = np.array(expansion.sources, dtype=np.int32)
    write_fst(folder / "HCLG.fst", sources, arcs, {after_pause[graph.final]: 0.0})
    table = {"<eps>": 0, **numbers}
    (folder / "words.txt").write_text(
        "".join(f"{word} {number}\n" for word, number in table.items()), encoding="utf-8"
    )
    phones_table = {0: "<eps>", **phone_names()}
    (folder / "phones.txt").write_text(
        "".join(f"{name} {number}\n" for number, name in phones_table.items()), encoding="utf-8"
    )
    (folder / "phones" / "word_boundary.int").write_text(
        "".join(f"{number} {role}\n" for number, role in word_boundaries().items()),
        encoding="utf-8",
    )
