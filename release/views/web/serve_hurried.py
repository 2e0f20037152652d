"""HTTP that does not wait for ever: a request that is slow to come is cut off.

Uvicorn waits for a request's head and body as long as it takes, so that some dozens of connections which send
a byte now and then would keep everybody out. Dropped files may take longer; `write_uploads` watches those.
"""

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

REQUEST_S = 20.0  # for the whole request


class Hurried(H11Protocol):
    """One connection."""

    _late: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        super().connection_made(transport)
        self._watch()

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._watch()

    def connection_lost(self, exc: Exception | None) -> None:
        self._stop()
        super().connection_lost(exc)

    def _watch(self) -> None:
        if self.conn.their_state not in (h11.IDLE, h11.SEND_BODY):
            self._stop()
        elif self._late is None:
            self._late = self.loop.call_later(REQUEST_S, self._cut_off)

    def _stop(self) -> None:
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def _cut_off(self) -> None:
        receiving_body = self.conn.their_state is h11.SEND_BODY
        if not (receiving_body and self.scope["path"].endswith("/drop")):
            self.transport.close()
