"""Reading and writing anything the system can wait on: a terminal's descriptor or a socket."""

from __future__ import annotations

import contextlib
import selectors
import socket
import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from thwart.ports.faults import Gone, PortStuck

if TYPE_CHECKING:
    from _typeshed import HasFileno

READ_SIZE = 65536
#: How long a write waits for a far end that takes nothing. Short, for reading waits meanwhile.
WRITE_LIMIT_S = 0.3


def no_count() -> int | None:
    """For ports whose line errors nobody counts."""
    return None


class Stream:
    """A port over a non-blocking file. A read costs two system calls: one that waits, one that takes all there is."""

    def __init__(
        self,
        file: HasFileno | int,
        receive: Callable[[int], bytes],
        send: Callable[[bytes], int],
        release: Callable[[], None],
        end: str,
        count: Callable[[], int | None] = no_count,
    ) -> None:
        self._file = file
        self._receive = receive
        self._send = send
        self._release = release
        self._end = end
        self.error_count = count
        self._lock = threading.Lock()
        self._closed = False
        # A pair of sockets rather than a pipe: elsewhere than on POSIX only sockets can be waited on.
        self._woken, self._waker = socket.socketpair()
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._woken, selectors.EVENT_READ)
        self._key = self._selector.register(file, selectors.EVENT_READ)

    def read(self, timeout_s: float) -> bytes:
        """See Port."""
        data = b""
        for key, _ in self._selector.select(max(timeout_s, 0.0)):
            if key is self._key or key.fd == self._key.fd:
                data = self._take()
            else:
                self._woken.recv(READ_SIZE)
        return data

    def _take(self) -> bytes:
        try:
            data = self._receive(READ_SIZE)
        except (BlockingIOError, InterruptedError):
            return b""
        except OSError as error:
            raise Gone(f"{error.strerror or error} on reading") from None
        if not data:
            # Ready to read, yet nothing to read: the system's way of saying that the far end is no more. Taking it for
            # "nothing yet" would spin at full speed for ever.
            raise Gone(self._end)
        return data

    def write(self, data: bytes) -> None:
        """See Port."""
        deadline = time.monotonic() + WRITE_LIMIT_S
        rest = memoryview(data)
        while rest:
            try:
                rest = rest[self._send(bytes(rest)) :]
            except (BlockingIOError, InterruptedError):
                left = deadline - time.monotonic()
                if left <= 0 or not self._writable(left):
                    raise PortStuck(
                        f"the far end took {len(data) - len(rest)} of {len(data)} bytes and no more",
                        "check flow control in the instrument's profile and that the instrument is on",
                    ) from None
            except OSError as error:
                raise Gone(f"{error.strerror or error} on writing") from None

    def _writable(self, timeout_s: float) -> bool:
        with selectors.DefaultSelector() as once:
            once.register(self._file, selectors.EVENT_WRITE)
            return bool(once.select(timeout_s))

    def cancel(self) -> None:
        """See Port."""
        with self._lock:
            if not self._closed:
                self._waker.send(b".")

    def close(self) -> None:
        """See Port."""
        # Under the lock, for `cancel` must never write to a descriptor number that already means another file.
        with self._lock:
            if self._closed:
                return
            self._closed = True
            self._selector.close()
            with contextlib.suppress(OSError):
                self._release()
            self._woken.close()
            self._waker.close()
