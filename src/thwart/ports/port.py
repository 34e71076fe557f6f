"""What every open port can do."""

from __future__ import annotations

from typing import Protocol


class Port(Protocol):
    """An open port. One thread reads, writes and closes it; `cancel` may be called from any other."""

    def read(self, timeout_s: float) -> bytes:
        """Whatever has come, as soon as anything has; b"" after `timeout_s` seconds or `cancel`. Raises Gone."""

    def write(self, data: bytes) -> None:
        """Send all of `data`. Raises Gone, or PortStuck when the far end takes nothing for a moment."""

    def close(self) -> None:
        """Let go at once, so that a replugged adapter gets its old name back. Never raises; twice is once."""

    def cancel(self) -> None:
        """Make the read under way, or else the next one, return at once."""

    def error_count(self) -> int | None:
        """Framing, parity, overrun and break errors since the system started to count; None where it doesn't."""
