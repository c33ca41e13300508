"""Connections that do not move are closed: slow and lost clients cannot use the server up.

A phone that leaves the Wi-Fi in the middle of an upload says no goodbye. Its connection would
stay, and with it the hold on its photo, until the system gives it up hours later.
"""

import asyncio
import contextlib
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_SECONDS = 10.0
"""Within which a request's head must have come as a whole (own rule)."""
STALLED_SECONDS = 15.0
"""Without a byte in or out after which a body or an answer is given up (own rule); the page sends
a piece again after 30 s, and then finds its photo free."""
LOOK_SECONDS = 1.0

MOST_CONNECTIONS = 400
"""At once, of all phones; Linux gives a process 1024 files (own rule)."""
MOST_OF_ONE = 250
"""At once, of one address: a browser opens six, and many phones may stand behind one (own rule)."""
SPARE_FILES = 100
"""For the ledger, the photos under way and the workers (own rule)."""


class PatientProtocol(H11Protocol):
    """HTTP as uvicorn speaks it, but it waits for nobody forever."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self.free_since = self._moved = self.loop.time()
        self._unsent = 0

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Watch a new connection; where there are too many, close the one that idled longest."""
        super().connection_made(transport)
        all_ = [one for one in self.connections if isinstance(one, PatientProtocol)]
        own = [one for one in all_ if _address(one) == _address(self)]
        for some, most in ((own, MOST_OF_ONE), (all_, most_connections())):
            if len(some) > most:
                idle = [one for one in some if one.is_idle and one is not self]
                min(idle, key=lambda one: one.free_since, default=self).transport.abort()
        self.loop.call_later(LOOK_SECONDS, self._look)

    @property
    def is_idle(self) -> bool:
        """Return whether no request is being answered."""
        return self.cycle is None or self.cycle.response_complete

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no HTTP; also where a request's body stops being one in the middle."""
        if not self.is_idle:
            self.cycle.disconnected = True  # the answer that is on its way goes nowhere
            self.cycle.message_event.set()
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            super().send_400_response(msg)
        else:
            self.transport.abort()

    def data_received(self, data: bytes) -> None:
        """Take what has come."""
        self._moved = self.loop.time()
        super().data_received(data)

    def on_response_complete(self) -> None:
        """Wait for the next request from now on."""
        self.free_since = self.loop.time()
        super().on_response_complete()

    def _look(self) -> None:
        """Close the connection if it is the other side's turn and has been for too long."""
        if self not in self.connections:
            return
        if self._is_given_up(self.loop.time()):
            self.transport.abort()
            return
        self.loop.call_later(LOOK_SECONDS, self._look)

    def _is_given_up(self, now: float) -> bool:
        unsent = self.transport.get_write_buffer_size()
        if unsent != self._unsent:
            self._unsent, self._moved = unsent, now
        if unsent:
            self.free_since = now
            return now - self._moved > STALLED_SECONDS
        if self.is_idle:
            # Also where an answer was given before the body had come: nobody reads that any more.
            return now - self.free_since > HEAD_SECONDS
        if self.conn.their_state is h11.SEND_BODY and not self.flow.read_paused:
            return now - self._moved > STALLED_SECONDS
        self._moved = now  # our turn
        return False


def most_connections() -> int:
    """Return how many connections may be open at once, by the files that a process may open."""
    with contextlib.suppress(ImportError):  # only Unix limits them so
        import resource

        soft, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
        if soft != resource.RLIM_INFINITY:
            return max(1, min(MOST_CONNECTIONS, soft - SPARE_FILES))
    return MOST_CONNECTIONS


def _address(connection: Any) -> str | None:
    return connection.client[0] if connection.client else None
