"""A pause inside an utterance parts it, as the decoder would have."""

from collections.abc import Callable

import pytest

from countersign.hearing import Alternative, Utterance
from countersign.kit import demo_kit_path, read_kit
from countersign.meaning import understand
from countersign.meaning.parted import parted

Utter = Callable[..., Utterance]

STRUCK = "cancel that laps on the field three"


def with_pause(utter: Utter, text: str, before: int, pause_s: float, **more: object) -> Utterance:
    """``text`` with a pause before one of its words, in every reading."""
    one = utter(text, **more)

    def later(words):
        return tuple(
            word.model_copy(
                update={"start_s": word.start_s + pause_s, "end_s": word.end_s + pause_s}
            )
            if at >= before
            else word
            for at, word in enumerate(words)
        )

    others = tuple(a.model_copy(update={"words": later(a.words)}) for a in one.alternatives)
    update = {"words": later(one.words), "end_s": one.end_s + pause_s, "alternatives": others}
    return one.model_copy(update=update)


@pytest.mark.parametrize(("pause_s", "parts"), [(0.5, 1), (1.5, 2)])
def test_a_long_pause_parts(utter: Utter, pause_s: float, parts: int) -> None:
    found = list(parted(with_pause(utter, STRUCK, 2, pause_s)))
    assert len(found) == parts
    assert " ".join(each.text for each in found) == STRUCK
    assert all(each.start_s == each.words[0].start_s for each in found)
    assert all(each.end_s == each.words[-1].end_s for each in found)


def test_each_part_keeps_what_else_it_could_be(utter: Utter) -> None:
    others = (
        ("cancel the laps on the field three", 0.2, "grammar"),
        ("cancel the laps on the field nine", 0.1, "grammar"),
        (STRUCK, 0.8, "open"),
    )
    first, second = parted(with_pause(utter, STRUCK, 2, 1.5, others=others))
    assert [(a.text, round(a.confidence, 3), a.origin) for a in first.alternatives] == [
        ("cancel the", 0.3, "grammar"),
        ("cancel that", 0.8, "open"),
    ]
    assert [(a.text, round(a.confidence, 3), a.origin) for a in second.alternatives] == [
        ("laps on the field nine", 0.1, "grammar"),
        ("laps on the field three", 0.8, "open"),
    ]


@pytest.mark.parametrize(("word", "parts"), [("the", 2), ("<talk>", 1)])
def test_a_word_that_lasts_too_long_has_a_pause_in_it(utter: Utter, word: str, parts: int) -> None:
    one = utter(f"{word} laps three")
    first, *rest = one.words
    long = first.model_copy(update={"start_s": first.end_s - 2.0})
    assert len(list(parted(one.model_copy(update={"words": (long, *rest)})))) == parts


def test_a_strike_and_the_count_after_a_pause_are_two_lines(utter: Utter) -> None:
    kit = read_kit(demo_kit_path())
    said = [utter("laps on the field two"), with_pause(utter, STRUCK, 2, 1.5, at=6.0)]
    events = list(understand(said, kit))
    assert [(e.kind, e.item, e.quantity) for e in events] == [
        ("count", "lap_sponge", 2),
        ("correction", None, None),
        ("count", "lap_sponge", 3),
    ]


def test_an_open_reading_without_words_there_stays(utter: Utter) -> None:
    empty = Alternative(words=(), confidence=1.0, origin="open")
    one = with_pause(utter, STRUCK, 2, 1.5).model_copy(update={"alternatives": (empty,)})
    assert [part.alternatives for part in parted(one)] == [(empty,), (empty,)]
