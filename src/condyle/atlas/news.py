"""News to every page that is open: told from any thread, heard by each listener in order."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from typing import Any

HEARTBEAT_S = 15.0
MOST_WAITING = 200

Item = tuple[str, Any]


class News:
    """One sender, any number of listeners. A listener that does not listen is let go when too much waits for it."""

    def __init__(self) -> None:
        self._loop: asyncio.AbstractEventLoop | None = None
        self._queues: set[asyncio.Queue[Item | None]] = set()

    def open(self, loop: asyncio.AbstractEventLoop) -> None:
        """Begin; news told before this is lost, as nobody listens yet."""
        self._loop = loop

    def tell(self, name: str, value: Any) -> None:
        """Tell everybody, from any thread."""
        loop = self._loop
        if loop is not None and not loop.is_closed():
            loop.call_soon_threadsafe(self._put, (name, value))

    def close(self) -> None:
        """End every stream, so that the server can stop."""
        self._loop = None
        self._put(None)

    def _put(self, item: Item | None) -> None:
        for queue in list(self._queues):
            if item is not None and queue.qsize() >= MOST_WAITING:
                self._queues.discard(queue)
                queue.put_nowait(None)
            else:
                queue.put_nowait(item)

    async def listen(self) -> AsyncIterator[Item]:
        """News from now on; a heartbeat when nothing happens, so that a closed page is noticed."""
        queue: asyncio.Queue[Item | None] = asyncio.Queue()
        self._queues.add(queue)
        try:
            yield ("state", None)
            while True:
                try:
                    item = await asyncio.wait_for(queue.get(), HEARTBEAT_S)
                except TimeoutError:
                    item = ("beat", None)
                if item is None:
                    return
                yield item
        finally:
            self._queues.discard(queue)
