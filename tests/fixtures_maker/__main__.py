"""``python -m tests.fixtures_maker``: write ``audio_fixtures/``."""

import argparse
from pathlib import Path

from tests.fixtures_maker.make import make_all

if __name__ == "__main__":
    asked = argparse.ArgumentParser(description="Make the recordings and their manifest.")
    asked.add_argument("--folder", type=Path, default=Path("audio_fixtures"))
    asked.add_argument("--seed", type=int, default=20261125)
    asked.add_argument("--only", help="make only recordings whose name contains this")
    given = asked.parse_args()
    made = make_all(given.folder, given.seed, given.only)
    size = sum((given.folder / entry["file"]).stat().st_size for entry in made)
    length = sum(entry["duration_s"] for entry in made)
    print(f"{len(made)} recordings, {length:.0f} seconds, {size / 1e6:.1f} MB")
