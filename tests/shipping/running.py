"""Runs a command as one step of a proof, and says how long it took."""

import shutil
import subprocess
import time
from pathlib import Path


def run(
    what: str,
    command: list[str],
    surroundings: dict[str, str] | None = None,
    *,
    cwd: Path | None = None,
    typed: str = "",
) -> str:
    """What ``command`` prints; ends the program with all it printed where it fails.

    ``surroundings`` is the environment (``None``: this one's), ``typed`` what it reads.
    """
    path = surroundings.get("PATH") if surroundings is not None else None
    if shutil.which(command[0], path=path) is None:
        raise SystemExit(f"{what} needs {command[0]}, which is not installed")
    begun = time.monotonic()
    done = subprocess.run(
        command,
        env=surroundings,
        cwd=cwd,
        input=typed,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise SystemExit(f"{what} failed ({done.returncode}):\n{done.stdout}\n{done.stderr}")
    print(f"{what}: {time.monotonic() - begun:.1f} s", flush=True)
    return done.stdout
