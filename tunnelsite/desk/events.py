"""Server-sent events: what every open page is told at once."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

MOST_WAITING = 200  # of one page that does not listen any more
QUIET_S = 15.0


class Events:
    """Everything that is published reaches every listener; one that falls behind is let go and connects again."""

    def __init__(self) -> None:
        self._listeners: set[asyncio.Queue[str | None]] = set()

    def publish(self, event: str, data: dict[str, Any]) -> None:
        """Tell every page."""
        text = f"event: {event}\ndata: {json.dumps(data)}\n\n"
        for queue in list(self._listeners):
            if queue.qsize() >= MOST_WAITING:
                self._listeners.discard(queue)
            else:
                queue.put_nowait(text)

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        for queue in self._listeners:
            queue.put_nowait(None)
        self._listeners.clear()

    async def stream(self, hello: dict[str, Any]) -> AsyncIterator[str]:
        """The events of one page, from now on."""
        queue: asyncio.Queue[str | None] = asyncio.Queue()
        self._listeners.add(queue)
        try:
            yield f"event: hello\ndata: {json.dumps(hello)}\n\n"
            while queue in self._listeners or not queue.empty():
                try:
                    text = await asyncio.wait_for(queue.get(), QUIET_S)
                except TimeoutError:
                    text = ": quiet\n\n"
                if text is None:
                    return
                yield text
        finally:
            self._listeners.discard(queue)
