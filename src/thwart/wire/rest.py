"""Is the instrument at rest? By its own mark, by the noise of a window of its frames, or by both. O(1) per frame."""

from __future__ import annotations

from collections import deque
from decimal import Decimal
from typing import TYPE_CHECKING, Literal, NamedTuple, Protocol

from msgspec import Struct

from .events import Decoded

if TYPE_CHECKING:
    from ..profiles.model import Settle


#: What tells rest.
Way = Literal["mark", "window", "both"]

#: A window holds at most so many frames, however fast they come: a minute at more than 60 a second.
MOST_FRAMES = 4096


class Seen(NamedTuple):
    """A frame of a stream: when it ended, its value in the base unit, what it said."""

    at_ns: int
    value: Decimal
    decoded: Decoded
    raw: bytes


class Rest(Struct, frozen=True):
    """A value at rest: the frame that stands for it, how far the frames lay apart (base unit), how many they were."""

    seen: Seen
    how: Literal["mark", "window"]
    spread: Decimal
    samples: int


class Detector(Protocol):
    """Looks at every frame; after an `add` that gave True, `rest` says what the value is."""

    def clear(self) -> None:
        """Forget what was seen."""

    def add(self, seen: Seen) -> bool:
        """Whether the instrument is at rest with this frame."""

    def rest(self) -> Rest:
        """The value at rest."""


class ByMark:
    """At rest when so many frames one after another are marked settled and agree within the noise."""

    def __init__(self, frames: int, noise: Decimal) -> None:
        self._frames = frames
        self._noise = noise
        self._count = 0
        self._low = self._high = Decimal(0)
        self._last: Seen | None = None

    def clear(self) -> None:
        """Forget what was seen."""
        self._count = 0

    def add(self, seen: Seen) -> bool:
        """Whether the instrument is at rest with this frame."""
        if not is_marked(seen.decoded):
            self._count = 0
            return False
        value = seen.value
        if self._count:
            self._low, self._high = min(self._low, value), max(self._high, value)
            if self._high - self._low > self._noise:
                self._count = 0
        if not self._count:
            self._low = self._high = value
        self._count += 1
        self._last = seen
        return self._count >= self._frames

    def rest(self) -> Rest:
        """The last frame so marked."""
        assert self._last is not None
        return Rest(self._last, "mark", self._high - self._low, self._count)


class ByWindow:
    """At rest when all frames of the last `span_ns` agree within the noise; a frame marked moving starts it anew.

    Extremes come from two monotonic queues, so a frame costs the same however many the window holds.
    """

    def __init__(self, frames: int, noise: Decimal, span_ns: int, marked: bool) -> None:
        self._frames = frames
        self._noise = noise
        self._span_ns = span_ns
        self._marked = marked
        self._since: int | None = None
        self._window: deque[Seen] = deque()
        self._lows: deque[Seen] = deque()
        self._highs: deque[Seen] = deque()

    def clear(self) -> None:
        """Forget what was seen."""
        self._since = None
        for queue in (self._window, self._lows, self._highs):
            queue.clear()

    def add(self, seen: Seen) -> bool:
        """Whether the instrument is at rest with this frame."""
        if seen.decoded.settled is False:
            self.clear()
            return False
        now, value = seen.at_ns, seen.value
        if self._since is None:
            self._since = now
        lows, highs, window = self._lows, self._highs, self._window
        while lows and lows[-1].value >= value:
            lows.pop()
        lows.append(seen)
        while highs and highs[-1].value <= value:
            highs.pop()
        highs.append(seen)
        window.append(seen)
        oldest = now - self._span_ns
        for queue in (window, lows, highs):
            while queue[0].at_ns < oldest or len(queue) > MOST_FRAMES:
                queue.popleft()
        return (
            now - self._since >= self._span_ns
            and len(window) >= self._frames
            and highs[0].value - lows[0].value <= self._noise
            and (not self._marked or is_marked(seen.decoded))
        )

    def rest(self) -> Rest:
        """The window's median frame (the lower one of two), or the last where it must be marked as well."""
        spread = self._highs[0].value - self._lows[0].value
        if self._marked:
            return Rest(self._window[-1], "mark", spread, len(self._window))
        ordered = sorted(self._window, key=lambda seen: seen.value)
        return Rest(ordered[(len(ordered) - 1) // 2], "window", spread, len(ordered))


def is_marked(decoded: Decoded) -> bool:
    """Whether the instrument itself says it is at rest; its centre of zero counts as that."""
    return decoded.settled is True or (decoded.settled is None and decoded.condition == "zero")


def detector_for(settle: Settle, by: Way, noise: Decimal) -> Detector:
    """The detector of this kind; `noise` in the base unit."""
    if by == "mark":
        return ByMark(settle.frames, noise)
    return ByWindow(settle.frames, noise, round(settle.window_ms * 1e6), marked=by == "both")
