"""The benchmark around its scores: spelled numerals, utterances, figures, markers, grammar."""

import random
from pathlib import Path

import pytest
from tests.benchmarks.clips import Absent, Clip, digits, orders, sample
from tests.benchmarks.figures import (
    MARKERS,
    Run,
    alarms,
    between_markers,
    digits_right,
    fixture_score,
    table,
)
from tests.benchmarks.recognisers import heard_words, in_utterances
from tests.benchmarks.spelled import number_words, spoken_words
from tests.benchmarks.word_pairs import phrases, write_arpa
from word2number import w2n

from countersign.hearing.utterance import TALK, Utterance, Word
from countersign.kit import demo_kit_path, read_kit


def test_number_words_agree_with_word2number() -> None:
    """word2number (MIT) is the outside reference: it reads back what was spelled."""
    draw = random.Random(3)
    for value in [*range(1, 200), *(draw.randint(200, 999_999) for _ in range(300))]:
        assert w2n.word_to_num(" ".join(number_words(value))) == value


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Laps 1, 2, 3.", "laps one two three"),
        ("Needles 1,2,3,4", "needles one two three four"),
        ("0.25% bupivacaine", "point two five percent bupivacaine"),
        ("1.5 mL", "one point five milliliters"),
        ("1 to 100,000, 30 mL", "one to one hundred thousand thirty milliliters"),
        ("1:100,000", "one to one hundred thousand"),
        ("March 2028", "march twenty twenty eight"),
        ("sister's 50", "sister's fifty"),
    ],
)
def test_numerals_become_words(text: str, words: str) -> None:
    assert " ".join(spoken_words(text)) == words


def test_a_long_pause_ends_an_utterance() -> None:
    said = [
        Word(text="laps", start_s=0.0, end_s=0.4),
        Word(text="five", start_s=0.6, end_s=1.0, confidence=0.5),
        Word(text=TALK, start_s=2.0, end_s=2.4),
    ]
    utterances = in_utterances(said)
    assert [utterance.text for utterance in utterances] == ["laps five", TALK]
    assert utterances[0].confidence == 0.5
    assert heard_words(utterances) == ["laps", "five"]
    assert in_utterances([]) == [] and isinstance(utterances[0], Utterance)


def clip(name: str, group: str, **more: object) -> Clip:
    return Clip(Path(name), group, 2.0, **more)  # type: ignore[arg-type]


COUNT = {"kind": "count", "item": "raytec", "quantity": 10}
CLIPS = [
    clip("a.flac", "fixtures", said=("raytecs", "ten"), wanted=(COUNT,)),
    clip("b.flac", "talk"),
    clip("7_x_0.flac", "digits", said=("seven",)),
    clip("0_x_0.flac", "digits", said=("zero",)),
]


def answer(*events: dict[str, object], words: str = "") -> dict[str, object]:
    return {"seconds": 1.0, "words": words.split(), "events": list(events)}


def run() -> Run:
    asked = {**COUNT, "questions": ["low_confidence"]}
    return Run(
        "one",
        {
            "a.flac": answer(COUNT, words="raytecs ten"),
            "b.flac": answer(COUNT, asked),
            "7_x_0.flac": answer(words="seven"),
            "0_x_0.flac": answer(words="oh oh"),
        },
        ready_s=1.25,
        peak_bytes=3 * 2**20,
    )


def test_figures_by_hand() -> None:
    assert fixture_score(run(), CLIPS).lines_exact == 1
    found = alarms(run(), CLIPS, "talk")
    assert (found.clips, found.lines, found.silent) == (1, 2, 1)
    assert digits_right(run(), CLIPS) == (1, 2)


def test_table_names_what_did_not_run() -> None:
    page = table([run(), Run("two", unavailable="not installed.")], CLIPS, ["A note."])
    assert "| Silent errors | **0** |" in page
    assert "| Counts heard in made talk | 2 (1 silent) in 1 |" in page
    assert "| Human single digits, 8 kHz, heard right | 50.0 % |" in page
    assert "| Real-time factor | 0.50 |" in page
    assert "| Peak memory | 3 MiB |" in page
    assert "two was not run: not installed." in page and "- A note." in page


def test_only_the_part_between_the_markers_changes() -> None:
    page = f"above\n{MARKERS[0]}\nold\n{MARKERS[1]}\nbelow\n"
    once = between_markers(page, "new\n")
    assert once == f"above\n{MARKERS[0]}\n\nnew\n\n{MARKERS[1]}\nbelow\n"
    assert between_markers(once, "new\n") == once
    with pytest.raises(ValueError, match="needs one line"):
        between_markers("no markers", "new")


def test_absent_sets_say_why(tmp_path: Path) -> None:
    for find in (digits, orders):
        with pytest.raises(Absent, match="skipped because"):
            find(None)
        with pytest.raises(Absent, match=str(tmp_path)):
            find(tmp_path)


def test_a_sample_is_small_and_keeps_every_group() -> None:
    many = [clip(f"{k}.flac", "orders") for k in range(100)] + CLIPS
    kept = sample(many, 5)
    assert sum(one.group == "orders" for one in kept) == 5
    assert {one.group for one in kept} == {one.group for one in many}


def test_a_bigram_model_in_arpa_format_gives_whole_probabilities(tmp_path: Path) -> None:
    """After every word the chances of all words add up to one, back-off included.

    The format is that of Doug Paul's ARPA files as SRI's ngram-format(5) describes it.
    """
    said = [text.split() for text in ("laps one two", "laps one", "needles two one two")]
    path = tmp_path / "said.arpa"
    assert write_arpa(said, path) == ["laps", "needles", "one", "two"]
    sections = path.read_text(encoding="utf-8").split("\\")
    single, pairs = {}, {}
    for row in sections[3].splitlines()[1:]:
        if row:
            chance, word, back = row.split("\t")
            single[word] = (10 ** float(chance), 10 ** float(back))
    for row in sections[4].splitlines()[1:]:
        if row:
            chance, both = row.split("\t")
            pairs[tuple(both.split())] = 10 ** float(chance)
    words = [word for word in single if word != "<s>"]
    assert sum(single[word][0] for word in words) == pytest.approx(1, abs=1e-3)
    for first in ("<s>", "laps", "one", "two", "needles"):
        chances = [pairs.get((first, word), single[first][1] * single[word][0]) for word in words]
        assert sum(chances) == pytest.approx(1, abs=1e-3), first
    assert pairs["laps", "one"] > 0.5


def test_the_bigram_model_knows_every_word_of_the_kit() -> None:
    kit = read_kit(demo_kit_path())
    known = {word for words in phrases(kit, 4_000) for word in words}
    spoken = {w for item in kit.items for form in item.spoken for w in form.split()}
    assert {word.replace("x-ray", "ray") for word in spoken} <= known
