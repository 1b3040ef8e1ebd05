"""Work that takes long, in a thread of its own, so that nobody's order waits for somebody's sheet; two at a time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from anyio import CapacityLimiter
from anyio.to_thread import run_sync

Answer = TypeVar("Answer")


class Apart:
    """Await it with a function and its arguments."""

    def __init__(self, most: int = 2) -> None:
        self._places = CapacityLimiter(most)

    async def __call__(self, function: Callable[..., Answer], *told: Any) -> Answer:
        return await run_sync(function, *told, limiter=self._places)
