"""From spoken lines to figures: silent errors with their upper bound, questions, words."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from scipy.stats import binomtest
from tests.benchmarks.figures import percent
from tests.benchmarks.line_texts import SEQUENCES, TALK_KINDS, plain
from tests.benchmarks.recognisers import heard_words
from tests.benchmarks.scores import observed, pair, word_errors

from countersign.hearing import Utterance
from countersign.tally import CountRecord

if TYPE_CHECKING:
    from tests.benchmarks.lines import Take

CONFIDENCE = 0.95


@dataclass(frozen=True)
class Judged:
    """How one take came out.

    ``silent`` are the heard events that differ from everything said and carry no question at all;
    ``silent_alone`` those without a question of hearing or meaning, whatever the tally asks.
    ``exact`` means that every event was heard as it was said and nothing else was. ``asked`` means
    that some event carries a question, ``asked_alone`` one of hearing or meaning;
    ``asked_written`` means that the same words in writing raise one of those too, as a pack does
    whose contents nobody says. ``lost`` means that fewer events were heard than said and nobody is
    asked about any.
    """

    voice: str
    kind: str
    noisy: bool
    said: str
    heard: str
    wanted: tuple[dict[str, Any], ...]
    events: tuple[dict[str, Any], ...]
    silent: tuple[dict[str, Any], ...]
    silent_alone: tuple[dict[str, Any], ...]
    exact: bool
    asked: bool
    asked_alone: bool
    asked_written: bool
    lost: bool
    words: int
    word_errors: int
    audio_s: float
    seconds: float


def judge(
    take: "Take", utterances: Sequence[Utterance], record: CountRecord, written: CountRecord,
    audio_s: float, seconds: float,
) -> Judged:  # fmt: skip
    """The judgement on one take; remarks, which have no effect, are left out.

    ``written`` is the record of the line's own words.
    """
    both = [
        (event, {**event, "questions": [question.code.value for question in line.event.questions]})
        for event, line in zip(observed(record), record.lines, strict=True)
        if event["kind"] != "remark"
    ]
    events, alone = [event for event, _ in both], [event for _, event in both]
    wanted = list(take.line.events)
    right = {j for _, j in pair(wanted, events)}
    wrong = [j for j in range(len(events)) if j not in right]
    said = " ".join(map(plain, take.line.parts))
    words = heard_words(utterances)
    asked = any(event["questions"] for event in events)
    return Judged(
        voice=take.voice,
        kind=take.line.kind,
        noisy=take.noisy,
        said=" / ".join(map(plain, take.line.parts)),
        heard=" / ".join(utterance.text for utterance in utterances),
        wanted=tuple(wanted),
        events=tuple(_short(event) for event in events),
        silent=tuple(_short(events[j]) for j in wrong if not events[j]["questions"]),
        silent_alone=tuple(_short(alone[j]) for j in wrong if not alone[j]["questions"]),
        exact=len(right) == len(wanted) == len(events),
        asked=asked,
        asked_alone=any(event["questions"] for event in alone),
        asked_written=any(line.event.questions for line in written.lines),
        lost=len(events) < len(wanted) and not asked,
        words=len(said.split()),
        word_errors=0 if take.line.kind in TALK_KINDS else word_errors(said.split(), words),
        audio_s=audio_s,
        seconds=seconds,
    )


_SHOWN = ("kind", "item", "quantity", "phase", "verdict", "place", "medication", "questions")


def _short(event: dict[str, Any]) -> dict[str, Any]:
    shown = {key: event[key] for key in _SHOWN if event.get(key) not in (None, [], ())}
    if "medication" in shown:
        shown["medication"] = {k: v for k, v in shown["medication"].items() if v}
    return shown


def upper_bound(errors: int, trials: int) -> float:
    """One-sided 95 % upper bound of a rate (Clopper and Pearson, Biometrika 1934)."""
    if not trials:
        return 1.0
    test = binomtest(errors, trials, alternative="less")
    return float(test.proportion_ci(CONFIDENCE, method="exact").high)


def rate(errors: int, trials: int) -> str:
    """``3 of 9,000 (under 0.09 %)``: the bound is :func:`upper_bound`."""
    return f"{errors} of {trials:,} (under {100 * upper_bound(errors, trials):.2f} %)"


def _share(part: int, whole: int) -> str:
    return percent(part / whole if whole else None)


def _counting(judged: Sequence[Judged]) -> list[Judged]:
    return [one for one in judged if one.kind not in TALK_KINDS]


def _table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|---" * len(head) + "|"]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)])


Figure = Callable[[Sequence[Judged]], str]


def _word_error(judged: Sequence[Judged]) -> str:
    counted = _counting(judged)
    return _share(sum(one.word_errors for one in counted), sum(one.words for one in counted))


def _silent(judged: Sequence[Judged]) -> str:
    return rate(sum(bool(one.silent) for one in judged), len(judged))


def _silent_alone(judged: Sequence[Judged]) -> str:
    return rate(sum(bool(one.silent_alone) for one in judged), len(judged))


def _exact(judged: Sequence[Judged]) -> str:
    counted = _counting(judged)
    return _share(sum(one.exact for one in counted), len(counted))


def _asked_alone(judged: Sequence[Judged]) -> str:
    counted = _counting(judged)
    return _share(sum(one.asked_alone for one in counted), len(counted))


def _asked(judged: Sequence[Judged]) -> str:
    counted = _counting(judged)
    return _share(sum(one.asked for one in counted), len(counted))


def _needless(judged: Sequence[Judged]) -> str:
    exact = [one for one in _counting(judged) if one.exact]
    return _share(sum(one.asked_alone for one in exact), len(exact))


def _of_hearing(judged: Sequence[Judged]) -> str:
    counted = _counting(judged)
    return _share(sum(one.asked_alone and not one.asked_written for one in counted), len(counted))


def _lost(judged: Sequence[Judged]) -> str:
    counted = _counting(judged)
    return f"{sum(one.lost for one in counted):,} of {len(counted):,}"


def _sequences(judged: Sequence[Judged]) -> str:
    spoken = [one for one in judged if one.kind in SEQUENCES]
    settled = sum(one.exact or one.asked for one in spoken)
    return f"{settled:,} of {len(spoken):,}; {_share(sum(o.exact for o in spoken), len(spoken))}"


def _talk(judged: Sequence[Judged]) -> str:
    talk = [one for one in judged if one.kind in TALK_KINDS]
    lines = sum(len(one.events) for one in talk)
    return f"{lines} ({sum(len(one.silent) for one in talk)} silent) in {len(talk)}"


def _real_time(judged: Sequence[Judged]) -> str:
    return f"{sum(one.seconds for one in judged) / sum(one.audio_s for one in judged):.3f}"


FIGURES: tuple[tuple[str, Figure], ...] = (
    ("Silent errors (95 % upper bound)", _silent),
    ("Silent errors without the tally's questions", _silent_alone),
    ("Lines exact", _exact),
    ("Lines that ask: hearing and meaning", _asked_alone),
    ("Of these, lines whose words in writing ask nothing", _of_hearing),
    ("Lines that ask: in all, each in a fresh record", _asked),
    ("Exact lines that hearing or meaning ask about", _needless),
    ("Lines lost without a question", _lost),
    ("Sequences right or questioned; exact", _sequences),
    ("Word error rate", _word_error),
    ("Events heard in talk", _talk),
    ("Real-time factor of hearing", _real_time),
)


def report(judged: Sequence[Judged], notes: Sequence[str] = ()) -> str:
    """The figures as Markdown: all, by voice and by kind, clean and with noise."""
    clean = [one for one in judged if not one.noisy]
    noisy = [one for one in judged if one.noisy]
    both = [(name, found) for name, found in (("clean", clean), ("noise, 10 dB", noisy)) if found]
    parts = [
        _table(
            ["", *(name for name, _ in both)],
            [[label, *(figure(found) for _, found in both)] for label, figure in FIGURES],
        )
    ]
    for title, key in (("Voice", "voice"), ("Kind of line", "kind")):
        rows = []
        for value in sorted({getattr(one, key) for one in judged}):
            row = [value]
            for _, found in both:
                some = [one for one in found if getattr(one, key) == value]
                counting = _counting(some)
                row += [
                    f"{sum(bool(one.silent) for one in some)} in {len(some):,}",
                    _exact(some) if counting else "–",
                    _asked_alone(some) if counting else "–",
                ]
            rows.append(row)
        head = [f"{figure}, {name}" for name, _ in both for figure in ("silent", "exact", "asked")]
        parts.append(_table([title, *head], rows))
    hours = sum(one.audio_s for one in judged) / 3600
    count = f"{len(judged):,} recordings of {len(clean):,} lines, {hours:.1f} hours of sound."
    parts.append("\n".join(f"- {note}" for note in (count, *notes)))
    return "\n\n".join(parts) + "\n"
