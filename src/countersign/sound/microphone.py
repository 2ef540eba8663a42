"""The microphone as blocks, and a recording played as if it were one."""

import math
import queue
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np

from countersign.problems import BadInput
from countersign.sound.blocks import SAMPLE_RATE, Block, block_size, blocks_from_frames
from countersign.sound.decoder import HIGHEST_RATE, LOWEST_RATE
from countersign.sound.levels import Frames, LevelMeter, SoundWarning
from countersign.sound.levels import seconds as as_time
from countersign.sound.opening import open_decoder

PIECE_S = 0.05
"""Length of the pieces in which sound arrives."""

WAITING_S = 30.0
"""How far the listener may fall behind the microphone before sound is lost."""

_POLL_S = 0.1


class Inbox:
    """Carries pieces of sound from the device's own thread to the one that listens.

    Lost sound is never dropped in silence: silence of the same length takes its place, so that
    times stay true, and the meter is told.
    """

    def __init__(self, rate: int, meter: LevelMeter, waiting_s: float = WAITING_S) -> None:
        """Hold at most ``waiting_s`` of sound at ``rate`` Hz."""
        self._rate = rate
        self._meter = meter
        self._queue: queue.Queue[tuple[int, Frames]] = queue.Queue(
            maxsize=max(1, round(waiting_s / PIECE_S))
        )
        self._lost = 0
        self._error: Exception | None = None
        self._ended = threading.Event()
        self.stopped = threading.Event()

    def put(self, frames: Frames, *, wait: bool = False) -> None:
        """Hand in float32 frames (n, channels); the array is copied.

        With ``wait`` a full inbox holds the giver up until the listener comes; a device cannot
        wait, and its sound is counted as lost.
        """
        piece = (self._lost, np.array(frames, dtype=np.float32))
        while not self.stopped.is_set():
            try:
                self._queue.put(piece, block=wait, timeout=_POLL_S if wait else None)
            except queue.Full:
                if not wait:
                    self._lost += len(frames)
                    return
            else:
                self._lost = 0
                return

    def overflowed(self) -> None:
        """The device itself lost sound, it is not known how much."""
        self._tell_gap("The sound card lost some sound because the computer was busy")

    def end(self, error: Exception | None = None) -> None:
        """Nothing more will come; ``error`` is raised to the listener after what is waiting."""
        self._error = error
        self._ended.set()

    def frames(self, stop: threading.Event | None = None) -> Iterator[Frames]:
        """The pieces in order, until the end or until ``stop`` is set."""
        while stop is None or not stop.is_set():
            # Asked before the queue is: what was put before the end is then surely seen.
            ended = self._ended.is_set()
            try:
                lost, piece = self._queue.get(timeout=0 if ended else _POLL_S)
            except queue.Empty:
                if not ended:
                    continue
                if self._error is not None:
                    raise self._error from None
                return
            if lost:
                self._tell_gap(
                    f"{as_time(lost / self._rate)} of sound was lost because the computer could "
                    "not keep up"
                )
            while lost > 0:
                part = min(lost, self._rate)
                yield np.zeros((part, piece.shape[1]), dtype=np.float32)
                lost -= part
            yield piece

    def _tell_gap(self, what: str) -> None:
        self._meter.note(SoundWarning(code="gap", sentence=f"{what}: words may be missing."))


def named(device: str | None) -> int | str | None:
    """An input as a person names it on a command line: its number, or part of its name."""
    return int(device) if device and device.isdecimal() else device


def blocks(
    device: int | str | None = None,
    *,
    seconds: float = 0.2,
    meter: LevelMeter | None = None,
    stop: threading.Event | None = None,
) -> Iterator[Block]:
    """Listen to an input device until ``stop`` is set or the iterator is closed.

    ``device`` is a number or part of a name as ``sounddevice`` takes it, None the system's default.
    At most two channels are opened. Raises BadInput at the call where the ``live`` extra or a
    microphone is missing.
    """
    size = block_size(seconds)
    library = _library()
    try:
        found = library.query_devices(device, "input")
    except (ValueError, library.PortAudioError) as error:
        which = "No microphone was found" if device is None else f"There is no microphone {device}"
        raise BadInput(f"{which}; connect one and try again.") from error
    channels = min(2, int(found["max_input_channels"]))
    if channels < 1:
        raise BadInput(f"{found['name']} has no input to listen to.")
    rate = SAMPLE_RATE
    try:
        library.check_input_settings(device, channels, "float32", None, rate)
    except (ValueError, library.PortAudioError):
        rate = round(float(found["default_samplerate"]))
    if not LOWEST_RATE <= rate <= HIGHEST_RATE:
        raise BadInput(f"{found['name']} gives no usable sample rate.")
    return _listen(library, device, rate, channels, size, meter or LevelMeter(), stop)


def file_as_microphone(
    path: str | Path,
    pace: float = 1.0,
    *,
    seconds: float = 0.2,
    meter: LevelMeter | None = None,
    stop: threading.Event | None = None,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> Iterator[Block]:
    """Play a recording through the microphone's own path, for tests and rehearsals.

    Pieces come from another thread, each when a microphone would have finished it: ``pace`` 1 is
    real time, 10 is ten times as fast, ``math.inf`` does not wait. ``clock`` gives seconds and
    ``sleep`` waits for some. Raises BadInput as ``read_blocks`` does.
    """
    if not pace > 0:
        raise ValueError(f"the pace must be above 0, not {pace}")
    size = block_size(seconds)
    decoder = open_decoder(Path(path))
    told = meter or LevelMeter()
    inbox = Inbox(decoder.rate, told)

    def play() -> None:
        try:
            began = clock()
            played = 0
            step = max(1, round(decoder.rate * PIECE_S))
            for stretch in decoder.frames(told.note):
                for start in range(0, len(stretch), step):
                    piece = stretch[start : start + step]
                    played += len(piece)
                    if math.isfinite(pace):
                        due = began + played / decoder.rate / pace
                        if (left := due - clock()) > 0:
                            sleep(left)
                    inbox.put(piece, wait=True)
                    if inbox.stopped.is_set():
                        return
        except Exception as error:  # Whatever it is, the listener has to hear of it.
            inbox.end(error)
        else:
            inbox.end()

    def listen() -> Iterator[Block]:
        player = threading.Thread(target=play, name="file-as-microphone", daemon=True)
        player.start()
        try:
            yield from blocks_from_frames(
                inbox.frames(stop),
                decoder.rate,
                decoder.channels,
                seconds=size / SAMPLE_RATE,
                meter=told,
            )
        finally:
            inbox.stopped.set()
            player.join()

    return listen()


def _listen(
    library: Any,
    device: int | str | None,
    rate: int,
    channels: int,
    size: int,
    meter: LevelMeter,
    stop: threading.Event | None,
) -> Iterator[Block]:
    inbox = Inbox(rate, meter)

    def hand_in(frames: Frames, _count: int, _time: Any, status: Any) -> None:
        if status.input_overflow:
            inbox.overflowed()
        inbox.put(frames)

    asked_to_stop = stop or threading.Event()
    try:
        with library.InputStream(
            samplerate=rate,
            blocksize=round(rate * PIECE_S),
            device=device,
            channels=channels,
            dtype="float32",
            callback=hand_in,
            finished_callback=inbox.end,
        ):
            yield from blocks_from_frames(
                inbox.frames(asked_to_stop),
                rate,
                channels,
                seconds=size / SAMPLE_RATE,
                meter=meter,
            )
    except library.PortAudioError as error:
        raise BadInput(f"The microphone cannot be opened: {error}.") from error
    finally:
        inbox.stopped.set()
    if not asked_to_stop.is_set():
        meter.note(
            SoundWarning(
                code="ends_early", sentence="The microphone stopped before listening was ended."
            )
        )


def _library() -> Any:
    try:
        import sounddevice
    except ModuleNotFoundError as error:
        raise BadInput(
            "Listening to a microphone needs the package sounddevice: install countersign[live]."
        ) from error
    except OSError as error:
        raise BadInput(
            "Listening to a microphone needs the PortAudio library, which is not installed."
        ) from error
    return sounddevice
