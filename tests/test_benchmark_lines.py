"""Spoken lines of known truth: how they are drawn, stored, judged and counted."""

import hashlib
import importlib.util
import math
from pathlib import Path

import pytest
from tests.benchmarks.line_texts import (
    KINDS,
    SHORTEST_HELD_OUT,
    TALK_KINDS,
    Drawing,
    Line,
    draw_held_out,
    held_out_text,
    is_held_out,
    plain,
)
from tests.benchmarks.scores import observed, score

from countersign import chain
from countersign.hearing import Alternative, Utterance, Word, written
from countersign.kit import Kit
from countersign.meaning import understand
from countersign.tally import build_record

pytest.importorskip("scipy")
lines = pytest.importorskip("tests.benchmarks.lines")
figures = pytest.importorskip("tests.benchmarks.line_figures")


def take(*parts: str, events: tuple[dict[str, object], ...] = (), kind: str = "total"):  # type: ignore[no-untyped-def]
    return lines.Take(Line(kind, parts, events), "flite-slt", 1.0, noisy=False)


def judged(take, kit: Kit, *said: str):  # type: ignore[no-untyped-def]
    utterances = [written(text, number) for number, text in enumerate(said, 1)]
    record = build_record(kit, list(understand(utterances, kit)), ())
    own = [written(plain(part), number) for number, part in enumerate(take.line.parts, 1)]
    of_words = build_record(kit, list(understand(own, kit)), ())
    return figures.judge(take, utterances, record, of_words, 2.0, 0.1)


def test_the_rule_for_held_out_texts_is_the_one_training_uses() -> None:
    assert plain("Laps ~0.4 one, two,  THREE") == "laps one two three"
    texts = [f"laps {one} two {two}" for one in "abcdefghij" for two in "abcdefghijklmnopqrst"]
    for text in texts:
        first = hashlib.sha256(text.encode("utf-8")).hexdigest()[:2]
        assert held_out_text(text) == (int(first, 16) < 32)
    share = sum(map(held_out_text, texts)) / len(texts)
    assert abs(share - 32 / 256) < 4 * math.sqrt(0.125 * 0.875 / len(texts))
    assert is_held_out(Line("total", ("laps five",)))


def test_the_recipe_of_the_model_keeps_the_same_texts_out(kit: Kit) -> None:
    path = Path(__file__).resolve().parents[1] / "models" / "recipe" / "texts.py"
    found = importlib.util.spec_from_file_location("recipe_texts", path)
    assert found is not None and found.loader is not None
    recipe = importlib.util.module_from_spec(found)
    found.loader.exec_module(recipe)
    drawing = Drawing(kit, 5)
    for kind in KINDS:
        for _ in range(60):
            for part in drawing.line(kind).parts:
                if len(plain(part).split()) >= SHORTEST_HELD_OUT:
                    assert recipe.held_out_text(plain(part)) == held_out_text(part), part


@pytest.mark.parametrize("kind", KINDS)
def test_lines_are_held_out_never_repeat_and_come_again_from_their_seed(
    kind: str, kit: Kit
) -> None:
    used: set[tuple[str, ...]] = set()
    for seed in range(8):
        line = draw_held_out(kit, kind, seed, used)
        assert line is not None and is_held_out(line)
        assert line == draw_held_out(kit, kind, seed, used)
        assert tuple(map(plain, line.parts)) not in used
        used.add(tuple(map(plain, line.parts)))


UNREAD = {"phase": "circulator relief"}
"""Wordings whose truth is plain but that meaning does not take up."""


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind not in TALK_KINDS])
def test_the_truth_of_a_line_is_what_its_written_words_mean(kind: str, kit: Kit) -> None:
    """With every word right, meaning finds what the generator says is true.

    Both were written apart: a difference is a mistake in one of them.
    """
    drawing = Drawing(kit, 11)
    for _ in range(40):
        line = drawing.line(kind)
        text = [plain(part) for part in line.parts]
        if kind in UNREAD and any(part.startswith(UNREAD[kind]) for part in text):
            continue
        found = observed(chain.read(text, kit).record)
        result = score(line.events, found)
        assert (result.exact, result.heard) == (len(line.events), len(line.events)), (text, found)


def test_what_was_heard_is_stored_and_comes_back(tmp_path: Path) -> None:
    word = Word(text="laps", start_s=0.3, end_s=0.6, confidence=0.75)
    five = Word(text="five", start_s=0.7, end_s=1.1, confidence=0.5)
    said = Utterance(
        words=(word, five),
        start_s=0.3,
        end_s=1.1,
        confidence=0.5,
        alternatives=(
            Alternative(words=(word,), confidence=0.25),
            Alternative(words=(five,), confidence=1.0, origin="open"),
            Alternative(words=(), confidence=1.0, origin="open"),
        ),
    )
    assert lines.unpacked(lines.packed(said)) == said
    path = tmp_path / "heard.jsonl"
    path.write_text('{"key":"a","utterances":[]}\n{"key":"b","utter', encoding="utf-8")
    assert lines.stored(path) == {"a": {"key": "a", "utterances": []}}
    assert lines.stored(tmp_path / "none") == {}


def test_the_plan_is_the_same_every_time_and_noise_repeats_lines(kit: Kit) -> None:
    first = lines.plan(kit, ["flite-slt", "festival-ked"], 200, 50, 1)
    assert first == lines.plan(kit, ["flite-slt", "festival-ked"], 200, 50, 1)
    clean, noisy = [t for t in first if not t.noisy], [t for t in first if t.noisy]
    assert len(noisy) == 50 and 200 <= len(clean) <= 205
    assert [t.spoken for t in noisy] == [t.spoken for t in clean[:50]]
    assert len({t.key for t in first}) == len(first)
    assert {t.line.kind for t in clean} == set(KINDS)
    grouped = [t for group in lines.batches(first) for t in group]
    assert sorted(t.key for t in grouped) == sorted(t.key for t in first)


LAPS = {"kind": "count", "item": "lap_sponge", "quantity": 5}


def test_a_wrong_number_without_a_question_is_a_silent_error(kit: Kit) -> None:
    said = take("laps ten", events=({**LAPS, "quantity": 10},))
    silent = judged(said, kit, "laps five")  # five is what the kit expects: nobody is asked
    assert silent.silent and silent.silent_alone and not silent.exact and not silent.asked
    right = judged(said, kit, "laps ten")  # the kit expects five
    assert right.exact and right.asked and not right.asked_alone and not right.silent


def test_the_tallys_question_is_told_apart(kit: Kit) -> None:
    wrong = judged(take("laps five", events=(LAPS,)), kit, "laps seven")
    assert not wrong.silent and wrong.silent_alone and wrong.asked and not wrong.asked_alone


def test_a_question_of_the_words_is_told_from_one_of_hearing(kit: Kit) -> None:
    pack = take("i have a box of laps", events=(LAPS,), kind="pack")
    heard = judged(pack, kit, "i have a box of laps")
    assert heard.asked_alone and heard.asked_written
    misheard = judged(take("laps five", events=(LAPS,)), kit, "laps five laps nine for a total")
    assert misheard.asked_alone and not misheard.asked_written


def test_a_count_in_talk_and_a_line_that_is_lost(kit: Kit) -> None:
    assert judged(take("hello there", kind="talk"), kit, "laps five").silent
    lost = judged(take("laps five", events=(LAPS,)), kit, "nothing of it")
    assert lost.lost and not lost.silent and not lost.exact


def test_the_upper_bound_is_clopper_and_pearsons() -> None:
    """Against the definition: at the bound, so few errors have a chance of 5 %."""
    for errors, trials in ((0, 10_000), (0, 59), (3, 200), (17, 4_000)):
        bound = figures.upper_bound(errors, trials)
        few = sum(
            math.comb(trials, k) * bound**k * (1 - bound) ** (trials - k) for k in range(errors + 1)
        )
        assert few == pytest.approx(0.05, rel=1e-6)
    assert figures.upper_bound(0, 10_000) == pytest.approx(1 - 0.05 ** (1 / 10_000))
    assert figures.upper_bound(5, 5) == 1.0 and figures.upper_bound(0, 0) == 1.0


def test_the_report_counts_by_voice_kind_and_noise(kit: Kit) -> None:
    five = take("laps five", events=(LAPS,))
    noisy = lines.Take(five.line, five.voice, 1.0, noisy=True)
    found = [judged(five, kit, "laps five"), judged(take("hello", kind="talk"), kit, "hello")]
    found += [judged(noisy, kit, "laps nine")]
    page = figures.report(found, ["A note."])
    assert "| Silent errors (95 % upper bound) | 0 of 2 (under 77.64 %) | 0 of 1" in page
    assert "| Lines exact | 100.0 % | 0.0 % |" in page
    assert "| Word error rate | 0.0 % | 50.0 % |" in page
    assert "| flite-slt | 0 in 2 | 100.0 % | 0.0 % | 0 in 1 | 0.0 % |" in page
    assert "- A note." in page
