"""The feed as server-sent events (HTML Living Standard, 9.2): one hub in the server's loop, one queue a reader."""

from __future__ import annotations

import asyncio
import contextlib
from collections import deque
from collections.abc import AsyncIterator, Iterator
from typing import Any

from starlette.concurrency import run_in_threadpool

from ..feed import Alarm, Committed, Feed, alarm_changes, one_line
from .desk import Desk
from .guard import Receive, Scope, Send

#: A reader hears at least so often that all is well.
ALIVE_S = 2.0
#: Groups a reader may lag behind before it must catch up from the ledger.
_LAG = 1000
#: Events are sent together up to about this size.
_CHUNK = 32_768


class Reader:
    """One reader's queue."""

    def __init__(self) -> None:
        self._groups: deque[Committed] = deque()
        self._lost = False
        self._event = asyncio.Event()
        self.gone = False

    def put(self, groups: list[Committed], lost: bool) -> None:
        """More came; or only: look at the alarms."""
        if lost or len(self._groups) + len(groups) > _LAG:
            self._groups.clear()
            self._lost = True
        self._groups.extend(groups)
        self._event.set()

    def end(self) -> None:
        """Nothing more comes, or nobody hears it."""
        self.gone = True
        self._event.set()

    async def take(self, timeout_s: float) -> tuple[list[Committed], bool]:
        """What came, and whether something was missed before it."""
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._event.wait(), timeout_s)
        groups, lost = list(self._groups), self._lost
        self._groups.clear()
        self._lost = False
        self._event.clear()
        return groups, lost


class Hub:
    """Follows the feed once for all readers: the clerk pays for one, however many there are."""

    def __init__(self, feed: Feed) -> None:
        self.feed = feed
        self._readers: list[Reader] = []
        self._loop = asyncio.get_running_loop()
        self._follower = feed.follow(self._wake)
        self._ended = False
        self.served = 0
        """Readers so far."""

    @property
    def readers(self) -> int:
        """How many follow now."""
        return len(self._readers)

    @contextlib.contextmanager
    def reader(self) -> Iterator[Reader]:
        """A reader, for as long as it lasts."""
        reader = Reader()
        self._readers.append(reader)
        self.served += 1
        if self._ended:
            reader.end()
        try:
            yield reader
        finally:
            self._readers.remove(reader)

    def end(self) -> None:
        """Send every reader away."""
        self._ended = True
        self.feed.leave(self._follower)
        for reader in self._readers:
            reader.end()

    def _wake(self) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is closed: nobody is left to hear
            self._loop.call_soon_threadsafe(self._pass_on)

    def _pass_on(self) -> None:
        groups, lost = self._follower.take(0)
        for reader in self._readers:
            reader.put(groups, lost)


class FeedResponse:
    """An ASGI application that answers one request with the feed."""

    def __init__(self, desk: Desk, hub: Hub, since: int | None, language: str) -> None:
        self._desk = desk
        self._hub = hub
        self._since = since
        self._language = language

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send until the reader goes or the service stops."""
        headers = [(b"content-type", b"text/event-stream; charset=utf-8")]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        with self._hub.reader() as reader:
            watching = asyncio.create_task(_until_gone(receive, reader))
            try:
                async for chunk in self._chunks(reader):
                    await send({"type": "http.response.body", "body": chunk, "more_body": True})
                await send({"type": "http.response.body", "body": b""})
            except OSError:
                pass  # the reader went
            finally:
                watching.cancel()

    async def _chunks(self, reader: Reader) -> AsyncIterator[bytes]:
        told: dict[str, Alarm] = {}
        since = self._desk.committed() if self._since is None else self._since
        yield b"retry: 1000\n" + (f"id: {since}\n".encode() if self._since is None else b"") + self._alive()
        behind = True
        while True:
            for change in alarm_changes(told, self._hub.feed.alarms, self._language):
                yield b"event: alarm\ndata: " + one_line(change).encode() + b"\n\n"
            groups, lost = ([], False) if behind else await reader.take(ALIVE_S)
            while (behind or lost) and not reader.gone and (found := await run_in_threadpool(self._desk.read, since)):
                for chunk in self._events(found, since):
                    yield chunk
                since = found[-1].last
            fresh = [g for g in groups if g.last > since]
            for chunk in self._events(fresh, since):
                yield chunk
            if fresh:
                since = fresh[-1].last
            elif not behind and not groups and not reader.gone:
                yield self._alive()
            if reader.gone:
                return
            behind = False

    def _events(self, groups: list[Committed] | Any, since: int) -> Iterator[bytes]:
        parts: list[str] = []
        size = 0
        for group in groups:
            for seq, text in group.texts(self._language, since):
                parts.append(f"id: {seq}\ndata: {text}\n\n")
                size += len(text)
            if size > _CHUNK:
                yield "".join(parts).encode()
                parts, size = [], 0
        if parts:
            yield "".join(parts).encode()

    def _alive(self) -> bytes:
        return b'event: alive\ndata: {"committed_seq": %d}\n\n' % self._desk.committed()


async def _until_gone(receive: Receive, reader: Reader) -> None:
    while (await receive())["type"] != "http.disconnect":
        pass
    reader.end()
