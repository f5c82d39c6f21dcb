"""How long the server waits for a request that was begun, and how many may be begun at once."""

from __future__ import annotations

import asyncio
from typing import Any, ClassVar, Final

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_WITHIN_S: Final = 10.0
"""A connection that has not sent a whole head by then is closed. A browser sends it at once."""
MOST_WAITING: Final = 512
"""Connections without a request; of more, the one that waits longest is closed."""


class PatientProtocol(H11Protocol):
    """HTTP/1.1 on one connection, closed where a request is begun and not sent to the end."""

    waiting: ClassVar[dict[PatientProtocol, None]] = {}
    """Connections that have no request in progress, those that wait longest first."""
    _timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Wait for the head of the first request."""
        super().connection_made(transport)
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._wait_no_longer()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what came; unless it makes a head whole, the waiting goes on."""
        if self._is_idle() and self._timer is None:
            self._wait()
        super().data_received(data)
        if not self._is_idle():
            self._wait_no_longer()

    def _is_idle(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    def _wait(self) -> None:
        self._timer = self.loop.call_later(HEAD_WITHIN_S, self._give_up)
        self.waiting[self] = None
        if len(self.waiting) > MOST_WAITING:
            next(iter(self.waiting))._give_up()

    def _wait_no_longer(self) -> None:
        self.waiting.pop(self, None)
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _give_up(self) -> None:
        self._wait_no_longer()
        if self._is_idle() and not self.transport.is_closing():
            self.transport.close()


def quiet_config(app: Any, **how: Any) -> Any:
    """A configuration of uvicorn with this protocol, without web sockets, which no page uses."""
    import uvicorn

    return uvicorn.Config(app, http=PatientProtocol, ws="none", **how)
