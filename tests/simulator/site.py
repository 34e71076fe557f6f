"""The program as the world meets it: bytes in on each instrument's line, decisions out, power that can fail.

In place of the service's threads and files: its own lines (bytes → inputs), its own bench, and the ledger's objects in
memory, stored after each input as a commit would.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from thwart.bench.kernel import Bench
from thwart.bench.labels import Template, card
from thwart.bench.state import MemoryRecords
from thwart.config import Configured, read_bench
from thwart.entries import Entry, Stamp, canonical
from thwart.service.clock import Clock, utc_text
from thwart.service.lines import Inbox, Item, Line

from .world import MS, Cause, Planted, S, World

#: The day begins here.
_UTC_NS = 1_780_000_000 * S


class SimClock(Clock):
    """The service's clock, run by the world."""

    def __init__(self, world: World) -> None:
        super().__init__(None)
        self.world = world
        self.boot = "boot-0"

    def now_ms(self) -> int:
        return (_UTC_NS + self.world.now) // MS

    def mono_ns(self) -> int:
        return self.world.now

    def utc_of(self, mono_ns: int) -> str:
        return utc_text(_UTC_NS + mono_ns)

    def stamp(self) -> Stamp:
        return Stamp(self.utc(_UTC_NS + self.world.now), self.world.now, self.boot, True)


@cache
def configured(bench: str, protocol: str) -> Configured:
    """A bench folder, read as the program reads it."""
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "bench.toml").write_text(bench)
        (Path(folder) / "protocol.toml").write_text(protocol)
        return read_bench(Path(folder))


class Site:
    """One bench with power on (or off)."""

    def __init__(self, world: World, bench: str, protocol: str) -> None:
        self.world = world
        self.configured = configured(bench, protocol)
        self.clock = SimClock(world)
        self.records = MemoryRecords()
        self.entries: list[Entry] = []
        self.causes: dict[int, Cause] = {}
        """Input → what really was behind it."""
        self.planted: list[Planted] = []
        self.ears: list[Callable[[list[Entry]], None]] = []
        self.on = False
        self.starts = 0
        self._kept: tuple[int, bytes] | None = None
        self._inbox = Inbox()
        self.bench = Bench(self.configured.setup, self.records)
        self.lines: dict[str, Line] = {}
        self.plugged = {w.name: True for w in self.configured.instruments}
        self.streams: list[Any] = []
        self.power_on()

    # ---- power -------------------------------------------------------------------------------------------------

    def power_on(self) -> None:
        """Start: resume from what was recorded, by the last snapshot and the entries since, or by the entries alone."""
        self.starts += 1
        self.on = True
        if self.starts > 1 and self.world.happens(0.3):
            self.clock.boot = f"boot-{self.starts}"
        # What memory held is lost; the records are those of the last commit.
        self.bench = Bench(self.configured.setup, self.records)
        after = 0
        if self._kept is not None and self.world.happens(0.7):
            after, text = self._kept
            self.bench.restore(text)
        for _ in self.bench.fold(self._since(after)):
            pass
        self._inbox = Inbox()
        self.lines = {w.name: Line(w, self._inbox, self.clock) for w in self.configured.instruments}
        self._take(Item("started", {"version": "0", "config": "0"}), None)
        for name, line in self.lines.items():
            if self.plugged[name]:
                line.on_open(self.world.now)
        self._drain(None)

    def _since(self, after: int) -> list[Entry]:
        at = len(self.entries)
        while at and self.entries[at - 1].seq > after:
            at -= 1
        return self.entries[at:]

    def power_off(self) -> None:
        """Everything in memory is gone."""
        self.on = False

    def power_cut(self, dark_s: float) -> None:
        """Power fails for a while."""
        if self.on:
            self.power_off()
            self.world.at(dark_s, self._again)

    def _again(self) -> None:
        self.power_on()
        for stream in self.streams:
            stream.talk()

    def close(self) -> None:
        """The day is over."""

    def becomes(self, bench: str, protocol: str) -> None:
        """The bench is set up anew, on the same ledger."""
        self.power_off()
        self.configured = configured(bench, protocol)
        self.plugged = {w.name: True for w in self.configured.instruments}
        self.streams.clear()
        self.power_on()

    # ---- plugs -------------------------------------------------------------------------------------------------

    def unplug(self, name: str) -> None:
        """An instrument's plug is pulled."""
        self.plugged[name] = False
        if self.on:
            self.lines[name].on_gone("unplugged", self.world.now)
            self._drain(None)

    def replug(self, name: str) -> None:
        """And put back."""
        self.plugged[name] = True
        if self.on:
            self.lines[name].on_open(self.world.now)
            self._drain(None)

    # ---- inputs ------------------------------------------------------------------------------------------------

    def bytes(self, name: str, data: bytes, cause: Cause | Callable[[Item], Cause | None] | None) -> list[Entry]:
        """Bytes of an instrument. Returns what was decided; nothing without power or plug."""
        if not (self.on and self.plugged[name]):
            return []
        self.lines[name].on_bytes(data, self.world.now)
        return self._drain(cause)

    def silence(self, name: str) -> list[Entry]:
        """Time passed on a line."""
        if not self.on:
            return []
        self.lines[name].on_wake(self.world.now)
        return self._drain(None)

    def act(self, words: str, place: str | None, cause: Cause | None) -> list[Entry]:
        """An act from the page."""
        if not self.on:
            return []
        name, *args = words.split()
        ids = [f"00000000-0000-7000-8000-{len(self.entries):012d}"]
        return self._take(Item("act", {"act": name, "args": args, "place": place, "via": "page", "ids": ids}), cause)

    def scan(self, scanner: str, text: str, cause: Cause | None) -> list[Entry]:
        """A scan of a label or tag."""
        return self.bytes(scanner, text.encode() + b"\r", cause)

    def card(self, scanner: str, words: str, cause: Cause | None) -> list[Entry]:
        """A scan of the card for an act."""
        return self.scan(scanner, card(words.split()), cause)

    def _drain(self, cause: Cause | Callable[[Item], Cause | None] | None) -> list[Entry]:
        out: list[Entry] = []
        while not self._inbox.empty():
            item = self._inbox.get()
            out += self._take(item, cause(item) if callable(cause) else cause)
        return out

    def _take(self, item: Item, cause: Cause | None) -> list[Entry]:
        wake = self.bench.next_wake()
        if item.kind != "wake" and wake is not None and wake <= self.world.now:
            self._take(Item("wake", {}), None)
        seq = self.entries[-1].seq + 1 if self.entries else 1
        entry = Entry(seq, item.kind, None, None, self.clock.stamp(), item.body)
        decisions, changed = self.bench.take(entry)
        if item.kind == "wake" and not decisions:
            return []
        self.records.store(changed)
        for e in (entry, *decisions):
            canonical(e)
        self.entries += [entry, *decisions]
        if cause is not None:
            self.causes[seq] = cause
        if self._kept is None or seq - self._kept[0] > 500:
            self._kept = (self.bench.seq, self.bench.snapshot())
        for ear in self.ears:
            ear([entry, *decisions])
        return decisions

    # ---- what everybody can see --------------------------------------------------------------------------------

    @property
    def template(self) -> Template:
        containers = self.configured.protocol.containers
        assert containers is not None
        return containers.template

    def label(self, count: int) -> str:
        """The text on the envelope with this running number, from 0."""
        containers = self.configured.protocol.containers
        assert containers is not None and containers.first is not None
        label = containers.template.moved(containers.first, count)
        assert label is not None
        return label

    def plant(self, name: str, fish: int) -> Planted:
        """Something goes wrong now."""
        planted = Planted(name, fish, self.entries[-1].seq + 1)
        self.planted.append(planted)
        return planted
