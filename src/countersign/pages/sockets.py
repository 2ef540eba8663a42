"""The two sockets of a case: sound coming in from a microphone, and news going out to pages.

Sound socket, ``/cases/CASE/hear``. The browser begins with a text message ``{"take": T}``, where
``T`` is the take it was given before, or ``null``. The server answers ``{"take": T, "have": n}``:
the browser sends its sound from sample ``n`` of that take on, in binary messages of an unsigned
64-bit little-endian sample number followed by int16 samples at 16 kHz. The server says how much it
has with ``{"have": n}``; a piece that was sent before is not kept twice. A microphone that starts
a new take ends the take of another one: ``{"taken_over": true}``. Sound that cannot have been
spoken yet is refused (close code 4413): a case never has more of it than time has passed, and a
minute.

News socket, ``/cases/CASE/watch``. The server sends ``{"changed": true}`` when the record is not
what it was, ``{"partial": "words", "behind": s}`` while somebody speaks (``s`` is 0 unless the
words come seconds late; ``{"behind": 0}`` alone when they no longer do), and ``{"alive": true}``
now and then.
"""

import asyncio
import contextlib
import json
import logging
import struct
from collections import Counter
from collections.abc import Iterator

from fastapi import APIRouter, WebSocket, WebSocketDisconnect
from starlette.concurrency import run_in_threadpool

from countersign.ledger import read_case
from countersign.listening.kept_sound import SoundEnded
from countersign.pages.guard import is_own_origin
from countersign.pages.rooms import Room, Rooms
from countersign.pages.sessions import NotSignedIn, who_is
from countersign.problems import BadInput

_log = logging.getLogger(__name__)

LARGEST_PIECE = 4 * 16_000 * 2 + 8
"""Bytes of one piece of sound: four seconds and its number."""

MOST_OF_ONE_ADDRESS = 128
"""Sockets that one address may have open at a time: twenty rooms, each with a few pages."""

_ALIVE_S = 15.0
_FIRST_WORD_S = 10.0
_REFUSED, _TAKEN_OVER, _NO_CASE, _AHEAD, _TOO_MANY = 4401, 4409, 4404, 4413, 4429


def socket_routes(rooms: Rooms) -> APIRouter:
    """The routes of both sockets."""
    router = APIRouter()
    crowd: Counter[str] = Counter()

    @router.websocket("/cases/{case_id}/hear")
    async def hear(socket: WebSocket, case_id: str) -> None:
        if await _accepted(socket, deciding=True):
            with _counted(socket, crowd) as few:
                await (_heard(socket, case_id) if few else _turned_away(socket))

    @router.websocket("/cases/{case_id}/watch")
    async def watch(socket: WebSocket, case_id: str) -> None:
        if await _accepted(socket):
            with _counted(socket, crowd) as few:
                await (_watched(socket, case_id) if few else _turned_away(socket))

    async def _heard(socket: WebSocket, case_id: str) -> None:
        try:
            room = await run_in_threadpool(rooms.room, case_id)
        except BadInput as problem:
            await socket.close(_NO_CASE, str(problem)[:120])
            return
        with contextlib.suppress(WebSocketDisconnect, RuntimeError):
            await _take_sound(socket, rooms, room)

    async def _watched(socket: WebSocket, case_id: str) -> None:
        try:
            await run_in_threadpool(read_case, rooms.ledger, case_id)
        except BadInput as problem:
            await socket.close(_NO_CASE, str(problem)[:120])
            return
        with contextlib.suppress(WebSocketDisconnect, RuntimeError):
            await _send_news(socket, rooms, case_id)

    return router


async def _accepted(socket: WebSocket, *, deciding: bool = False) -> bool:
    """Whether the socket is from a signed-in page of this server, and with ``deciding`` of someone
    who confirms lines: whoever only looks back adds no sound. Refused sockets are closed.
    """
    try:
        if not is_own_origin(socket) or (not who_is(socket).may_decide and deciding):
            raise NotSignedIn
    except NotSignedIn:
        await socket.accept()
        await socket.close(_REFUSED, "Sign in first.")
        return False
    await socket.accept()
    return True


@contextlib.contextmanager
def _counted(socket: WebSocket, crowd: Counter[str]) -> Iterator[bool]:
    """Whether the address of this socket has few enough, itself among them."""
    address = socket.client.host if socket.client else ""
    crowd[address] += 1
    try:
        yield crowd[address] <= MOST_OF_ONE_ADDRESS
    finally:
        crowd[address] -= 1
        if not crowd[address]:
            del crowd[address]


async def _turned_away(socket: WebSocket) -> None:
    await socket.close(_TOO_MANY, "Too many pages are open on this device.")


def _is_over(socket: WebSocket) -> bool:
    """Whether the session has ended since the socket was opened."""
    try:
        who_is(socket)
    except NotSignedIn:
        return True
    return False


async def _take_sound(socket: WebSocket, rooms: Rooms, room: Room) -> None:
    try:
        asked = await _asked_take(socket)
    except TimeoutError:
        await socket.close(1002, "Nothing was asked for.")
        return
    if asked is None or asked != room.take:
        room.new_take()
    take = room.take
    while True:
        await socket.send_text(json.dumps({"take": take, "have": _have(room)}))
        message = await socket.receive()
        if message["type"] != "websocket.receive":
            return
        piece = message.get("bytes")
        if piece is None:
            continue
        if _is_over(socket):
            await socket.close(_REFUSED, "Sign in first.")
            return
        if take != room.take:
            await socket.send_text(json.dumps({"taken_over": True}))
            await socket.close(_TAKEN_OVER, "Another microphone was started for this case.")
            return
        if not 8 < len(piece) <= LARGEST_PIECE or len(piece) % 2:
            await socket.close(1003, "This is not a piece of sound.")
            return
        (at,) = struct.unpack_from("<Q", piece)
        try:
            if room.is_ahead(room.base + at + (len(piece) - 8) // 2):
                await socket.close(_AHEAD, "The sound runs ahead of the clock.")
                return
            missing = at > _have(room)
            await run_in_threadpool(room.listener.feed, room.base + at, piece[8:])
            rooms.see_whether_late(room.case_id)
            if missing:  # the case has a remark on it now
                rooms.tell(room.case_id, {"changed": True})
        except SoundEnded as problem:
            await socket.close(_NO_CASE, str(problem))
            return
        except BadInput as problem:
            rooms.tell(room.case_id, {"trouble": str(problem)})
            await socket.close(1011, str(problem)[:120])
            return


async def _asked_take(socket: WebSocket) -> int | None:
    try:
        first = await asyncio.wait_for(socket.receive_text(), _FIRST_WORD_S)
        asked = json.loads(first)["take"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return asked if isinstance(asked, int) else None


def _have(room: Room) -> int:
    return room.listener.sound.samples - room.base


async def _send_news(socket: WebSocket, rooms: Rooms, case_id: str) -> None:
    queue = rooms.watch(case_id)
    gone = asyncio.ensure_future(_until_gone(socket))
    try:
        await socket.send_text(json.dumps({"changed": True}))  # something may have been missed
        while not gone.done():
            coming = asyncio.ensure_future(queue.get())
            done, _ = await asyncio.wait(
                {coming, gone}, timeout=_ALIVE_S, return_when=asyncio.FIRST_COMPLETED
            )
            if _is_over(socket):
                coming.cancel()
                await socket.close(_REFUSED, "Sign in first.")
                return
            if coming in done:
                await socket.send_text(json.dumps(coming.result()))
            else:
                coming.cancel()
                rooms.see_whether_late(case_id)
                if gone not in done:
                    await socket.send_text(json.dumps({"alive": True}))
    finally:
        gone.cancel()
        rooms.unwatch(case_id, queue)


async def _until_gone(socket: WebSocket) -> None:
    with contextlib.suppress(WebSocketDisconnect, RuntimeError):
        while (await socket.receive())["type"] != "websocket.disconnect":
            pass
