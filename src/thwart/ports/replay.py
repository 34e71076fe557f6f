"""A capture played as a port: the chunks it holds, with the gaps they came with."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from thwart.ports.capture import Capture, read_capture
from thwart.ports.faults import Ended


class ReplayPort:
    """Plays `capture` from the first read on. `pace` 2 is twice as fast; infinite leaves the gaps out."""

    def __init__(self, capture: Capture, pace: float = 1.0, clock: Callable[[], int] = time.monotonic_ns) -> None:
        """Raises ValueError for a pace that isn't above zero."""
        if not pace > 0:
            raise ValueError(f"a pace must be above zero, not {pace}")
        self._chunks = iter(capture.chunks)
        self._next = next(self._chunks, None)
        self._pace = pace
        self._clock = clock
        self._start_ns: int | None = None
        self._cancelled = threading.Event()

    @classmethod
    def from_file(cls, path: str, pace: float = 1.0) -> ReplayPort:
        """Play the capture in `path`; raises ConfigError or NotFound as read_capture does."""
        return cls(read_capture(path), pace)

    def read(self, timeout_s: float) -> bytes:
        """See Port. Raises Ended after the last chunk."""
        if self._next is None:
            raise Ended("the capture is played to its end")
        now = self._clock()
        if self._start_ns is None:
            self._start_ns = now
        wait_s = (self._start_ns - now + self._next.at_ns / self._pace) / 1e9
        if wait_s > 0 and (self._wait(min(wait_s, timeout_s)) or wait_s > timeout_s):
            return b""
        data = self._next.data
        self._next = next(self._chunks, None)
        return data

    def _wait(self, seconds: float) -> bool:
        cancelled = self._cancelled.wait(max(seconds, 0.0))
        self._cancelled.clear()
        return cancelled

    def write(self, data: bytes) -> None:
        """See Port. Nobody listens: the answers of an instrument that was asked stand in the capture."""

    def cancel(self) -> None:
        """See Port."""
        self._cancelled.set()

    def close(self) -> None:
        """See Port."""

    def error_count(self) -> int | None:
        """See Port."""
        return None
