"""The simulated instruments: a board that prints each touch, a scale and a balance that stream, a scanner, a pedal."""

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

    def touch(self, mm: int, prints: int = 1) -> None:
        """One touch; a stylus that bounces `prints` it more than once, faster than any computer is busy."""
        self.line.send(f"{mm:5d} mm\r\n".encode() * prints)


class Scanner:
    """Sends what it reads."""

    def __init__(self, out: SimulatedLine) -> None:
        self.line = out

    def scan(self, text: str) -> None:
        """One scan."""
        self.line.send(text.encode() + b"\r")


class Pedal:
    """Sends its key's name when it is pressed."""

    def __init__(self, out: SimulatedLine) -> None:
        self.line = out

    def press(self, key: str = "K1") -> None:
        """One press."""
        self.line.send(f"{key}\r\n".encode())


class Scale:
    """Streams what lies on it, in whole grams, marked moving until the ringing has died down."""

    #: How long it moves after a change, and the time in which the ringing falls to a third.
    MOVES_S, RINGS_S = 0.08, 0.03

    def __init__(self, out: SimulatedLine, rate_hz: float = 50.0) -> None:
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

    def shows(self, now: float) -> tuple[float, bool]:
        """What it shows at a moment, in grams, and whether it moves."""
        since = now - self._changed
        ring = self._step * 0.4 * math.exp(-since / self.RINGS_S) * math.cos(since * 40)
        moving = since < self.MOVES_S
        return self._load + (ring if moving else 0.0), moving

    def frame(self, now: float) -> bytes:
        """What it sends at a moment."""
        shown, moving = self.shows(now)
        value = round(shown)
        return f"{'US' if moving else 'ST'},GS,{'-' if value < 0 else '+'}{abs(value):8.1f},g\r\n".encode()

    def _stream(self) -> None:
        while not self._stop.wait(1 / self._rate):
            self.line.send(self.frame(time.monotonic()))


class Balance(Scale):
    """A laboratory balance: more decimals, and the unit is only sent while it is still."""

    def __init__(self, out: SimulatedLine, decimals: int) -> None:
        self._decimals = decimals
        super().__init__(out)

    def frame(self, now: float) -> bytes:
        """What it sends at a moment."""
        shown, moving = self.shows(now)
        value = round(shown, self._decimals) + 0.0
        unit = "   " if moving else "g  "
        whole = 7 + self._decimals
        return f"{'-' if value < 0 else '+'}{abs(value):{whole}.{self._decimals}f} {unit}\r\n".encode()


Instrument = Board | Scanner | Pedal | Scale


def instrument(profile: str, decimals: int, out: SimulatedLine) -> Instrument:
    """The simulated instrument that speaks as a profile says."""
    match profile:
        case "number-unit-length":
            return Board(out)
        case "label-scanner":
            return Scanner(out)
        case "key":
            return Pedal(out)
        case "status-commas-mass":
            return Scale(out)
        case "unit-when-still-mass":
            return Balance(out, decimals)
        case _:
            raise ValueError(f"nothing here speaks as profile {profile}")
