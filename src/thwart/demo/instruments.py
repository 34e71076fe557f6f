"""Three simulated instruments: a board that prints each touch, a scale that streams, a label scanner."""

from __future__ import annotations

import math
import threading
import time
from pathlib import Path

from ..ports.simulated import PtyLine, SimulatedLine, TcpLine


def line(link: Path) -> SimulatedLine:
    """A pseudo-terminal where the system has them, else loopback TCP."""
    try:
        return PtyLine(link)
    except (ImportError, OSError):
        return TcpLine()


class Board:
    """Prints `  212 mm` when it is touched."""

    def __init__(self, out: SimulatedLine) -> None:
        self.line = out

    def touch(self, mm: int) -> None:
        """One touch."""
        self.line.send(f"{mm:5d} mm\r\n".encode())


class Scanner:
    """Sends what it reads."""

    def __init__(self, out: SimulatedLine) -> None:
        self.line = out

    def scan(self, text: str) -> None:
        """One scan."""
        self.line.send(text.encode() + b"\r")


class Scale:
    """Streams what lies on it, in grams, marked moving until the ringing has died down."""

    def __init__(self, out: SimulatedLine, rate_hz: float = 25.0) -> None:
        self.line = out
        self._load = 0.0
        self._changed = time.monotonic() - 10
        self._step = 0.0
        self._stop = threading.Event()
        self._rate = rate_hz
        threading.Thread(target=self._stream, name="simulated scale", daemon=True).start()

    def put(self, grams: float) -> None:
        """From now on so much lies on it, all told."""
        self._step, self._load = self._load - grams, grams
        self._changed = time.monotonic()

    def stop(self) -> None:
        """Switch it off."""
        self._stop.set()

    def frame(self, now: float) -> bytes:
        """What it sends at a moment."""
        since = now - self._changed
        ring = self._step * 0.4 * math.exp(-since / 0.06) * math.cos(since * 40)
        moving = since < 0.2
        value = round(self._load + (ring if moving else 0.0))
        return f"{'US' if moving else 'ST'},GS,{'-' if value < 0 else '+'}{abs(value):8.1f},g\r\n".encode()

    def _stream(self) -> None:
        while not self._stop.wait(1 / self._rate):
            self.line.send(self.frame(time.monotonic()))
