"""Connections that never finish asking are closed, so that they cannot pile up."""

from __future__ import annotations

import asyncio

from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0  # within which a request has to have said what it wants


class PatientProtocol(H11Protocol):
    """Closes a connection whose next request has not come whole, but for its body, in time."""

    _hurry: asyncio.TimerHandle | None = None

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
        if self.cycle is not None and not self.cycle.response_complete:
            self._stop()
        elif self._hurry is None:
            self._hurry = self.loop.call_later(HEAD_S, self._give_up)

    def _stop(self) -> None:
        if self._hurry is not None:
            self._hurry.cancel()
            self._hurry = None

    def _give_up(self) -> None:
        self._hurry = None
        if self.cycle is None or self.cycle.response_complete:
            self.transport.close()
