"""Sound over the socket that the browser's microphone uses too, through breaks of the connection.

What the server has not said it has is kept here and sent again, so that a break neither loses nor
doubles anything; the words of the socket are described in :mod:`countersign.pages.sockets`.
"""

import json
import queue
import struct
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import suppress
from urllib.parse import quote

from pydantic import BaseModel, ConfigDict, ValidationError
from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidURI
from websockets.sync.client import ClientConnection, connect

from countersign.problems import BadInput
from countersign.sound import SAMPLE_RATE, Block
from countersign.streaming.entering import Session

LONGEST_S = 600.0
"""Sound that is kept here while there is no connection; older sound is lost, and told."""

ANEW_S = 30.0
"""How much of it begins a new take where the server takes it for more than time has passed."""

_AGAIN_S = 1.0
_ANSWERS_S = 20.0
_UNANSWERED_S = 4.0
_SIGNED_OUT, _NO_CASE, _TAKEN_OVER, _AHEAD = 4401, 4404, 4409, 4413
_PIECE_BYTES = 2 * SAMPLE_RATE

Tell = Callable[[str], None]
Enter = Callable[[], Session]


class Sent(BaseModel):
    """What came of it, in seconds of sound: sent in all, and lost during a break."""

    model_config = ConfigDict(frozen=True)

    sent_s: float
    lost_s: float


class _Backlog:
    """Pieces of one take that the server is not known to have, in order."""

    def __init__(self) -> None:
        self.take: int | None = None
        self.spoken = 0
        self.sent = 0
        self.lost = 0
        self.passed = 0
        self.pieces: deque[tuple[int, bytes]] = deque()

    @property
    def waiting_s(self) -> float:
        return sum(len(data) for _, data in self.pieces) / 2 / SAMPLE_RATE

    def add(self, data: bytes) -> None:
        for start in range(0, len(data), _PIECE_BYTES):
            piece = data[start : start + _PIECE_BYTES]
            self.pieces.append((self.spoken, piece))
            self.spoken += len(piece) // 2
        self.passed += len(data) // 2
        self.keep(LONGEST_S)

    def keep(self, seconds: float) -> None:
        """Let go of what is older than this."""
        while self.pieces and self.spoken - self.pieces[0][0] > seconds * SAMPLE_RATE:
            self.lost += len(self.pieces.popleft()[1]) // 2

    def answered(self, take: int, have: int) -> None:
        if take != self.take:  # it counts from its own start: what is still here begins it
            first = self.pieces[0][0] if self.pieces else self.spoken
            self.pieces = deque((at - first, data) for at, data in self.pieces)
            self.spoken -= first
            self.take, self.sent = take, 0
        while self.pieces and self.pieces[0][0] + len(self.pieces[0][1]) // 2 <= have:
            self.pieces.popleft()

    def unsent(self) -> Iterator[tuple[int, bytes]]:
        for at, data in self.pieces:
            if at + len(data) // 2 > self.sent:
                yield at, data


class _Answer(BaseModel):
    take: int
    have: int


def send(enter: Enter, case: str, blocks: Iterator[Block], tell: Tell) -> Sent:
    """Send blocks to a case until they end and the server has them all.

    ``enter`` signs in, also again when the session has ended. ``tell`` gets a sentence when the
    connection is lost or back. ``BadInput`` where the server refuses the case or another
    microphone takes over, and what ``blocks`` raises.
    """
    inbox: queue.Queue[bytes | BaseException | None] = queue.Queue()
    reader = threading.Thread(target=_read, args=(blocks, inbox), name="stream", daemon=True)
    backlog, ended, said = _Backlog(), False, ""
    session = enter()
    entered = time.monotonic()
    reader.start()
    while True:
        try:
            with _connected(session, case) as socket:
                _greeted(socket, backlog)
                if said:
                    tell("The connection is back.")
                    said = ""
                while not (ended and not backlog.pieces):
                    ended = _taken_in(inbox, backlog, ended)
                    _exchanged(socket, backlog)
            return Sent(sent_s=backlog.passed / SAMPLE_RATE, lost_s=backlog.lost / SAMPLE_RATE)
        except ConnectionClosed as closed:
            code = closed.rcvd.code if closed.rcvd else 1006
            reason = closed.rcvd.reason if closed.rcvd else ""
            if code in (_NO_CASE, _TAKEN_OVER):
                raise BadInput(reason or "The server refused the sound.") from None
            if code == _SIGNED_OUT:
                if time.monotonic() - entered < 60:
                    raise BadInput(reason or "The session has ended.") from None
                session, entered = enter(), time.monotonic()
                continue
            if code == _AHEAD:
                backlog.take = None
                backlog.keep(ANEW_S)
        except (OSError, InvalidHandshake, TimeoutError, ValidationError):
            pass
        except InvalidURI:
            raise BadInput(f"{session.address} is no address to send sound to.") from None
        until = time.monotonic() + _AGAIN_S
        while (left := until - time.monotonic()) > 0:
            ended = _taken_in(inbox, backlog, ended, wait_s=left)
        words = f"No connection; {backlog.waiting_s:.0f} s of sound are kept here and will be sent."
        if not said:
            tell(words)
        said = words


def _read(blocks: Iterator[Block], inbox: "queue.Queue[bytes | BaseException | None]") -> None:
    try:
        for block in blocks:
            inbox.put(block.samples.astype("<i2").tobytes())
    except BaseException as error:
        inbox.put(error)
    else:
        inbox.put(None)


def _taken_in(
    inbox: "queue.Queue[bytes | BaseException | None]",
    backlog: _Backlog,
    ended: bool,
    wait_s: float = 0.05,
) -> bool:
    """Take in what the source gave, waiting a little; gives whether it has ended."""
    if ended:
        time.sleep(wait_s)
        return True
    with suppress(queue.Empty):
        given = inbox.get(timeout=wait_s)
        while True:
            if given is None:
                return True
            if isinstance(given, BaseException):
                raise given
            backlog.add(given)
            given = inbox.get_nowait()
    return False


def _connected(session: Session, case: str) -> ClientConnection:
    address = session.address.replace("http", "ws", 1)
    return connect(
        f"{address}/cases/{quote(case, safe='')}/hear",
        additional_headers={"Cookie": session.cookies},
        ssl=session.trust,
        open_timeout=_ANSWERS_S,
        close_timeout=2.0,
        proxy=None,
    )


def _greeted(socket: ClientConnection, backlog: _Backlog) -> None:
    socket.send(json.dumps({"take": backlog.take}))
    answer = _Answer.model_validate_json(socket.recv(timeout=_ANSWERS_S))
    backlog.answered(answer.take, answer.have)
    backlog.sent = answer.have


def _exchanged(socket: ClientConnection, backlog: _Backlog) -> None:
    """Send what was not sent, as far as the server keeps up, and read what it says it has."""
    for at, data in list(backlog.unsent()):
        if backlog.pieces and at - backlog.pieces[0][0] > _UNANSWERED_S * SAMPLE_RATE:
            break
        socket.send(struct.pack("<Q", at) + data)
        backlog.sent = at + len(data) // 2
    with suppress(TimeoutError):
        while True:
            message = json.loads(socket.recv(timeout=0))
            if "have" in message:
                backlog.answered(int(message["take"]), int(message["have"]))
