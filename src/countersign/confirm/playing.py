"""Playing the sound of one line."""

import shutil
import subprocess
import tempfile
from pathlib import Path

from countersign.problems import BadInput
from countersign.sound import write_clip

PLAYERS = (
    ("ffplay", "-nodisp", "-autoexit", "-loglevel", "error"),
    ("aplay", "-q"),
    ("afplay",),
    ("paplay",),
)

MARGIN_S = 0.4
"""Heard before and after the words, so that their first and last sounds are not cut."""

_SPARE_S = 10.0


def play_line(source: str, start_s: float, end_s: float) -> None:
    """Play a stretch of a recording and come back when it is over (or stopped with Ctrl-C).

    Raises ``BadInput`` where there is no recording, no player, or the player fails.
    """
    path = Path(source)
    if not path.is_absolute() or not path.is_file():
        raise BadInput(f"There is no recording to play ({source}).")
    player = next((p for p in PLAYERS if shutil.which(p[0])), None)
    if player is None:
        names = ", ".join(p[0] for p in PLAYERS)
        raise BadInput(f"No program to play sound was found (one of {names}).")
    with tempfile.TemporaryDirectory(prefix="countersign-") as folder:
        clip = write_clip(
            path, max(0.0, start_s - MARGIN_S), end_s + MARGIN_S, Path(folder) / "line.wav"
        )
        _play(player, clip, end_s - start_s + 2 * MARGIN_S + _SPARE_S)


def _play(player: tuple[str, ...], clip: Path, limit_s: float) -> None:
    try:
        done = subprocess.run(
            [*player, str(clip)],
            stdin=subprocess.DEVNULL,  # the answers typed meanwhile are not the player's
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            timeout=limit_s,
            check=False,
        )
    except KeyboardInterrupt:
        return
    except (OSError, subprocess.TimeoutExpired) as error:
        raise BadInput(f"{player[0]} could not play the sound.") from error
    if done.returncode != 0:
        raise BadInput(f"{player[0]} could not play the sound (is there a loudspeaker?).")
