"""One instrument's bytes in, events out: framer, decoder and settler behind one door."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from msgspec import Struct

from .ends import ends_of
from .events import Counts, Decoded, Frame, Reading, Rejected, RejectReason, WireEvent
from .settler import Settler

if TYPE_CHECKING:
    from ..profiles.model import Profile


class Channel:
    """Feed it bytes with the monotonic time they were read at; it answers with events and when to wake it next."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self.counts = Counts()
        self.last_frame_ns: int | None = None
        """When the last frame ended that was one, whatever it said; None before the first."""
        self._framer, self._decoder = ends_of(profile)
        self._settler = Settler(profile) if profile.emptied == "stream" else None

    def opened(self, at_ns: int) -> None:
        """The port was opened now: counts and everything known start anew."""
        self.counts = Counts()
        self._framer.opened(at_ns)
        if self._settler is not None:
            self._settler.forget()

    def feed(self, data: bytes, at_ns: int) -> list[WireEvent]:
        """What `data`, read at `at_ns`, brought. Never raises; an empty `data` brings nothing."""
        due = self.next_wake
        out = self.wake(at_ns) if due is not None and due <= at_ns else []
        self.counts.bytes += len(data)
        return self._frames(self._framer.feed(data, at_ns), out)

    @property
    def next_wake(self) -> int | None:
        """When `wake` must be called at the latest, in monotonic nanoseconds; None while there is nothing to wait for."""
        framer = self._framer.next_wake
        settler = self._settler.next_wake if self._settler is not None else None
        if framer is None or settler is None:
            return framer if settler is None else settler
        return min(framer, settler)

    def wake(self, at_ns: int) -> list[WireEvent]:
        """What the silence up to `at_ns` means. Calling it early, late or twice changes nothing but the delay."""
        out: list[WireEvent] = []
        while (due := self.next_wake) is not None and due <= at_ns:
            self._frames(self._framer.wake(due), out)
            if self._settler is not None:
                out += self._settler.wake(due)
        return out

    def line_error(self, at_ns: int) -> list[WireEvent]:
        """The system counted a framing, parity or overrun error: call it before feeding what was read with it."""
        return self._frames(self._framer.line_error(at_ns), self.wake(at_ns))

    def tared(self, at_ns: int) -> list[WireEvent]:
        """A person says that what lies there is tare: it becomes the baseline."""
        out = self.wake(at_ns)
        return out if self._settler is None else out + self._settler.tared(at_ns)

    def closed(self, at_ns: int) -> list[WireEvent]:
        """The port went: what is buffered is torn, what lay on the instrument is forgotten."""
        out = self._frames(self._framer.closed(), self.wake(at_ns))
        if self._settler is not None:
            self._settler.forget()
        return out

    def _frames(self, frames: list[Frame], out: list[WireEvent]) -> list[WireEvent]:
        counts, settler = self.counts, self._settler
        for frame in frames:
            counts.frames += 1
            if frame.fault is not None:
                counts.rejected += 1
                out.append(Rejected(frame.fault, frame.raw, frame.last_ns))
                continue
            self.last_frame_ns = frame.last_ns
            said = self._decoder.decode(frame.raw)
            if isinstance(said, Decoded):
                if settler is None:
                    out.append(self._reading(frame, said))
                else:
                    before = settler.unsettled
                    out += settler.frame(frame, said)
                    counts.unsettled += settler.unsettled - before
            elif said is None:
                counts.chatter += 1
            else:
                counts.rejected += 1
                out.append(Rejected(said, frame.raw, frame.last_ns))
        return out

    def _reading(self, frame: Frame, said: Decoded) -> Reading:
        """A frame of an `each` or `none` instrument is a reading of its own."""
        return Reading(
            raw=frame.raw,
            text=said.text,
            value=said.value,
            unit=said.unit,
            condition=said.condition,
            settled="each" if said.settled is None else "mark" if said.settled else "moving",
            arrived_ns=frame.first_ns - self.profile.lag_ns,
            done_ns=frame.last_ns,
            load=said.load,
            identifier=said.identifier,
            symbology=said.symbology,
        )


class Heard(Struct, frozen=True):
    """One frame of a run of bytes: where it began, and what it says or why nothing. Neither: chatter."""

    offset: int
    raw: bytes
    decoded: Decoded | None
    rejected: RejectReason | None


class Ear:
    """Frames with their meaning as bytes come, each by itself, without settling."""

    def __init__(self, profile: Profile) -> None:
        self._framer, self._decoder = ends_of(profile)
        self._by_silence = profile.framing.gap_ms is not None

    def opened(self, at_ns: int) -> None:
        """The port was opened now: what comes before the first end of a frame is torn, unless silence came first."""
        self._framer.opened(at_ns)

    def trust(self) -> None:
        """The next byte begins a frame, whatever came before."""
        self._framer.start_trusted()

    @property
    def next_wake(self) -> int | None:
        """When `wake` must be called at the latest, in monotonic nanoseconds; None while there is nothing to wait for."""
        return self._framer.next_wake

    def feed(self, data: bytes, at_ns: int) -> list[Heard]:
        """The frames that `data`, read at `at_ns`, ends."""
        return self.wake(at_ns) + self._heard(self._framer.feed(data, at_ns))

    def wake(self, at_ns: int) -> list[Heard]:
        """The frames that the silence up to `at_ns` ends."""
        out: list[Heard] = []
        while (due := self.next_wake) is not None and due <= at_ns:
            out += self._heard(self._framer.wake(due))
        return out

    def closed(self) -> list[Heard]:
        """No more comes: unfinished bytes are torn, or a frame where silence ends one."""
        due = self._framer.next_wake if self._by_silence else None
        return self._heard(self._framer.closed() if due is None else self._framer.wake(due))

    def _heard(self, frames: list[Frame]) -> list[Heard]:
        out = []
        for frame in frames:
            said = frame.fault or self._decoder.decode(frame.raw)
            decoded, rejected = (said, None) if isinstance(said, Decoded) else (None, said)
            out.append(Heard(frame.offset, frame.raw, decoded, rejected))
        return out


def decode_frames(profile: Profile, data: bytes, *, from_start: bool = True) -> Iterator[Heard]:
    """Each frame of `data` with its meaning, without settling.

    `from_start` trusts the first byte to begin a frame; without it what comes before the first end of a frame is torn.
    Bytes have no times here, so a profile framed by silence takes all of `data` as one frame, and unfinished bytes at the end
    are torn.
    """
    ear = Ear(profile)
    if from_start:
        ear.trust()
    yield from ear.feed(data, 0)
    yield from ear.closed()
