"""A weighing pan that behaves: mass on a damped spring, an indicator that filters, rounds, marks and prints; truth known."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal

from thwart.profiles import Profile, from_mapping
from thwart.wire import Arrival, Channel, Emptied, Reading, Rejected, WireEvent

MS = 1_000_000
S = 1_000_000_000


def profile(division: str = "1", marks: bool = True, **settle: object) -> Profile:
    """A streaming scale in grams: `S  412.0 g` when still, `M ...` while moving, `O` over and `U` under its range."""
    return from_mapping(
        "pan",
        {
            "title": "A pan for tests",
            "kind": "mass",
            "mode": "streams",
            "emptied": "stream",
            "unit": "g",
            "division": division,
            "range": ["0", "6000"],
            "framing": {"terminators": ["\r\n"]},
            "layout": [
                {
                    "pattern": r"(?P<status>[SM?]) (?P<load>[GNB-]) (?P<number>[+-] *[0-9.]+) (?P<unit>g|kg)",
                    "marks": {
                        "status": {"S": "settled", "M": "moving", "?": "normal"}
                        if marks
                        else {"S": "normal", "M": "normal", "?": "normal"},
                        "load": {"G": "gross", "N": "net", "B": "tare", "-": "normal"},
                    },
                },
                {
                    "pattern": r"(?P<state>[OUE])",
                    "marks": {"state": {"O": "overload", "U": "underload", "E": "error"}},
                },
            ],
            "settle": settle,
            "sample": [{"frame": "O\r\n", "condition": "overload"}],
        },
    )


@dataclass
class Pan:
    """`loads` are (from second, grams) steps of what lies on the pan; swell and drift come on top."""

    loads: list[tuple[float, float]]
    division: float = 1.0
    frequency: float = 6.0
    damping: float = 0.15
    noise: float = 0.0
    swell: float = 0.0
    """Relative amplitude of the heave acceleration."""
    swell_period: float = 7.0
    drift: float = 0.0
    """Grams a second."""
    offset: float = 0.0
    rate: float = 20.0
    marked: int = 4
    """Still when so many shown values in a row agree within a division."""
    seed: int = 1
    mark: str = "-"
    _shown: list[float] = field(default_factory=list)

    def lies(self, t: float) -> float:
        """What truly lies on the pan at second `t`."""
        return next((grams for since, grams in reversed(self.loads) if since <= t), 0.0)

    def frames(self, until: float) -> Iterator[tuple[int, bytes]]:
        """(nanoseconds, bytes) of every frame."""
        rng = random.Random(self.seed)
        x = v = self.lies(0.0)
        v = 0.0
        omega, step = 2 * math.pi * self.frequency, 0.001
        next_frame, t = 0.0, 0.0
        while t < until:
            heave = 1 + self.swell * math.sin(2 * math.pi * t / self.swell_period)
            pull = self.lies(t) * heave
            v += step * (omega * omega * (pull - x) - 2 * self.damping * omega * v)
            x += step * v
            t += step
            if t >= next_frame:
                next_frame += 1 / self.rate
                yield round(t * S), self.frame(x + self.offset + self.drift * t + rng.gauss(0, self.noise))

    def frame(self, grams: float) -> bytes:
        """How the indicator prints this value."""
        shown = round(grams / self.division) * self.division
        self._shown = [*self._shown, shown][-self.marked :]
        still = len(self._shown) == self.marked and max(self._shown) - min(self._shown) <= self.division + 1e-9
        sign = "-" if shown < 0 else "+"
        return f"{'S' if still else 'M'} {self.mark} {sign}{abs(shown):7.1f} g\r\n".encode()


def run(channel: Channel, frames: Iterable[tuple[int, bytes]], opened: bool = True) -> list[WireEvent]:
    """Feed the frames; the port was opened half a second before the first."""
    out: list[WireEvent] = []
    for at_ns, raw in frames:
        if opened:
            channel.opened(at_ns - S // 2)
            opened = False
        out += channel.feed(raw, at_ns)
    return out


def written(
    values: Iterable[tuple[str, float] | str], start_ns: int = S, every_ms: int = 100, mark: str = "-"
) -> list[tuple[int, bytes]]:
    """Frames by hand: `("S", 412)`, or a bare letter for a frame without a number."""
    out = []
    for number, value in enumerate(values):
        at = start_ns + number * every_ms * MS
        if isinstance(value, str):
            out.append((at, f"{value}\r\n".encode()))
        else:
            status, grams = value
            out.append((at, f"{status} {mark} {'-' if grams < 0 else '+'}{abs(grams):7.1f} g\r\n".encode()))
    return out


def readings(events: Iterable[WireEvent]) -> list[Reading]:
    return [e for e in events if isinstance(e, Reading)]


def arrivals(events: Iterable[WireEvent]) -> list[Arrival]:
    return [e for e in events if isinstance(e, Arrival)]


def emptyings(events: Iterable[WireEvent]) -> list[Emptied]:
    return [e for e in events if isinstance(e, Emptied)]


def rejects(events: Iterable[WireEvent]) -> list[Rejected]:
    return [e for e in events if isinstance(e, Rejected)]


def story(events: Iterable[WireEvent]) -> list[str]:
    """The events in short: `arrived`, `412.0`, `emptied`."""
    names: dict[type, Callable[[WireEvent], str]] = {
        Arrival: lambda e: "arrived",
        Emptied: lambda e: "emptied",
        Rejected: lambda e: f"rejected {e.reason}" if isinstance(e, Rejected) else "",
        Reading: lambda e: _reading(e),
    }
    return [names[type(event)](event) for event in events]


def _reading(event: WireEvent) -> str:
    assert isinstance(event, Reading)
    text = event.text or (str(event.value) if event.value is not None else event.condition)
    return ("tare " if event.load == "tare" else "") + text + (f" ({event.plateau})" if event.plateau > 1 else "")


def grams(event: Reading) -> Decimal:
    assert event.value is not None
    return event.value
