"""Which recording this is, as its header tells."""

import hashlib
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from countersign.sound.opening import open_decoder


class Source(BaseModel):
    """A recording that can be listened to.

    ``sample_rate`` in Hz and ``channels`` are those of the file itself, before it is brought to
    16 kHz mono; ``duration_s`` is what its header says, None where it says nothing. ``sha256`` is
    the file's digest in hexadecimal, by which a kept record knows its recording again.
    """

    model_config = ConfigDict(frozen=True)

    name: str
    format: str
    sample_rate: int
    channels: int
    duration_s: float | None = None
    sha256: str | None = None


def open_source(path: str | Path, *, digest: bool = False) -> Source:
    """Check that ``path`` is a recording with sound in it and describe it.

    ``digest`` adds the SHA-256 of the file, which means reading all of it. Raises BadInput.
    """
    path = Path(path)
    decoder = open_decoder(path)
    sha256 = None
    if digest:
        with path.open("rb") as file:
            sha256 = hashlib.file_digest(file, "sha256").hexdigest()
    return Source(
        name=path.name,
        format=decoder.name,
        sample_rate=decoder.rate,
        channels=decoder.channels,
        duration_s=decoder.duration_s,
        sha256=sha256,
    )
