"""A line: one port's bytes through its wire channel into inputs for the one queue. Runs in the port's own thread.

A line never waits for the ledger or for another line: the queue is bounded, and what finds it full is counted and told
as an input of its own.
"""

from __future__ import annotations

import hashlib
import logging
from collections import Counter, deque
from collections.abc import Callable
from queue import SimpleQueue
from typing import Any

from msgspec import Struct, field

from .. import units
from ..config import Wired
from ..errors import ThwartError
from ..ids import new_id
from ..ports import PortAbsent
from ..wire.channel import Channel
from ..wire.events import Arrival, Emptied, Reading, Rejected, WireEvent
from .clock import Clock

log = logging.getLogger(__name__)

#: Inputs that may wait for the clerk, over all lines.
QUEUE_LIMIT = 4096
#: Rejected bytes of one port and second share an entry; of those at most so many a day hold bytes.
_COALESCE_NS = 1_000_000_000
_KEPT_BYTES = 1024
_ENTRIES_A_DAY = 2000
_SUMMARY_NS = 600_000_000_000
#: Of so many last frames, more than half rejected means the line settings are wrong.
_JUDGED_FRAMES = 20


class Item(Struct, frozen=True):
    """An input on its way to the clerk. `reply`, where there is one, is called after the commit that holds it."""

    kind: str
    body: dict[str, Any]
    reply: Callable[[Any], None] | None = None


Inbox = SimpleQueue[Item]


class _Bin(Struct):
    """Rejected bytes of one port, gathered for an entry."""

    since_ns: int = 0
    reasons: Counter[str] = field(default_factory=Counter)
    raw: bytearray = field(default_factory=bytearray)
    size: int = 0
    digest: Any = field(default_factory=hashlib.sha256)


class Line:
    """The listener of one port's supervisor."""

    def __init__(self, wired: Wired, inbox: Inbox, clock: Clock) -> None:
        self.wired = wired
        self.channel = Channel(wired.profile)
        self.present = False
        self.reason = "not opened yet"
        self.rejected: Counter[str] = Counter()
        self.lost = 0
        self._inbox = inbox
        self._clock = clock
        self._bin: _Bin | None = None
        self._day = ""
        self._entries_today = 0
        self._judged: deque[bool] = deque(maxlen=_JUDGED_FRAMES)
        self._garbled = False
        self._untold = 0
        self._told_gone = False
        self.tared = False

    # ---- what the supervisor tells -----------------------------------------------------------------------------

    def on_open(self, at_ns: int) -> None:
        """The port is open."""
        self.channel.opened(at_ns)
        self._judged.clear()
        self.present, self.reason = True, ""
        self._port(present=True, reason="")

    def on_bytes(self, data: bytes, at_ns: int) -> None:
        """Bytes came."""
        if self.tared:
            self.tared = False
            self._events(self.channel.tared(at_ns), at_ns)
        frames = self.channel.counts.frames
        events = self.channel.feed(data, at_ns)
        self._judge(self.channel.counts.frames - frames, events)
        if events:
            self._events(events, at_ns)

    def on_line_error(self, at_ns: int) -> None:
        """The system counted a framing, parity or overrun error."""
        self._events(self.channel.line_error(at_ns), at_ns)

    def on_gone(self, reason: str, at_ns: int) -> None:
        """The port went."""
        self._events(self.channel.closed(at_ns), at_ns)
        self._flush()
        self.present, self.reason, self._told_gone = False, reason, True
        self._port(present=False, reason=reason)

    def on_refused(self, trouble: ThwartError, at_ns: int) -> None:
        """The port can't be opened: a state, not an error. That what was pulled out is not there is known already."""
        self.reason = str(trouble)
        if not (isinstance(trouble, PortAbsent) and self._told_gone):
            self._port(present=False, reason=trouble.message)

    def on_wake(self, at_ns: int) -> None:
        """Silence has a meaning, or gathered rejections are due."""
        self._events(self.channel.wake(at_ns), at_ns)
        if self._bin is not None and at_ns >= self._due(self._bin):
            self._flush()

    def next_wake(self) -> int | None:
        """When silence would mean something."""
        channel = self.channel.next_wake
        if self._bin is None:
            return channel
        due = self._due(self._bin)
        return due if channel is None else min(channel, due)

    # ---- inputs ------------------------------------------------------------------------------------------------

    def _put(self, kind: str, body: dict[str, Any]) -> None:
        if self._inbox.qsize() >= QUEUE_LIMIT:
            if not self._untold:
                log.error("overflow instrument=%s", self.wired.name)
            self.lost += 1
            self._untold += 1
            return
        if self._untold:
            self._inbox.put(Item("overflow", {"instrument": self.wired.name, "lost": self._untold}))
            self._untold = 0
        self._inbox.put(Item(kind, body))

    def _port(self, *, present: bool, reason: str) -> None:
        w = self.wired
        body = {"instrument": w.name, "present": present, "reason": reason, "profile": w.profile.name, "port": w.port}
        self._put("port", body)

    def _events(self, events: list[WireEvent], at_ns: int) -> None:
        for event in events:
            match event:
                case Reading():
                    self._reading(event)
                case Arrival():
                    base = (
                        None
                        if event.baseline is None or event.unit is None
                        else units.to_base(event.baseline, event.unit)
                    )
                    body = {
                        "instrument": self.wired.name, "places": list(self.wired.places), "at_ns": event.at_ns,
                        "baseline": None if base is None else units.plain(base),
                    }  # fmt: skip
                    self._put("arrival", self._with_ids(body))
                case Emptied():
                    base = (
                        None
                        if event.resting is None or event.unit is None
                        else units.to_base(event.resting, event.unit)
                    )
                    resting = None if base is None else units.plain(base)
                    self._put(
                        "emptied",
                        self._with_ids({"instrument": self.wired.name, "at_ns": event.at_ns, "resting": resting}),
                    )
                case Rejected():
                    self._reject(event, at_ns)

    def _ids(self) -> list[str]:
        """An id for each fish that an input here may open: one a place."""
        return [new_id(self._clock.now_ms()) for _ in self.wired.places]

    def _with_ids(self, body: dict[str, Any]) -> dict[str, Any]:
        """With an id for the fish that this input may open."""
        return {**body, "ids": self._ids()}

    def _reading(self, event: Reading) -> None:
        w = self.wired
        name, ids = w.name, self._ids()
        if w.profile.kind in ("identifier", "key"):
            body = {"instrument": name, "text": event.identifier or "", "raw": text_of(event.raw), "ids": ids}
            if w.profile.kind == "key":
                self._put("key", {**body, "at_ns": event.arrived_ns})
            else:
                self._put("scan", {**body, "symbology": event.symbology})
            return
        base = (
            None if event.value is None or event.unit is None else units.plain(units.to_base(event.value, event.unit))
        )

        def in_base(value: Any) -> str | None:
            return None if value is None or event.unit is None else units.plain(units.to_base(value, event.unit))

        said = {
            "instrument": name, "raw": text_of(event.raw), "value": event.text, "unit": event.unit, "base": base,
            "condition": event.condition, "settled": event.settled, "load": event.load,
            "spread": in_base(event.spread), "samples": event.samples, "zero_before": in_base(event.zero_before),
            "plateau": event.plateau, "arrived_ns": event.arrived_ns, "arrived_utc": self._clock.utc_of(event.arrived_ns),
            "evidence": [[at, text_of(raw)] for at, raw in event.evidence] or None, "ids": ids,
        }  # fmt: skip
        self._put("reading", {key: value for key, value in said.items() if value is not None})

    def _reject(self, event: Rejected, at_ns: int) -> None:
        self.rejected[event.reason] += 1
        if self._bin is None:
            self._bin = _Bin(since_ns=at_ns)
        bin_ = self._bin
        bin_.reasons[event.reason] += 1
        bin_.size += len(event.raw)
        bin_.digest.update(event.raw)
        bin_.raw += event.raw[: _KEPT_BYTES - len(bin_.raw)]

    def _capped(self) -> bool:
        """Whether today's entries with bytes are used up: a babbling line must not fill the disk."""
        day = self._clock.utc_of(self._clock.mono_ns())[:10]
        if day != self._day:
            self._day, self._entries_today = day, 0
        return self._entries_today >= _ENTRIES_A_DAY

    def _due(self, bin_: _Bin) -> int:
        return bin_.since_ns + (_SUMMARY_NS if self._capped() else _COALESCE_NS)

    def _flush(self) -> None:
        bin_, self._bin = self._bin, None
        if bin_ is None:
            return
        keep = not self._capped()
        self._entries_today += 1
        self._put(
            "rejected",
            {
                "instrument": self.wired.name, "mode": self.wired.profile.mode, "reasons": dict(sorted(bin_.reasons.items())), "size": bin_.size,
                "sha256": bin_.digest.hexdigest(), "raw": text_of(bytes(bin_.raw)) if keep else None, "mostly": self._newly_garbled(),
            },
        )  # fmt: skip

    def _judge(self, frames: int, events: list[WireEvent]) -> None:
        bad = sum(isinstance(e, Rejected) and e.reason != "torn" for e in events)
        self._judged.extend([True] * bad + [False] * max(0, frames - bad))

    def _newly_garbled(self) -> bool:
        """Whether more than half of the last frames were rejected, told once until it ends."""
        many = len(self._judged) >= _JUDGED_FRAMES // 2 and sum(self._judged) * 2 > len(self._judged)
        new, self._garbled = many and not self._garbled, many
        return new

    def status(self, now_ns: int) -> dict[str, Any]:
        """Presence and silence as two facts, with what came."""
        c = self.channel.counts
        last = self.channel.last_frame_ns
        return {
            "instrument": self.wired.name, "profile": self.wired.profile.name, "port": self.wired.port,
            "present": self.present, "reason": self.reason or None,
            "last_frame_age_s": None if last is None else f"{(now_ns - last) / 1e9:.1f}",
            "bytes": c.bytes, "frames": c.frames, "unsettled": c.unsettled, "chatter": c.chatter,
            "rejected": dict(self.rejected), "lost": self.lost, "mostly_rejected": self._garbled,
        }  # fmt: skip


def text_of(raw: bytes) -> str:
    """Bytes as Latin-1 text: a code point a byte, nothing lost."""
    return raw.decode("latin-1")
