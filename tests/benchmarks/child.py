"""One recogniser in a process of its own: clips in on stdin, one JSON line a clip out on stdout.

``python -m tests.benchmarks.child RECOGNISER [KIT]``. The first line says that it is ready (or why
it is not available), the last one gives the largest resident memory of the process.
"""

import contextlib
import json
import os
import resource
import sys
import time
from pathlib import Path
from typing import Any

from tests.benchmarks.recognisers import RECOGNISERS, Listen, heard_words
from tests.benchmarks.scores import observed

from countersign.kit import Kit, demo_kit_path, read_kit
from countersign.meaning import understand
from countersign.tally import build_record


def hear_clip(listen: Listen, kit: Kit, path: Path) -> dict[str, Any]:
    """Words and events of one clip and the seconds that both took together."""
    started = time.perf_counter()
    utterances = listen(path)
    record = build_record(kit, list(understand(utterances, kit)), [])
    seconds = time.perf_counter() - started
    return {"seconds": seconds, "words": heard_words(utterances), "events": observed(record)}


def run(name: str, kit_path: Path) -> None:
    """Answer clips until stdin ends."""
    # Native libraries write to stdout too: keep the real one for the answers.
    answers = os.fdopen(os.dup(1), "w", buffering=1)
    os.dup2(2, 1)

    def answer(**fields: Any) -> None:
        answers.write(json.dumps(fields) + "\n")

    kit = read_kit(kit_path)
    try:
        listen = RECOGNISERS[name][1](kit)
        list(understand([], kit))
    except Exception as trouble:
        answer(unavailable=f"{type(trouble).__name__}: {trouble}")
        return
    answer(ready=True)
    for line in sys.stdin:
        path = Path(line.rstrip("\n"))
        try:
            answer(path=str(path), **hear_clip(listen, kit, path))
        except Exception as trouble:
            answer(path=str(path), failed=f"{type(trouble).__name__}: {trouble}")
    # Kilobytes on Linux, bytes on macOS.
    unit = 1 if sys.platform == "darwin" else 1024
    answer(peak_bytes=resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit)


if __name__ == "__main__":
    run(sys.argv[1], Path(sys.argv[2]) if len(sys.argv) > 2 else demo_kit_path())
    # A recogniser's own threads may not end by themselves; everything is written by now.
    with contextlib.suppress(Exception):
        sys.stderr.flush()
    os._exit(0)
