"""Pack the Kokoro style vectors of kokoro-js into one file.

    python styles.py kokoro-js/voices styles.npz

The npm package kokoro-js 1.2.1 (Apache-2.0) holds one ``NAME.bin`` a voice: 510 rows of 256
float32, one row for each number of symbols. Rows past ``ROWS`` are for texts longer than the
generator makes and are left out; 16-bit floats keep the file small.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np

ROWS = 160


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("voices", type=Path)
    parser.add_argument("out", type=Path)
    a = parser.parse_args()
    styles = {
        file.stem: np.fromfile(file, "<f4").reshape(-1, 256)[:ROWS].astype(np.float16)
        for file in sorted(a.voices.glob("*.bin"))
    }
    np.savez_compressed(a.out, **styles)
    print(len(styles), "voices")


if __name__ == "__main__":
    main()
