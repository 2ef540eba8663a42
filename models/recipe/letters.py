"""Train the model that guesses how an unknown word is said (``countersign.kit.guess``).

    python letters.py cmudict.dict ../../src/countersign/kit/letters.fst.gz --bin BIN --lib LIB

A joint n-gram over letters and phones (Bisani and Ney 2008, Speech Communication 50:434-451), made
with Phonetisaurus (BSD 3-clause) and MITLM (MIT); ``BIN`` and ``LIB`` hold their programs and
libraries, for example those inside the Python package phonetisaurus. Trained on the words of the
CMU Pronouncing Dictionary that are plain letters, stress removed, without every twentieth word
(``held_out``), which are kept for scoring.
"""

from __future__ import annotations

import argparse
import gzip
import os
import re
import subprocess
import tempfile
import zlib
from pathlib import Path

ORDER = 4  # 5 and 6 score 1 % better and are two and four times as large


def held_out(word: str) -> bool:
    """Whether a word is kept for scoring."""
    return zlib.crc32(word.encode()) % 20 == 0


def lexicon(dictionary: str) -> dict[str, list[str]]:
    """Plain words of ``cmudict.dict`` with their pronunciations, stress removed."""
    spoken: dict[str, dict[str, None]] = {}
    for line in dictionary.splitlines():
        word, *phones = line.partition("#")[0].split()
        word = re.sub(r"\(\d+\)$", "", word)
        if re.fullmatch(r"[a-z]{2,}", word):
            spoken.setdefault(word, {})[" ".join(p.rstrip("012") for p in phones)] = None
    return {word: list(ways) for word, ways in spoken.items()}


def train(words: dict[str, list[str]], programs: Path, libraries: Path, folder: Path) -> Path:
    """Align letters with phones, estimate the n-gram, and write it as a transducer."""
    table = folder / "lexicon.tsv"
    lines = [f"{w}\t{way}\n" for w, ways in words.items() if not held_out(w) for way in ways]
    table.write_text("".join(lines), encoding="utf-8")
    aligned, arpa, fst = (folder / name for name in ("aligned", "arpa", "model.fst"))
    environment = {**os.environ, "LD_LIBRARY_PATH": str(libraries)}
    for command in (
        ["phonetisaurus-align", f"--input={table}", f"--ofile={aligned}",
         "--seq1_del=false", "--seq2_del=true", "--iter=8"],
        ["estimate-ngram", "-o", str(ORDER), "-t", str(aligned), "-wl", str(arpa)],
        ["phonetisaurus-arpa2wfst", f"--lm={arpa}", f"--ofile={fst}"],
    ):  # fmt: skip
        subprocess.run([str(programs / command[0]), *command[1:]], env=environment, check=True)
    return fst


def main() -> None:
    """Read the dictionary, write the packed model."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("dictionary", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--bin", type=Path, required=True)
    parser.add_argument("--lib", type=Path, required=True)
    args = parser.parse_args()
    words = lexicon(args.dictionary.read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        fst = train(words, args.bin, args.lib, Path(folder))
        args.out.write_bytes(gzip.compress(fst.read_bytes(), compresslevel=9, mtime=0))


if __name__ == "__main__":
    main()
