"""The command that sends sound from here to a case on a server of the pages."""

import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, BinaryIO

import typer

from countersign.problems import BadInput
from countersign.terminal import interrupt_sets, say

if TYPE_CHECKING:
    from countersign.sound import Block, LevelMeter

_MISSING = "Sending sound needs more packages; install them with: pip install 'countersign[pages]'."
_RAW = "-"
_PIECE_S = 0.1


def stream(
    case: Annotated[
        str, typer.Argument(metavar="CASE", help="The case on the server; new begins one.")
    ],
    source: Annotated[
        str | None,
        typer.Argument(
            metavar="[FILE|-]",
            help="A recording, or - for raw sound (16 kHz, mono, 16 bit, little-endian) from "
            "standard input. Default: the microphone of this machine.",
        ),
    ] = None,
    to: Annotated[
        str, typer.Option("--to", metavar="URL", help="The server.")
    ] = "http://127.0.0.1:8734",
    initials: Annotated[str, typer.Option("--initials", help="Initials of the person.")] = "",
    role: Annotated[str, typer.Option("--role", help="scrub, circulator or relief.")] = "scrub",
    authority: Annotated[
        Path | None,
        typer.Option("--authority", metavar="FILE", help="A certificate to trust (PEM)."),
    ] = None,
    device: Annotated[
        str | None, typer.Option("--device", help="The microphone, by number or part of its name.")
    ] = None,
    end: Annotated[
        bool, typer.Option("--end", help="End listening for the case after the last sound.")
    ] = False,
) -> None:
    """Send sound from here to a case on a server, as it comes; Ctrl-C ends it.

    The PIN is asked for where the server wants one; COUNTERSIGN_PIN holds it where nobody is there
    to type it.
    """
    from countersign.confirm.amending import NotUnderstood, read_initials, read_role
    from countersign.sound import LevelMeter

    try:
        from countersign.streaming import begin_case, end_case, send, sign_in
    except ImportError:
        raise BadInput(_MISSING) from None
    try:
        who, as_role = read_initials(initials), read_role(role)
    except NotUnderstood as problem:
        raise BadInput(str(problem)) from None
    pins: list[str] = []

    def pin() -> str:
        if not pins:
            kept = os.environ.get("COUNTERSIGN_PIN")
            pins.append(kept or typer.prompt("PIN", hide_input=True, err=True))
        return pins[0]

    stop, meter = threading.Event(), LevelMeter()
    blocks = _blocks(source, device, meter, stop)
    session = sign_in(to, who, as_role, pin, authority)
    name = begin_case(session) if case.strip().lower() == "new" else case.strip().lower()
    say(f"Sending to case {name}; Ctrl-C ends it.")
    with interrupt_sets(stop):
        sent = send(lambda: sign_in(to, who, as_role, pin, authority), name, blocks, say)
    for warning in meter.warnings():
        say(warning.sentence)
    if sent.lost_s:
        say(f"{sent.lost_s:.0f} s of sound were lost while there was no connection.")
    if end:
        end_case(sign_in(to, who, as_role, pin, authority), name)
    say(f"{sent.sent_s:.1f} s of sound were sent to case {name}.")


def _blocks(
    source: str | None, device: str | None, meter: "LevelMeter", stop: threading.Event
) -> "Iterator[Block]":
    from countersign.sound import microphone

    if source is None:
        return microphone.blocks(microphone.named(device), meter=meter, stop=stop)
    if device is not None:
        raise BadInput("A microphone is chosen where no FILE is given.")
    if source == _RAW:
        return raw_blocks(sys.stdin.buffer, stop)
    return microphone.file_as_microphone(Path(source).expanduser(), meter=meter, stop=stop)


def raw_blocks(file: BinaryIO, stop: threading.Event) -> "Iterator[Block]":
    """Raw samples as blocks, no faster than they can have been spoken."""
    import numpy as np

    from countersign.sound import SAMPLE_RATE, Block

    size, began, given = 2 * round(_PIECE_S * SAMPLE_RATE), time.monotonic(), 0
    while not stop.is_set():
        data = file.read(size)
        whole = len(data) // 2 * 2
        if not whole:
            return
        samples = np.frombuffer(data[:whole], dtype="<i2").astype(np.int16)
        yield Block(samples, given / SAMPLE_RATE)
        given += len(samples)
        stop.wait(max(0.0, began + given / SAMPLE_RATE - time.monotonic()))


def register(app: typer.Typer) -> None:
    """Add the command to ``app``."""
    app.command("stream")(stream)
