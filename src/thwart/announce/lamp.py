"""Lamps: what is announced, for eyes in a loud room. One thread for all of them; it never waits for a lamp.

| shown | begins by | ends by |
| --- | --- | --- |
| taken, next, look | being announced | what is announced next; its time (`hold_ms`), then what lasts |
| asked, fault | being announced | what is announced next |
| what lasts | an end above | fault while an alarm is on; else asked while a question is open here; else dark |

A lamp that comes (back) is sent what it should show. The dark at stop is sent by the port's own thread.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ..errors import ThwartError
from ..profiles import Lamp
from .feed import Feed, Follower, lines_of
from .following import Following
from .narrate import Sound
from .spoken import URGENCY

State = Sound | Literal["off"]
_LASTING = ("asked", "fault")
_IDLE_S = 5.0


@dataclass(frozen=True, slots=True)
class Fitted:
    """A lamp of the bench. `write` queues bytes for its port and returns at once; raises ThwartError while it isn't there."""

    name: str
    places: tuple[str, ...]
    sends: Lamp
    write: Callable[[bytes], None]


class Shown:
    """What one lamp shows. Pure but for `write`; `now` is in seconds, of any clock that only goes forward."""

    def __init__(self, lamp: Fitted) -> None:
        self._lamp = lamp
        self._asking: set[int] = set()
        self._alarm = False
        self.state: State = "off"
        self.until: float | None = None
        """When it goes back to what lasts."""

    def hear(self, lines: Sequence[Mapping[str, Any]], now: float) -> None:
        """Feed objects of one committed input."""
        for line in lines:
            self._count(line)
        said = [s["sound"] for line in lines for s in line["said"] if s["place"] is None or self._mine(s["place"])]
        if said:
            self._show(max(said, key=URGENCY.index), now)
        if any(line["kind"] == "port" and line["body"]["instrument"] == self._lamp.name for line in lines):
            self._write()

    def alarm(self, on: bool, now: float) -> None:
        """Something hinders the bench, or no longer does."""
        if on != self._alarm:
            self._alarm = on
            self._show("fault" if on else "next", now)

    def pass_time(self, now: float) -> None:
        """Back to what lasts, if its time is over."""
        if self.until is not None and now >= self.until:
            self._show(self._lasting(), now)

    def _lasting(self) -> State:
        return "fault" if self._alarm else "asked" if self._asking else "off"

    def _count(self, line: Mapping[str, Any]) -> None:
        """Which questions are open here. Undoing may take one back that isn't named: then none is shown."""
        if line["kind"] == "asked" and self._mine(line["place"]):
            self._asking.add(line["seq"])
        elif line["kind"] == "question":
            self._asking.discard(line["body"]["question"])
        elif line["kind"] == "undone" and self._mine(line["place"]):
            self._asking.clear()

    def _mine(self, place: str | None) -> bool:
        return place in self._lamp.places

    def _show(self, state: State, now: float) -> None:
        brief = state not in _LASTING and state != "off"
        self.state, self.until = state, now + self._lamp.sends.hold_ms / 1000 if brief else None
        self._write()

    def _write(self) -> None:
        with contextlib.suppress(ThwartError):  # it isn't there: it is sent what it should show when it comes
            self._lamp.write(getattr(self._lamp.sends, self.state))


class Lamps(Following):
    """All lamps of a bench."""

    def __init__(self, feed: Feed, lamps: Sequence[Fitted]) -> None:
        super().__init__(feed, "lamps")
        self._shown = [Shown(lamp) for lamp in lamps]

    def _follow(self, follower: Follower) -> None:
        while not self._stopping.is_set():
            due = [shown.until for shown in self._shown if shown.until is not None]
            groups, _ = follower.take(max(0.0, min(due) - time.monotonic()) if due else _IDLE_S)
            now = time.monotonic()
            for group in groups:
                lines = lines_of(group.entries)
                for shown in self._shown:
                    shown.hear(lines, now)
            for shown in self._shown:
                shown.alarm(bool(self._feed.alarms), now)
                shown.pass_time(now)
