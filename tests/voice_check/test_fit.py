"""Recordings choose between pronunciations. The speaker is told the phones: the truth is known."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from countersign.kit.guess import guesses
from countersign.kit.phones import Phones
from countersign.kit.saying import mnemonics
from countersign.problems import BadInput
from countersign.sound import Block, read_blocks
from countersign.voice_check.fit import fit

from .conftest import Say


def phones(text: str) -> Phones:
    return tuple(text.split())


SATINSKY = [
    phones("S AH T IH N S K IY"),
    phones("S AE T AY N S K IY"),
    phones("S AH D IH N CH K IY"),
]
"""The bundled model was not trained on this word; those that it was it hears as it learned them."""


@pytest.mark.parametrize("truth", SATINSKY, ids=" ".join)
def test_the_spoken_pronunciation_fits_best(truth: Phones, say: Say, tmp_path: Path) -> None:
    recording = say(f"[[{mnemonics(truth)}]]", tmp_path / "word.wav")
    found = fit(SATINSKY, [read_blocks(recording)])
    proposed = [one for one in found.fits if not one.heard]
    assert proposed[0].phones == truth
    assert found.strange == ()
    assert {one.phones for one in proposed} == set(SATINSKY)
    assert [one.cost for one in found.fits] == sorted(one.cost for one in found.fits)
    assert found.fits[0].cost == 0
    assert sum(one.share for one in found.fits) == pytest.approx(1, abs=0.01)


def test_two_recordings_weigh_more_than_one(say: Say, tmp_path: Path) -> None:
    one = say(f"[[{mnemonics(SATINSKY[0])}]]", tmp_path / "one.wav")
    alone = {f.phones: f.cost for f in fit(SATINSKY, [read_blocks(one)]).fits}
    twice = {f.phones: f.cost for f in fit(SATINSKY, [read_blocks(one), read_blocks(one)]).fits}
    near, far = (
        (alone[other] - alone[SATINSKY[0]], twice[other] - twice[SATINSKY[0]])
        for other in SATINSKY[1:]
    )
    assert near[1] == pytest.approx(2 * near[0], rel=0.05)
    assert far[1] > far[0] + near[0]  # the decoder gives up what is far worse


def test_what_nobody_proposed_is_heard(say: Say, tmp_path: Path) -> None:
    truth = phones("Y AE NG K ER")
    assert truth not in guesses("yankauer")
    recording = say(f"[[{mnemonics(truth)}]]", tmp_path / "word.wav")
    found = fit(guesses("yankauer"), [read_blocks(recording)])
    assert found.fits[0].heard
    apart = [one for one in found.fits if one.phones == truth]
    assert apart and apart[0].heard


def test_another_word_is_strange(say: Say, tmp_path: Path) -> None:
    right = say(f"[[{mnemonics(SATINSKY[0])}]]", tmp_path / "right.wav")
    wrong = say("umbilical tape", tmp_path / "wrong.wav")
    assert fit(SATINSKY, [read_blocks(right), read_blocks(wrong)]).strange == (2,)


def quiet(seconds: float) -> Iterator[Block]:
    yield Block(np.zeros(int(seconds * 16_000), dtype=np.int16), 0.0)


def test_recordings_that_cannot_be_used() -> None:
    with pytest.raises(BadInput, match="In recording 1 no word is heard"):
        fit(SATINSKY, [quiet(1)])
    with pytest.raises(BadInput, match="In recording 1 no word is heard"):
        fit(SATINSKY, [iter(())])
    with pytest.raises(BadInput, match="Recording 1 is longer than 10 s"):
        fit(SATINSKY, [quiet(11)])
