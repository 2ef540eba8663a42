"""One connection to the server: it has to ask for something soon, and must not be one of many."""

import asyncio
from collections import Counter
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

PATIENCE_S = 10.0
"""A connection that has not sent the head of a request by then is closed. The server under this has
no such limit: a thousand connections that send a letter a minute would keep everybody else out."""

UPLOAD_S = 1800.0
"""The same for what follows the head: the largest upload at 2.4 Mbit/s."""

MOST_OF_ONE_ADDRESS = 128
"""Connections of one address; a browser opens six and its sockets, and twenty rooms may be on one
machine."""


class Connection(H11Protocol):
    """HTTP by h11, which bounds the headers of a request (64 KiB), with two limits of our own."""

    _of_address: ClassVar[Counter[str]] = Counter()

    def __init__(self, *arguments: Any, **options: Any) -> None:
        """As the server calls it."""
        super().__init__(*arguments, **options)
        self._address: str | None = None
        self._impatience: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count the connection, and close it at once where there are too many."""
        super().connection_made(transport)
        self._address = self.client[0] if self.client else ""
        self._of_address[self._address] += 1
        if self._of_address[self._address] > MOST_OF_ONE_ADDRESS:
            transport.abort()
            return
        self._wait(PATIENCE_S)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._stop_waiting()
        self._forget()
        super().connection_lost(exc)

    def handle_events(self) -> None:
        """Take in what came; whoever has asked for something is waited for no longer."""
        asked = self.cycle
        super().handle_events()
        if self.cycle is None or self.cycle.response_complete:
            return
        if not self.cycle.more_body:
            self._stop_waiting()
        elif self.cycle is not asked:
            self._wait(UPLOAD_S)

    def on_response_complete(self) -> None:
        """The next request of this connection has its own time."""
        if not self.transport.is_closing():
            self._wait(PATIENCE_S)
        super().on_response_complete()

    def handle_websocket_upgrade(self, event: Any) -> None:
        """A socket from here on; it has limits of its own."""
        self._stop_waiting()
        self._forget()
        super().handle_websocket_upgrade(event)

    def _wait(self, seconds: float) -> None:
        self._stop_waiting()
        self._impatience = self.loop.call_later(seconds, self.transport.abort)

    def _stop_waiting(self) -> None:
        if self._impatience is not None:
            self._impatience.cancel()
            self._impatience = None

    def _forget(self) -> None:
        if self._address is not None:
            self._of_address[self._address] -= 1
            if not self._of_address[self._address]:
                del self._of_address[self._address]
            self._address = None
