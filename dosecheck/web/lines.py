"""Connections, bounded: a head that never ends, an answer that nobody takes, and too many lines of one machine are cut.

The server bounds only how long a line may rest between two requests; what comes before a request's head is whole, no guard sees.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn import Config
from uvicorn.protocols.http.h11_impl import H11Protocol

from dosecheck.web.guard import whose

HEAD_SECONDS, TAKE_SECONDS = 10.0, 30.0
OF_ONE, OF_ALL = 50, 200  # lines of one machine, of all


def config_of(app: Any, host: str, port: int, secure: dict[str, str]) -> Config:
    """The server's bounds.  No sockets: a line that became one would leave them.

    Raises:
        OSError: the certificate or its key cannot be used.
    """
    config = Config(
        app, http=Line, ws="none", host=host, port=port, log_config=None, access_log=False, server_header=False, date_header=False,
        limit_concurrency=OF_ALL, timeout_keep_alive=10, timeout_graceful_shutdown=3, h11_max_incomplete_event_size=32_768, **secure,
    )  # fmt: skip
    config.load()
    return config


class Line(H11Protocol):
    """One connection."""

    _late: asyncio.TimerHandle | None = None
    _stuck: asyncio.TimerHandle | None = None

    def connection_made(self, transport: Any) -> None:
        super().connection_made(transport)
        mine = whose(self.client[0] if self.client else "")
        if sum(whose(each.client[0] if each.client else "") == mine for each in self.connections) > OF_ONE:
            return transport.abort()
        self._await_head()

    def connection_lost(self, exc: Exception | None) -> None:
        self._late, self._stuck = _ended(self._late), _ended(self._stuck)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        super().data_received(data)
        self._await_head()

    def _await_head(self) -> None:
        """The time runs from the line's first moment, or a head's first byte, and is not lengthened by more bytes."""
        if self.conn.their_state is not h11.IDLE:
            self._late = _ended(self._late)
        elif self._late is None:
            self._late = self.loop.call_later(HEAD_SECONDS, self.transport.abort)

    def pause_writing(self) -> None:
        super().pause_writing()
        self._stuck = self._stuck or self.loop.call_later(TAKE_SECONDS, self.transport.abort)

    def resume_writing(self) -> None:
        super().resume_writing()
        self._stuck = _ended(self._stuck)


def _ended(timer: asyncio.TimerHandle | None) -> None:
    if timer is not None:
        timer.cancel()
