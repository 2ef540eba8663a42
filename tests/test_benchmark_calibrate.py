"""Fitting the confidence: halves, alignment, the fit beside scikit-learn, thresholds, picture."""

import shutil
from pathlib import Path

import pytest

np = pytest.importorskip("numpy")
pytest.importorskip("scipy")
calibrate = pytest.importorskip("tests.benchmarks.calibrate")
lines = pytest.importorskip("tests.benchmarks.lines")

from tests.benchmarks.line_texts import Line  # noqa: E402
from tests.benchmarks.line_voices import VOICES  # noqa: E402

from countersign.hearing.confidence import EVIDENCE, probability  # noqa: E402
from countersign.hearing.models import bundled_model, describe_model  # noqa: E402
from countersign.problems import BadInput  # noqa: E402


def test_the_halves_share_neither_voices_nor_texts() -> None:
    heard = [
        calibrate.Heard(lines.Take(Line("total", (f"{item} {n}",)), voice, 1.0, noisy=False), ())
        for item in ("laps", "raytecs", "needles")
        for n in ("two", "six", "nine", "ten", "twelve", "twenty")
        for voice in VOICES
    ]
    fit, check = calibrate.halves(heard)
    assert fit and check
    assert not {h.take.voice for h in fit} & {h.take.voice for h in check}
    assert not {h.take.line.parts for h in fit} & {h.take.line.parts for h in check}
    assert {h.take.voice for h in (*fit, *check)} == set(VOICES)


def test_a_heard_word_is_right_where_the_same_word_was_said_there() -> None:
    said = "laps one two three".split()
    assert calibrate.aligned(said, said) == [True] * 4
    assert calibrate.aligned(said, "laps one nine three".split()) == [True, True, False, True]
    assert calibrate.aligned(said, "one two laps".split()) == [True, True, False]
    assert calibrate.aligned([], ["five"]) == [False] and calibrate.aligned(said, []) == []


def drawn(count: int = 3_000):  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(5)
    rows = rng.normal(1.0, 1.0, (count, len(EVIDENCE)))
    truth = np.array([1.5, 0.8, 0.0, 0.4, 0.2, 0.6, 0.3])
    said = rng.random(count) < 1 / (1 + np.exp(1.0 - rows @ truth))
    return rows, said


def test_the_fit_is_logistic_regression() -> None:
    """scikit-learn (BSD) is the outside reference; all true weights are positive or nought."""
    linear = pytest.importorskip("sklearn.linear_model")
    rows, said = drawn()
    found = calibrate.fit(rows, said)
    reference = linear.LogisticRegression(C=1 / calibrate.STRENGTH, max_iter=5_000).fit(rows, said)
    assert found.constant == pytest.approx(reference.intercept_[0], abs=0.02)
    for name, weight in zip(EVIDENCE, reference.coef_[0], strict=True):
        assert found.weights[name] == pytest.approx(max(0.0, weight), abs=0.06)


def test_no_weight_is_negative_even_where_the_data_say_so() -> None:
    rows, said = drawn()
    rows[:, 0] *= -1
    assert calibrate.fit(rows, said).weights[EVIDENCE[0]] == 0.0


def test_a_fitted_map_is_calibrated_and_a_boastful_one_is_not() -> None:
    rows, said = drawn(20_000)
    found = calibrate.fit(*drawn())
    sure = np.array([probability(row, found) for row in rows.tolist()])
    assert calibrate.calibration_error(sure, said) < 0.03
    assert calibrate.calibration_error(np.full(len(said), 0.999), said) > 0.1
    bins = calibrate.reliability(sure, said)
    assert len(bins) == calibrate.BINS and sum(n for *_, n in bins) == len(said)


def outcome(*, wrong: tuple[float, ...] = (), least: float = 1.0, exact: bool = True, asked=False):  # type: ignore[no-untyped-def]
    return calibrate.Outcome(counting=True, exact=exact, asked=asked, wrong=wrong, least=least)


def test_the_threshold_removes_silent_errors_while_that_is_worth_its_questions() -> None:
    right = [outcome(least=0.97) for _ in range(300)] + [outcome(least=0.65)]
    wrong = [outcome(wrong=(0.62,), least=0.62, exact=False)]
    assert calibrate.trade(right + wrong, 0.6) == (1, 0, 301)
    assert calibrate.trade(right + wrong, 0.7) == (0, 1, 301)
    assert calibrate.choose(right + wrong) == 0.7
    sure_but_wrong = [outcome(wrong=(0.965,), least=0.965, exact=False)]
    assert calibrate.choose(right + sure_but_wrong) == 0.97
    very_sure = [outcome(wrong=(0.975,), least=0.975, exact=False)]
    assert calibrate.choose(right + very_sure) == calibrate.THRESHOLDS[0]  # 300 questions for one


def test_lines_asked_about_anyway_cost_nothing_more() -> None:
    asked = [outcome(least=0.4, asked=True)]
    assert calibrate.trade(asked, 0.0) == calibrate.trade(asked, 0.9) == (0, 1, 1)


def test_the_picture_is_small(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib")
    rows, said = drawn()
    found = calibrate.fit(rows, said)
    sure = np.array([probability(row, found) for row in rows.tolist()])
    path = tmp_path / "reliability.png"
    calibrate.draw(np.clip(sure + 0.1, 0, 1), sure, said, 0.9, path)
    assert path.read_bytes().startswith(b"\x89PNG") and path.stat().st_size < 100_000


def test_the_weights_are_listed_with_their_checksum(tmp_path: Path) -> None:
    shutil.copytree(bundled_model(), tmp_path / "model")
    weights = tmp_path / "model" / "confidence.json"
    weights.write_text(weights.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    calibrate.list_checksum(tmp_path / "model", weights.name)
    describe_model(tmp_path / "model")
    weights.write_text("{}", encoding="utf-8")
    with pytest.raises(BadInput, match=r"confidence\.json does not match its checksum"):
        describe_model(tmp_path / "model")
