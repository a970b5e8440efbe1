"""The newest question wins: while one is worked on, one waits, and an older one that waited is let go."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any


class Newest:
    """A place for one question that is worked on and one that waits."""

    def __init__(self) -> None:
        self._working = asyncio.Lock()
        self._waiting: asyncio.Event | None = None

    async def ask(self, question: Callable[[], Awaitable[Any]]) -> Any | None:
        """The answer, or None where a newer question came while this one waited."""
        mine = asyncio.Event()
        if self._waiting is not None:
            self._waiting.set()
        self._waiting = mine
        try:
            async with self._working:
                if mine.is_set():
                    return None
                self._waiting = None
                return await question()
        finally:
            if self._waiting is mine:
                self._waiting = None
