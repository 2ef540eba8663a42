"""A language model of counting for recognisers that take one: which word follows which.

pocketsphinx cannot search a grammar of a whole kit in bearable time (with the counting grammar in
JSGF one recording of 3 s took 94 s), but with a bigram model of the same phrases it is faster than
the sound. The pairs are counted over lines of ``line_texts``, so that it knows their wording.
"""

import math
import random
from collections import Counter
from pathlib import Path

from tests.benchmarks.line_texts import KINDS, TALK_KINDS, Drawing, plain

from countersign.kit import Kit

START, END = "<s>", "</s>"
DISCOUNT = 0.5
LINES = 20_000


def phrases(kit: Kit, lines: int = LINES, seed: int = 1) -> list[list[str]]:
    """The words of utterances of counting, kinds in the proportions of the benchmark."""
    rng = random.Random(seed)
    kinds = [kind for kind in KINDS if kind not in TALK_KINDS]
    weights = [KINDS[kind][0] for kind in kinds]
    drawing = Drawing(kit, seed)
    return [
        plain(part).replace("-", " ").split()
        for kind in rng.choices(kinds, weights, k=lines)
        for part in drawing.line(kind).parts
    ]


def write_arpa(said: list[list[str]], path: Path) -> list[str]:
    """Write the bigram model of ``said`` in ARPA format; the words it knows come back, sorted.

    Absolute discounting with back-off (Ney, Essen and Kneser 1994), so that every word may follow
    every other.
    """
    single: Counter[str] = Counter()
    after: dict[str, Counter[str]] = {}
    for words in said:
        single.update([*words, END])
        for first, second in zip([START, *words], [*words, END], strict=True):
            after.setdefault(first, Counter())[second] += 1
    total = sum(single.values())
    share = {word: count / total for word, count in single.items()}
    rows = ["\\data\\", f"ngram 1={len(share) + 1}"]
    rows += [f"ngram 2={sum(map(len, after.values()))}", "", "\\1-grams:"]
    for word in (START, *share):
        own = math.log10(share[word]) if word in share else -99.0
        rows.append(f"{own:.5f}\t{word}\t{_back_off(after.get(word), share):.5f}")
    rows += ["", "\\2-grams:"]
    for first, seconds in after.items():
        count = sum(seconds.values())
        rows += [
            f"{math.log10((n - DISCOUNT) / count):.5f}\t{first} {second}"
            for second, n in seconds.items()
        ]
    path.write_text("\n".join([*rows, "", "\\end\\", ""]), encoding="utf-8")
    return sorted(set(share) - {END})


def _back_off(seconds: Counter[str] | None, share: dict[str, float]) -> float:
    if not seconds:
        return 0.0
    freed = DISCOUNT * len(seconds) / sum(seconds.values())
    unseen = 1.0 - sum(share[word] for word in seconds)
    return math.log10(freed / max(unseen, 1e-9))
