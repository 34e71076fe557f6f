"""The sockets of the pages. Bound at the start, served from the first connection on."""

from __future__ import annotations

import contextlib
import logging
import select
import socket
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from ...errors import ThwartError
from .desk import Desk
from .gate import Gate
from .guard import Entrance

if TYPE_CHECKING:
    import uvicorn

    from .stream import Hub

log = logging.getLogger(__name__)

#: A reader that takes nothing for so long is let go (RFC 5482: the kernel does it).
USER_TIMEOUT_S = 30.0
_CONNECTIONS = 200
_BACKLOG = 128


@dataclass(frozen=True, slots=True)
class Door:
    """A bound socket, what it is, and its certificate and key where it speaks TLS."""

    socket: socket.socket
    entrance: Entrance
    certificate: tuple[Path, Path] | None = None
    port: int = field(init=False)
    """The TCP port, told after the socket is closed too."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "port", int(self.socket.getsockname()[1]))


def bind(address: str, port: int, key: str) -> socket.socket:
    """A listening socket. `key`: what in bench.toml names the port. Raises ThwartError where it is taken."""
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if hasattr(socket, "TCP_USER_TIMEOUT"):
            made.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, int(USER_TIMEOUT_S * 1000))
        made.bind((address, port))
        made.listen(_BACKLOG)
    except OSError as error:
        made.close()
        raise ThwartError(
            f"page port {port} can't be used: {error.strerror}", f"set {key} in bench.toml to a free one, or to 0"
        ) from None
    return made


class Listening:
    """Waits for the first connection in a thread of its own, then serves in it."""

    def __init__(self, doors: Sequence[Door], desk: Desk, gate: Gate, language: str, cookie: str) -> None:
        self.doors = doors
        self._desk, self._gate, self._language, self._cookie = desk, gate, language, cookie
        self._near, self._far = socket.socketpair()
        self._lock = threading.Lock()
        self._servers: list[uvicorn.Server] = []
        self._end: Callable[[], object] = lambda: None
        self.hub: Hub | None = None
        """There from the first connection on."""
        self._stopping = False
        self._thread = threading.Thread(target=self._wait, name="pages", daemon=True)

    def start(self) -> None:
        """Begin to wait."""
        self._thread.start()

    def stop(self) -> None:
        """Serve no more. Returns when the thread has ended, or after a few seconds."""
        with self._lock:
            self._stopping = True
            for server in self._servers:
                server.should_exit = True
        with contextlib.suppress(OSError, RuntimeError):
            self._end()
            self._far.send(b"x")
        if self._thread.ident is not None:
            self._thread.join(5)
        for made in (*(d.socket for d in self.doors), self._near, self._far):
            made.close()

    def _wait(self) -> None:
        select.select([self._near, *(d.socket for d in self.doors)], [], [])
        if self._stopping:
            return
        import asyncio

        try:
            asyncio.run(self._serve())
        except Exception:
            log.exception("fault event=pages")

    async def _serve(self) -> None:
        import asyncio

        import uvicorn

        from .app import Web, application
        from .guard import Guard
        from .stream import Hub

        for name in ("uvicorn.error", "uvicorn.asgi"):
            logging.getLogger(name).setLevel(logging.ERROR)  # what strangers send to a port is no news
        hub = Hub(self._desk.feed)
        app = application(Web(self._desk, self._gate, hub, self._language, self._cookie))
        servers = []
        for door in self.doors:
            cert, key = door.certificate or (None, None)
            config = uvicorn.Config(
                Guard(app, door.entrance, self._language), loop="asyncio", http="h11", ws="none", lifespan="off", log_config=None,
                access_log=False, proxy_headers=False, server_header=False, limit_concurrency=_CONNECTIONS,
                timeout_keep_alive=30, timeout_graceful_shutdown=2, ssl_certfile=cert, ssl_keyfile=key,
            )  # fmt: skip
            servers.append(uvicorn.Server(config))
        loop = asyncio.get_running_loop()
        with self._lock:
            if self._stopping:
                return
            self._servers = servers
            self.hub = hub
            self._end = lambda: loop.call_soon_threadsafe(hub.end)
        async with asyncio.TaskGroup() as group:
            for server, door in zip(servers, self.doors, strict=True):
                group.create_task(server.serve(sockets=[door.socket]))
