"""Bytes → frames. Any chunking of the same bytes gives the same frames; framing by silence depends on (byte, time) only.

Torn frames that still decode (`1412.0 g` cut to `12.0 g`) are the worst enemy, so a framer starts out distrustful: what
comes before the first end of a frame is discarded, unless there was silence before its first byte.

The rules, in one place:

- After opening or a line error, the first byte starts a frame only when `SILENCE_NS` passed before it; else everything
  up to and with the first end of a frame is discarded as `torn` (or `line-error`).
- A frame longer than the limit is `too-long`, and so is what follows up to its end. Discarded bytes come out in pieces
  of at most the limit, cut at places that don't depend on the chunking.
- A silence longer than the pause inside a frame makes it a `gap`: neither the part before nor the rest after it can be
  told from a whole frame. After `FRESH_PAUSES` pauses the rest can't be a rest any more, and frames count again.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from .events import Frame, RejectReason

if TYPE_CHECKING:
    from ..profiles.model import Framing

#: This much silence before a byte makes it a frame's first.
SILENCE_NS = 100_000_000
#: After so many pauses of silence what comes is no rest of an interrupted frame.
FRESH_PAUSES = 5
#: Many bytes at once, a whole capture say, are taken in blocks, so that cutting them up costs the same for each.
BLOCK = 4096


class Framer:
    """What all framings share: the buffer and its times, and whether to trust what comes next."""

    def __init__(self, framing: Framing) -> None:
        self._limit = framing.max_length
        self._pause_ns = round(framing.pause_ms * 1e6)
        self._buffer = b""
        self._first_ns = 0
        self._last_ns: int | None = None
        self._offset = 0
        self._since: int | None = None
        self._discarding: RejectReason | None = "torn"

    def opened(self, at_ns: int) -> None:
        """The port was opened: forget everything, distrust what comes first."""
        self._buffer = b""
        self._offset = 0
        self._last_ns = None
        self._distrust("torn", at_ns)

    def start_trusted(self) -> None:
        """The next byte begins a frame: for bytes known to start at one (samples, a capture cut by hand)."""
        self._since = None
        self._discarding = None

    def line_error(self, at_ns: int) -> list[Frame]:
        """A framing, parity or overrun error was counted: refuse what is under way and synchronise anew."""
        out: list[Frame] = []
        self._reject(out, len(self._buffer), "line-error")
        self._distrust("line-error", at_ns)
        return out

    def closed(self) -> list[Frame]:
        """The port went: what is buffered is torn."""
        out: list[Frame] = []
        self._reject(out, len(self._buffer), self._discarding or "torn")
        self._discarding = "torn"
        self._since = None
        return out

    @property
    def next_wake(self) -> int | None:
        """When silence will mean something, in monotonic nanoseconds."""
        return self._last_ns + self._pause_ns if self._buffer and self._last_ns is not None else None

    def wake(self, at_ns: int) -> list[Frame]:
        """Time passed without bytes: what silence means by now."""
        out: list[Frame] = []
        due = self.next_wake
        if due is not None and at_ns >= due:
            self._silence(out)
        return out

    def feed(self, data: bytes, at_ns: int) -> list[Frame]:
        """Frames that end in `data`, and bytes that can't be frames, in their order."""
        if not data:
            return []
        out = self.wake(at_ns)
        if self._since is not None:
            if at_ns - self._since >= SILENCE_NS:
                self._discarding = None
            self._since = None
        elif self._discarding is not None and self._last_ns is not None and self._fresh(at_ns - self._last_ns):
            self._reject(out, len(self._buffer), self._discarding)
            self._discarding = None
        self._last_ns = at_ns
        for place in range(0, len(data), BLOCK):
            if self._buffer:
                self._buffer += data[place : place + BLOCK]
            else:
                self._buffer = data[place : place + BLOCK]
                self._first_ns = at_ns
            self._split(out, at_ns)
        return out

    def _fresh(self, silence_ns: int) -> bool:
        return silence_ns >= FRESH_PAUSES * self._pause_ns

    def _silence(self, out: list[Frame]) -> None:
        self._discarding = self._discarding or "gap"
        self._reject(out, len(self._buffer), self._discarding)

    def _distrust(self, reason: RejectReason, at_ns: int) -> None:
        self._discarding = reason
        self._since = at_ns

    def _reject(self, out: list[Frame], size: int, reason: RejectReason) -> None:
        """Move the buffer's first `size` bytes into `out` as rejected."""
        self._take(out, size, size, self._last_ns or 0, reason)

    def _take(self, out: list[Frame], size: int, used: int, at_ns: int, fault: RejectReason | None = None) -> None:
        """Move the buffer's first `size` bytes into `out` and drop it up to `used`; what is left came at `at_ns`."""
        if size:
            out.append(Frame(self._buffer[:size], self._first_ns, at_ns, self._offset, fault))
        self._drop(used, at_ns)

    def _drop(self, used: int, at_ns: int) -> None:
        self._buffer = self._buffer[used:]
        self._offset += used
        self._first_ns = at_ns

    def _split(self, out: list[Frame], at_ns: int) -> None:
        raise NotImplementedError


class TerminatorFramer(Framer):
    """Frames that end with one of a few terminators. Frames of no bytes are none."""

    def __init__(self, framing: Framing) -> None:
        super().__init__(framing)
        # Longest first, so that of two that end together (CR LF and LF) the longer one is taken.
        ends = sorted(framing.terminators, key=len, reverse=True)
        self._end = ends[0]
        self._find = None if len(ends) == 1 else re.compile(b"|".join(re.escape(end) for end in ends)).search
        self._reach = len(ends[0])
        self._filler = framing.filler

    def _split(self, out: list[Frame], at_ns: int) -> None:
        buffer, limit, filler, find = self._buffer, self._limit, self._filler, self._find
        start, size = 0, len(buffer)
        first, base = self._first_ns, self._offset
        while start < size:
            if self._discarding is None:
                while start < size and buffer[start] in filler:
                    start += 1
                    first = at_ns
            if find is None:
                end = buffer.find(self._end, start)
                after = end + self._reach
            else:
                match = find(buffer, start)
                end, after = match.span() if match else (-1, -1)
            while end - start > limit or (end < 0 and size - start >= limit + self._reach):
                self._discarding = self._discarding or "too-long"
                out.append(Frame(buffer[start : start + limit], first, at_ns, base + start, self._discarding))
                start += limit
            if end < 0:
                break
            if end > start:
                out.append(Frame(buffer[start:end], first, at_ns, base + start, self._discarding))
            self._discarding = None
            start, first = after, at_ns
        self._buffer, self._first_ns, self._offset = buffer[start:], first, base + start


class StartEndFramer(Framer):
    """Frames from start bytes to end bytes and a fixed number of check bytes, which may have any value."""

    def __init__(self, framing: Framing) -> None:
        super().__init__(framing)
        self._start = framing.start
        self._end = framing.end
        self._tail = len(framing.end) + framing.check_bytes
        self._filler = framing.filler

    def _silence(self, out: list[Frame]) -> None:
        # The rest of an interrupted frame has no start, so nothing more need be discarded.
        inside = self._buffer.startswith(self._start)
        self._reject(out, len(self._buffer), self._discarding or ("gap" if inside else "torn"))

    def _split(self, out: list[Frame], at_ns: int) -> None:
        while self._buffer and self._step(out, at_ns):
            pass

    def _step(self, out: list[Frame], at_ns: int) -> bool:
        """Take one frame or one refused piece off the buffer; False when more bytes are needed."""
        if self._discarding is not None:
            return self._discard(out, at_ns)
        if not self._buffer.startswith(self._start):
            return self._hunt(out, at_ns)
        # Only the first `limit` bytes are looked at, so that the outcome doesn't depend on how many have come.
        window, inside = self._buffer[: self._limit], len(self._start)
        end = window.find(self._end, inside)
        again = window.find(self._start, inside, end + len(self._end) - 1 if end >= 0 else len(window))
        if again >= 0:
            self._take(out, again, again, at_ns, "torn")
            return True
        if 0 <= end <= self._limit - self._tail:
            size = end + self._tail
            if len(self._buffer) < size:
                return False
            self._take(out, size, size, at_ns)
            return True
        if len(window) < self._limit:
            return False
        self._discarding = "too-long"
        self._take(out, self._limit, self._limit, at_ns, "too-long")
        return True

    def _discard(self, out: list[Frame], at_ns: int) -> bool:
        """Refuse up to and with the first end and its check bytes."""
        end = self._buffer.find(self._end)
        if end > self._limit or (end < 0 and len(self._buffer) >= self._limit + len(self._end)):
            self._take(out, self._limit, self._limit, at_ns, self._discarding)
            return True
        if end < 0 or len(self._buffer) < end + self._tail:
            return False
        self._take(out, end + self._tail, end + self._tail, at_ns, self._discarding)
        self._discarding = None
        return True

    def _hunt(self, out: list[Frame], at_ns: int) -> bool:
        """Between frames: filler is dropped; anything else up to the next start is the rest of a torn frame."""
        skipped = len(self._buffer) - len(self._buffer.lstrip(self._filler))
        if skipped:
            self._drop(skipped, at_ns)
            return True
        start = self._buffer.find(self._start)
        if start > self._limit or (start < 0 and len(self._buffer) >= self._limit + len(self._start)):
            self._take(out, self._limit, self._limit, at_ns, "torn")
            return True
        if start < 0:
            return False
        self._take(out, start, start, at_ns, "torn")
        return True


class FixedFramer(Framer):
    """Frames of a fixed length; with start bytes they find their place again, without only silence shows it."""

    def __init__(self, framing: Framing) -> None:
        super().__init__(framing)
        self._size = framing.length or 1
        self._start = framing.start
        self._interrupted = False

    def _fresh(self, silence_ns: int) -> bool:
        # Without start bytes silence is the only end of what is discarded; but the rest of an interrupted frame comes
        # after a silence as well, and must not pass for a frame.
        if self._start or self._interrupted:
            return super()._fresh(silence_ns)
        return silence_ns >= SILENCE_NS

    def _silence(self, out: list[Frame]) -> None:
        super()._silence(out)
        self._interrupted = True

    def _split(self, out: list[Frame], at_ns: int) -> None:
        self._interrupted = False
        while self._buffer and self._step(out, at_ns):
            pass

    def _step(self, out: list[Frame], at_ns: int) -> bool:
        if self._discarding is not None:
            return self._discard(out, at_ns)
        mark = self._start[: len(self._buffer)]
        if not self._buffer.startswith(mark):
            self._discarding = "torn"
            return True
        if len(self._buffer) < self._size:
            return False
        self._take(out, self._size, self._size, at_ns)
        return True

    def _discard(self, out: list[Frame], at_ns: int) -> bool:
        """Refuse up to two start bytes exactly one frame apart; without start bytes, up to a silence."""
        place = self._candidate() if self._start else len(self._buffer)
        while place >= self._limit:
            self._take(out, self._limit, self._limit, at_ns, self._discarding)
            place -= self._limit
        if not self._start or len(self._buffer) < place + self._size + len(self._start):
            return False
        self._take(out, place, place, at_ns, self._discarding)
        self._discarding = None
        return True

    def _candidate(self) -> int:
        """The first place that isn't yet known not to begin a frame."""
        buffer, start = self._buffer, self._start
        place = buffer.find(start)
        while place >= 0:
            if start.startswith(buffer[place + self._size :][: len(start)]):
                return place
            place = buffer.find(start, place + 1)
        cut_off = range(max(0, len(buffer) - len(start) + 1), len(buffer))
        return next((tail for tail in cut_off if start.startswith(buffer[tail:])), len(buffer))


class GapFramer(Framer):
    """Frames between silences: a function of (byte, time), so it must be woken when a silence is long enough."""

    def __init__(self, framing: Framing) -> None:
        super().__init__(framing)
        self._pause_ns = round((framing.gap_ms or 0) * 1e6)

    def _fresh(self, silence_ns: int) -> bool:
        return silence_ns >= self._pause_ns

    def _silence(self, out: list[Frame]) -> None:
        size = len(self._buffer)
        self._take(out, size, size, self._last_ns or 0, self._discarding)
        self._discarding = None

    def _split(self, out: list[Frame], at_ns: int) -> None:
        while len(self._buffer) > self._limit:
            self._discarding = self._discarding or "too-long"
            self._take(out, self._limit, self._limit, at_ns, self._discarding)


def framer_for(framing: Framing) -> Framer:
    """The framer a profile asks for."""
    kinds: dict[str, type[Framer]] = {
        "terminators": TerminatorFramer,
        "start-end": StartEndFramer,
        "length": FixedFramer,
        "gap": GapFramer,
    }
    return kinds[framing.style](framing)
