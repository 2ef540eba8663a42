"""``python -m tests.benchmarks.calibrate``: fit the confidence on speech kept out of training.

Works on what ``python -m tests.benchmarks.lines`` heard. The map is fitted on half of the voices
saying half of the texts and checked on the other half of both; then the threshold under which a
word is asked about is chosen, and a reliability diagram drawn. Weights and picture are written
beside the model.
"""

import difflib
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer
from numpy.typing import NDArray
from rich.console import Console
from rich.progress import Progress
from scipy.optimize import minimize
from tests.benchmarks.figures import between_markers, percent
from tests.benchmarks.line_texts import TALK_KINDS, plain
from tests.benchmarks.line_voices import VOICES
from tests.benchmarks.lines import Take, heard_file, plan, stored, unpacked
from tests.benchmarks.scores import observed, pair

from countersign.hearing import TALK, Utterance
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
from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning import understand
from countersign.meaning.event import QuestionCode
from countersign.meaning.scene import LOW_CONFIDENCE
from countersign.tally import build_record

FIT_VOICES = frozenset({"flite-slt", "festival-ked", "piper-joe", "espeak-us-f5"})
STRENGTH = 1.0
"""Of the quadratic penalty on the weights."""
BINS = 10


@dataclass(frozen=True)
class Heard:
    """A take with its utterances as the decoder gave them."""

    take: Take
    utterances: tuple[Utterance, ...]


def text_half(take: Take) -> int:
    """0 or 1: which half of the texts a take belongs to, whoever speaks."""
    text = " / ".join(map(plain, take.line.parts))
    return hashlib.sha256(f"half {text}".encode()).digest()[0] & 1


def halves(heard: Sequence[Heard]) -> tuple[list[Heard], list[Heard]]:
    """Takes to fit and takes to check: neither voices nor texts in common."""
    fit = [h for h in heard if h.take.voice in FIT_VOICES and text_half(h.take) == 0]
    check = [h for h in heard if h.take.voice not in FIT_VOICES and text_half(h.take) == 1]
    return fit, check


def words_of(heard: Sequence[Heard]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Evidence of every word that is not talk, shape (n, 7), and whether it was said, shape (n,).

    A word was said if the best alignment of what was heard with what was said pairs it with itself.
    """
    rows: list[list[float]] = []
    said: list[bool] = []
    for one in heard:
        words: list[str] = []
        for utterance in one.utterances:
            for word, row in zip(utterance.words, evidence(utterance), strict=True):
                if word.text != TALK:
                    words.append(word.text)
                    rows.append(row)
        said += aligned(" ".join(map(plain, one.take.line.parts)).split(), words)
    return np.array(rows, float).reshape(-1, len(EVIDENCE)), np.array(said, bool)


def aligned(said: Sequence[str], heard: Sequence[str]) -> list[bool]:
    """For each heard word whether it stands for the same said word."""
    right = [False] * len(heard)
    matcher = difflib.SequenceMatcher(None, said, heard, autojunk=False)
    for _, start, length in matcher.get_matching_blocks():
        right[start : start + length] = [True] * length
    return right


def fit(rows: NDArray[np.float64], said: NDArray[np.bool_]) -> Calibration:
    """Logistic regression with weights that are not negative: more evidence, more confidence."""

    def loss(parameters: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
        score = parameters[0] + rows @ parameters[1:]
        signed = np.where(said, score, -score)
        value = np.logaddexp(0, -signed).sum() + STRENGTH / 2 * (parameters[1:] ** 2).sum()
        slope = -np.where(said, 1.0, -1.0) / (1 + np.exp(np.clip(signed, -500, 500)))
        grad = np.concatenate([[slope.sum()], rows.T @ slope + STRENGTH * parameters[1:]])
        return float(value), grad

    bounds = [(None, None), *[(0.0, None)] * len(EVIDENCE)]
    start = np.zeros(len(EVIDENCE) + 1)
    found = minimize(loss, start, jac=True, bounds=bounds, method="L-BFGS-B")
    constant, *weights = (round(float(value), 3) for value in found.x)
    return Calibration(constant=constant, weights=dict(zip(EVIDENCE, weights, strict=True)))


@dataclass(frozen=True)
class Outcome:
    """One take under the fitted map: the events, and what would be asked at which threshold.

    ``wrong`` and ``right`` hold the confidence of each event of the kind that only its confidence
    could ask about; ``asked`` says that something else asks.
    """

    counting: bool
    exact: bool
    asked: bool
    wrong: tuple[float, ...]
    least: float


def outcome(one: Heard, calibration: Calibration, kit: Kit) -> Outcome:
    """What meaning makes of a take when confidences are calibrated."""
    utterances = [calibrated(said, calibration) for said in one.utterances]
    events = [
        (observed_event, line.event)
        for record in [build_record(kit, list(understand(utterances, kit)), ())]
        for observed_event, line in zip(observed(record), record.lines, strict=True)
        if observed_event["kind"] != "remark"
    ]
    wanted = list(one.take.line.events)
    right = {j for _, j in pair(wanted, [event for event, _ in events])}

    def other_questions(event: Any) -> bool:
        return any(
            question.code is not QuestionCode.LOW_CONFIDENCE
            or "not heard clearly" not in question.sentence
            for question in event.questions
        )

    return Outcome(
        counting=one.take.line.kind not in TALK_KINDS,
        exact=len(right) == len(wanted) == len(events),
        asked=any(other_questions(event) for _, event in events),
        wrong=tuple(
            event.confidence
            for j, (_, event) in enumerate(events)
            if j not in right and not other_questions(event)
        ),
        least=min((event.confidence for _, event in events), default=1.0),
    )


THRESHOLDS = (
    0.0,
    0.5,
    0.6,
    0.7,
    0.75,
    0.8,
    0.85,
    0.88,
    0.9,
    0.92,
    0.94,
    0.95,
    0.96,
    0.97,
    0.98,
    0.99,
)


def trade(outcomes: Sequence[Outcome], threshold: float) -> tuple[int, int, int]:
    """Takes with an event wrong and unasked, exact takes that ask, and exact takes."""
    silent = sum(any(sure >= threshold for sure in one.wrong) for one in outcomes)
    exact = [one for one in outcomes if one.counting and one.exact]
    needless = sum(one.asked or one.least < threshold for one in exact)
    return silent, needless, len(exact)


def choose(outcomes: Sequence[Outcome]) -> float:
    """The lowest threshold with the fewest silent errors, but none that asks ever more for nothing.

    A step up is taken while it removes silent errors at no more than 100 needless questions each.
    """
    best = THRESHOLDS[0]
    silent, needless, _ = trade(outcomes, best)
    for threshold in THRESHOLDS[1:]:
        fewer, more, _ = trade(outcomes, threshold)
        if fewer < silent and (more - needless) / (silent - fewer) <= WORTH:
            best, silent, needless = threshold, fewer, more
    return best


WORTH = 100
"""Needless questions that one silent error less is worth."""


def reliability(
    sure: NDArray[np.float64], said: NDArray[np.bool_]
) -> list[tuple[float, float, int]]:
    """For bins with equally many words: mean confidence, share that was said, number."""
    order = np.argsort(sure, kind="stable")
    groups = [group for group in np.array_split(order, BINS) if len(group)]
    return [(float(sure[g].mean()), float(said[g].mean()), len(g)) for g in groups]


def calibration_error(sure: NDArray[np.float64], said: NDArray[np.bool_]) -> float:
    """Mean distance of confidence and truth over the bins (expected calibration error)."""
    found = reliability(sure, said)
    return sum(abs(mean - share) * n for mean, share, n in found) / sum(n for *_, n in found)


def draw(
    raw: NDArray[np.float64],
    sure: NDArray[np.float64],
    said: NDArray[np.bool_],
    threshold: float,
    path: Path,
) -> None:
    """The reliability diagram: raw and calibrated confidence against the share that was said."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    figure, (top, bottom) = pyplot.subplots(
        2, 1, figsize=(5.4, 6.0), height_ratios=(3, 1), sharex=True, layout="constrained"
    )
    top.plot([0, 1], [0, 1], color="0.7", linewidth=1, label="perfect")
    for values, name, colour, mark in (
        (raw, "share of the readings (raw)", "tab:orange", "s"),
        (sure, "calibrated", "tab:blue", "o"),
    ):
        edges = np.linspace(0, 1, BINS + 1)
        place = np.clip(np.digitize(values, edges) - 1, 0, BINS - 1)
        points = [
            (values[place == b].mean(), said[place == b].mean(), (place == b).sum())
            for b in range(BINS)
            if (place == b).sum() >= 10
        ]
        x, y, n = (np.array(column) for column in zip(*points, strict=True))
        spread = 1.96 * np.sqrt(np.maximum(y * (1 - y), 0.25 / n) / n)
        top.errorbar(
            x, y, yerr=[np.minimum(spread, y), np.minimum(spread, 1 - y)], color=colour,
            marker=mark, capsize=2, linewidth=1.2, label=name,
        )  # fmt: skip
        bottom.hist(values, bins=edges, histtype="step", color=colour, linewidth=1.4)
    for axes in (top, bottom):
        axes.axvline(threshold, color="tab:red", linestyle="--", linewidth=1)
    top.text(threshold - 0.01, 0.03, f"asked below {threshold:g}", color="tab:red", ha="right")
    top.set(ylabel="share of words that were said", ylim=(0, 1.02), xlim=(0, 1.0))
    top.set_title(f"{len(said):,} words of held-out voices and texts", fontsize=10)
    top.legend(loc="upper left", frameon=False)
    bottom.set(xlabel="confidence of a word", ylabel="words", yscale="log")
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def main(
    lines: Annotated[int, typer.Option(help="As for the lines.")] = 10_000,
    noisy: Annotated[int, typer.Option(help="As for the lines.")] = 3_000,
    seed: Annotated[int, typer.Option(help="As for the lines.")] = 20261125,
    scratch: Annotated[Path, typer.Option(help="Folder of the lines.")] = Path(".benchmark"),
    heard: Annotated[Path | None, typer.Option(help="File of what was heard.")] = None,
    folder: Annotated[
        Path | None, typer.Option(help="Where to write weights and picture (default: the model).")
    ] = None,
    refit: Annotated[
        bool, typer.Option(help="Fit new weights, or only measure those in the folder.")
    ] = True,
    ask_below: Annotated[
        float | None, typer.Option(help="Take this threshold instead of the rule's.")
    ] = None,
    write_readme: Annotated[
        Path | None, typer.Option(help="Write the figures between the markers of this page.")
    ] = None,
) -> None:
    """Fit the confidence, choose the threshold, draw the reliability diagram."""
    console = Console(stderr=True)
    if write_readme:
        between_markers(write_readme.read_text(encoding="utf-8"), "", "calibration")
    kit = read_kit(demo_kit_path())
    found = stored(heard or heard_file(scratch, kit))
    takes = [t for t in plan(kit, list(VOICES), lines, noisy, seed) if t.key in found]
    known = [Heard(t, tuple(map(unpacked, found[t.key]["utterances"]))) for t in takes]
    to_fit, to_check = halves(known)
    if len(to_fit) < 100 or len(to_check) < 100:
        console.print("Too little was heard; run python -m tests.benchmarks.lines first.")
        raise typer.Exit(2)
    target = folder or bundled_model()
    calibration = fit(*words_of(to_fit)) if refit else read_calibration(target)
    if calibration is None:
        console.print(f"There is no {FILE} in {target}.")
        raise typer.Exit(2)
    rows, said = words_of(to_check)
    raw = 1 / (1 + np.exp(-rows[:, 0]))
    sure = np.array([probability(row, calibration) for row in rows.tolist()])
    with Progress(console=console) as progress:
        both = [
            [outcome(h, calibration, kit) for h in progress.track(half, description=name)]
            for name, half in (("fitted half", to_fit), ("other half", to_check))
        ]
    threshold = choose(both[0]) if ask_below is None else ask_below
    text = page(calibration, both, threshold, raw, sure, said)
    print(text)
    if refit:
        weights = json.dumps(calibration.model_dump(), indent=1)
        (target / FILE).write_text(f"{weights}\n", encoding="utf-8")
        list_checksum(target, FILE)
    draw(raw, sure, said, threshold, target / "reliability.png")
    if threshold != LOW_CONFIDENCE:
        console.print(f"Set LOW_CONFIDENCE in meaning/scene.py to {threshold:g}.")
    if write_readme:
        readme = write_readme.read_text(encoding="utf-8")
        write_readme.write_text(between_markers(readme, text, "calibration"), encoding="utf-8")


def list_checksum(folder: Path, name: str) -> None:
    """Put the checksum of one file of a model into its list, for the one that is there."""
    sums = folder / "SHA256SUMS"
    digest = hashlib.sha256((folder / name).read_bytes()).hexdigest()
    others = [
        line
        for line in sums.read_text(encoding="utf-8").splitlines()
        if line.partition("  ")[2] != name
    ]
    sums.write_text("\n".join([*others, f"{digest}  {name}", ""]), encoding="utf-8")


def page(
    calibration: Calibration,
    both: Sequence[Sequence[Outcome]],
    threshold: float,
    raw: NDArray[np.float64],
    sure: NDArray[np.float64],
    said: NDArray[np.bool_],
) -> str:
    """The figures as Markdown: calibration error, and the price of every threshold."""
    rows = []
    for value in THRESHOLDS:
        cells = [f"**{value:g}**" if value == threshold else f"{value:g}"]
        for half in both:
            silent, needless, exact = trade(half, value)
            cells += [f"{silent} of {len(half):,}", percent(needless / exact if exact else None)]
        rows.append("| " + " | ".join(cells) + " |")
    weights = ", ".join(f"{name} {value:g}" for name, value in calibration.weights.items())
    return "\n".join(
        [
            "| asked below | silent, fitted half | exact but asked | silent, other half"
            " | exact but asked |",
            "|---|---|---|---|---|",
            *rows,
            "",
            f"- Calibration error on the other half, {len(said):,} words: raw"
            f" {percent(calibration_error(raw, said))}, calibrated"
            f" {percent(calibration_error(sure, said))}.",
            f"- Weights: constant {calibration.constant:g}, {weights}.",
            "- Silent: an event wrong that neither hearing nor meaning asks about; the tally's"
            " questions are not counted.",
            "",
        ]
    )


if __name__ == "__main__":
    typer.run(main)
