"""The clocks that label entries. Order is the sequence number; these only label (and say when they can't be trusted)."""

from __future__ import annotations

import time
import uuid
from datetime import UTC, datetime
from pathlib import Path

from ..entries import Stamp

#: No honest clock is before the day this was written.
_RELEASED = "2026-01-01T00:00:00.000000Z"


def utc_text(unix_ns: int) -> str:
    """RFC 3339 text in UTC with microseconds."""
    moment = datetime.fromtimestamp(unix_ns // 1_000_000_000, UTC)
    return f"{moment:%Y-%m-%dT%H:%M:%S}.{unix_ns % 1_000_000_000 // 1000:06d}Z"


def boot_id() -> str:
    """The system's boot id where it has one (Linux), else a UUID for this start."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        return str(uuid.uuid4())


class Clock:
    """UTC, monotonic time, boot id and whether the UTC clock can be believed: not before the last entry's, nor 2026."""

    def __init__(self, last_utc: str | None) -> None:
        self.boot = boot_id()
        self._last = last_utc or _RELEASED
        self._now = ("", 0)
        self._second = -1
        self._second_text = ""

    def now_ms(self) -> int:
        """Milliseconds since 1970, for new ids."""
        return time.time_ns() // 1_000_000

    def mono_ns(self) -> int:
        """Monotonic nanoseconds."""
        return time.monotonic_ns()

    def utc(self, unix_ns: int) -> str:
        """`utc_text`, with the second's text kept for as long as it lasts."""
        second, rest = divmod(unix_ns, 1_000_000_000)
        if second != self._second:
            self._second, self._second_text = second, utc_text(second * 1_000_000_000)[:20]
        return f"{self._second_text}{rest // 1000:06d}Z"

    def utc_of(self, mono_ns: int) -> str:
        """The UTC label of a monotonic moment, by the clocks as they stand now."""
        return utc_text(time.time_ns() - (time.monotonic_ns() - mono_ns))

    def stamp(self) -> Stamp:
        """The labels of an entry made now."""
        utc = self.utc(time.time_ns())
        sane = utc >= self._last and utc >= _RELEASED
        if sane:
            self._last = utc
        return Stamp(utc, time.monotonic_ns(), self.boot, sane)
