"""From a path to a decoder, or to one sentence on why there is none."""

import errno
import logging
import os
import stat
from pathlib import Path

from countersign.problems import BadInput
from countersign.sound import ffmpeg
from countersign.sound.decoder import Decoder, Undecodable
from countersign.sound.libsndfile import SoundFileDecoder
from countersign.sound.recognition import Recognised, recognise

log = logging.getLogger(__name__)


def open_decoder(path: Path) -> Decoder:
    """Identify the file and check that sound comes out of it.

    Raises BadInput, with one sentence, for everything that cannot be listened to.
    """
    kind = _examine(path)
    reason = None
    if kind is not None and kind.decoder == "libsndfile":
        try:
            return SoundFileDecoder(path, kind)
        except Undecodable as error:
            reason = str(error)
            log.debug("libsndfile on %s: %s", path, reason)
    if ffmpeg.executable() is not None:
        try:
            return ffmpeg.FfmpegDecoder(path)
        except Undecodable as error:
            log.debug("ffmpeg on %s: %s", path, error)
            if reason is None:
                reason = str(error) if kind is not None else "is not a sound file in a known format"
    elif kind is None:
        reason = "is not a sound file in a known format"
    elif kind.decoder == "ffmpeg":
        reason = (
            f"seems to be {kind.name}, which can only be read where the program ffmpeg is "
            "installed, and it is not"
        )
    raise BadInput(f"{path} {reason}.")


def _examine(path: Path) -> Recognised | None:
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise BadInput(f"{path} is a folder, and a sound file is needed.")
        if not stat.S_ISREG(status.st_mode):
            raise BadInput(f"{path} is not a file, and a sound file is needed.")
        if status.st_size == 0:
            raise BadInput(f"{path} is empty.")
        return recognise(path)
    except FileNotFoundError as error:
        raise BadInput(f"{path} does not exist.") from error
    except PermissionError as error:
        raise BadInput(f"{path} may not be read: permission is missing.") from error
    except (OSError, ValueError) as error:
        what = os.strerror(error.errno) if isinstance(error, OSError) and error.errno else error
        if isinstance(error, OSError) and error.errno == errno.ENOTDIR:
            raise BadInput(f"{path} does not exist.") from error
        raise BadInput(f"{path!s} cannot be read: {what}.") from error
