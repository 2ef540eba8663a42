"""Confidence as a probability: the evidence, the map, and the file beside the model."""

import json
import math
from pathlib import Path

import pytest

from countersign.hearing import TALK, Alternative, Utterance, Word
from countersign.hearing.confidence import (
    EVIDENCE,
    FILE,
    Calibration,
    calibrated,
    evidence,
    probability,
    read_calibration,
)
from countersign.hearing.models import bundled_model
from countersign.problems import BadInput


def said(*texts: str, confidence: float = 1.0, gap_s: float = 0.2) -> tuple[Word, ...]:
    return tuple(
        Word(
            text=text,
            start_s=place * (0.4 + gap_s),
            end_s=place * (0.4 + gap_s) + 0.4,
            confidence=confidence,
        )
        for place, text in enumerate(texts)
    )


def utterance(words: tuple[Word, ...], *others: Alternative) -> Utterance:
    return Utterance(
        words=words, start_s=words[0].start_s, end_s=words[-1].end_s, alternatives=others
    )


def opened(*texts: str, share: float = 1.0, gap_s: float = 0.2) -> Alternative:
    return Alternative(words=said(*texts, gap_s=gap_s), confidence=share, origin="open")


def row(heard: Utterance, place: int) -> dict[str, float]:
    return dict(zip(EVIDENCE, evidence(heard)[place], strict=True))


def weights(**given: float) -> Calibration:
    return Calibration(
        constant=given.pop("constant", 0.0),
        weights={name: given.get(name, 0.0) for name in EVIDENCE},
    )


def test_evidence_of_a_clear_line() -> None:
    heard = utterance(said("laps", "five", confidence=0.8), opened("laps", "five", share=0.75))
    found = row(heard, 1)
    assert found["share"] == pytest.approx(math.log(0.8 / 0.2))
    assert found["open_share"] == 0.75 and found["open_same"] == 1.0
    assert found["few"] == 0.0 and found["length"] == pytest.approx(math.log(2))
    assert found["apart"] == 1.0 and found["calm"] == 1.0


def test_what_the_open_decoding_lacks_and_other_readings_count_against_a_line() -> None:
    other = Alternative(words=said("laps", "nine"), confidence=0.2)
    heard = utterance(said("laps", "five"), other, other, opened("laps", "nine", share=0.5))
    found = row(heard, 0)
    assert found["open_same"] == 0.5 and found["few"] == -2.0


def test_talk_beside_a_word_counts_against_it_only_where_it_touches() -> None:
    close = utterance(said(TALK, "laps", "nine", gap_s=0.0), opened())
    assert [row(close, place)["apart"] for place in (1, 2)] == [0.5, 1.0]
    assert row(close, 2)["calm"] == pytest.approx(2 / 3)
    parted = utterance(said(TALK, "laps", "nine", gap_s=0.5))
    assert row(parted, 1)["apart"] == 1.0


def test_a_share_of_one_is_not_certainty() -> None:
    rows = [row(utterance(said("five", confidence=share)), 0)["share"] for share in (1.0, 0.0)]
    assert rows == pytest.approx([math.log(99), -math.log(99)])


def test_the_map_is_the_logistic_function() -> None:
    calibration = weights(constant=-1.0, share=0.5, calm=2.0)
    values = [0.0] * len(EVIDENCE)
    values[EVIDENCE.index("share")], values[EVIDENCE.index("calm")] = 3.0, 1.0
    assert probability(values, calibration) == pytest.approx(1 / (1 + math.exp(-2.5)), abs=1e-4)
    assert probability([1e9] * len(EVIDENCE), weights(share=1.0)) == 1.0
    assert probability([-1e9] * len(EVIDENCE), weights(share=1.0)) == 0.0


def test_words_get_probabilities_and_talk_keeps_its_share() -> None:
    heard = utterance(said(TALK, "laps", "five", confidence=0.9), opened("laps", "five"))
    found = calibrated(heard, weights(constant=0.5, apart=1.0))
    assert found.words[0].confidence == 0.9
    assert found.words[1].confidence == pytest.approx(1 / (1 + math.exp(-1.5)), abs=1e-4)
    assert found.confidence == min(word.confidence for word in found.words[1:])
    assert [word.text for word in found.words] == [word.text for word in heard.words]
    assert found.alternatives == heard.alternatives


def test_the_file_beside_a_model(tmp_path: Path) -> None:
    assert read_calibration(tmp_path) is None
    calibration = weights(constant=-2.0, share=0.7)
    path = tmp_path / FILE
    path.write_text(json.dumps(calibration.model_dump()), encoding="utf-8")
    assert read_calibration(tmp_path) == calibration
    path.write_text('{"constant": 0, "weights": {"share": 1}}', encoding="utf-8")
    with pytest.raises(BadInput, match="another version"):
        read_calibration(tmp_path)
    for broken in ("", "[]", '{"constant": "much", "weights": {}}', '{"weights": {}}'):
        path.write_text(broken, encoding="utf-8")
        with pytest.raises(BadInput, match="cannot be read"):
            read_calibration(tmp_path)


def test_more_evidence_never_makes_the_bundled_models_words_less_sure() -> None:
    calibration = read_calibration(bundled_model())
    assert calibration is not None
    assert all(weight >= 0 for weight in calibration.weights.values())
    assert calibration.weights["share"] > 0


def test_unlikely_words_amid_talk_are_talk() -> None:
    def heard(*words: tuple[str, float]) -> list[str]:
        said = [
            Word(text=text, start_s=float(at), end_s=at + 0.5, confidence=share)
            for at, (text, share) in enumerate(words)
        ]
        whole = Utterance(words=tuple(said), start_s=0.0, end_s=float(len(said)))
        plain = Calibration(
            constant=0.0, weights={name: float(name == "share") for name in EVIDENCE}
        )
        return [word.text for word in calibrated(whole, plain).words]

    assert heard((TALK, 1.0), ("sixteen", 0.1), ("needle", 0.1), (TALK, 1.0)) == [TALK] * 4
    # a likely word stops it, and is asked about
    assert heard((TALK, 1.0), ("sixteen", 0.1), ("needle", 0.6)) == [TALK, TALK, "needle"]
    assert heard(("six", 0.6), ("needles", 0.1), (TALK, 1.0)) == ["six", TALK, TALK]
    # without talk nothing is taken away, however unlikely
    assert heard(("sixteen", 0.1), ("needle", 0.1)) == ["sixteen", "needle"]
