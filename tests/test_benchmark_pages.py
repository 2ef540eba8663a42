"""What the benchmark of the pages takes for the news of a count."""

import pytest

pytest.importorskip("websockets")

from tests.benchmarks.pages import lags


def test_late_news_of_an_earlier_utterance_is_not_the_count() -> None:
    changed: dict[str, object] = {"changed": True}

    def line(number: int) -> dict[str, object]:
        return {"changed": True, "line": number, "asks": False}

    # two lines in each of two rounds; their last words end at 10 and at 32
    told = [
        (3.0, changed),  # the first item, still open
        (6.0, changed),  # the second item begins, and the first is a line
        (6.0, line(1)),
        (10.2, changed),  # of an utterance before the last, late
        (10.9, changed),
        (20.0, line(2)),
        (20.0, changed),  # nothing is open any more
        (25.0, changed),
        (28.0, line(3)),
        (33.5, changed),
        (42.0, line(4)),
        (42.0, changed),
    ]
    shown, kept = lags(told, [10.0, 32.0], 2)
    assert shown == pytest.approx([0.9, 1.5])
    assert kept == pytest.approx([10.0, 10.0])
