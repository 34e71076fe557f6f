"""The same bench as the real service: pseudo-terminals, its own threads, a ledger on disk. The world runs by the wall clock."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import Any

from thwart.bench.kernel import Bench
from thwart.bench.state import MemoryRecords
from thwart.config import read_bench
from thwart.entries import Entry
from thwart.ports.simulated import PtyLine
from thwart.service.control import Client
from thwart.service.lines import Item
from thwart.service.service import Service

from .site import Site
from .world import Cause, World

#: How long an instrument's bytes may take to come out as an entry.
_PATIENCE_S = 3.0
_KINDS = ("reading", "scan", "key")


class RealSite(Site):
    """A service in this process, on a folder of its own. A power cut is a stop and a start: kills have tests of their own."""

    def __init__(self, world: World, folder: Path, bench: str, protocol: str) -> None:
        self.world, self.folder = world, folder
        folder.mkdir(parents=True, exist_ok=True)
        self.records = MemoryRecords()
        self.entries: list[Entry] = []
        self.causes: dict[int, Cause] = {}
        self.planted = []
        self.ears = []
        self.streams: list[Any] = []
        self.on = False
        self.ptys: dict[str, PtyLine] = {}
        self._waiting: dict[str, deque[Cause | None]] = {}
        self._pans: dict[str, Callable[[Any], Cause | None]] = {}
        self._set_up(bench, protocol)
        self.power_on()

    def _set_up(self, bench: str, protocol: str) -> None:
        for pty in self.ptys.values():
            pty.close()
        text = bench.replace('port = "/dev/', f'port = "{self.folder}/')
        (self.folder / "bench.toml").write_text(text)
        (self.folder / "protocol.toml").write_text(protocol)
        self.configured = read_bench(self.folder)
        self.ptys = {w.name: PtyLine(self.folder / w.name) for w in self.configured.instruments}
        self.plugged = dict.fromkeys(self.ptys, True)

    # ---- power -------------------------------------------------------------------------------------------------

    def power_on(self) -> None:
        self.service = Service(self.folder)
        self._follower = self.service.feed.follow()
        self.service.start()
        end = time.monotonic() + 20
        while not all(line.present for line in self.service.lines if self.plugged[line.wired.name]):
            assert time.monotonic() < end, "the instruments don't open"
            time.sleep(0.02)
        time.sleep(0.3)
        self.on = True
        self.pump()

    def power_off(self) -> None:
        self.on = False
        self.service.stop()
        self.service.wait()
        self.pump()

    def becomes(self, bench: str, protocol: str) -> None:
        self.power_off()
        self.streams.clear()
        self._pans.clear()
        self._set_up(bench, protocol)
        self.power_on()

    def close(self) -> None:
        """The day is over: what the ledger's entries make is looked at afterwards."""
        if self.on:
            time.sleep(0.3)
            self.power_off()
        for pty in self.ptys.values():
            pty.close()
        again = Bench(self.configured.setup, self.records)
        with self.service.ledger.open(self.folder / "ledger.db", readonly=True) as ledger:
            for _, changed in again.fold(ledger.entries()):
                self.records.store(changed)

    @property
    def bench(self) -> Bench:  # type: ignore[override]
        """What the page shows."""
        return self.service.clerk.bench

    # ---- plugs and bytes ---------------------------------------------------------------------------------------

    def unplug(self, name: str) -> None:
        self.plugged[name] = False
        self.ptys[name].unplug()
        self._until(lambda e: e.kind == "port" and e.body["instrument"] == name and not e.body["present"])

    def replug(self, name: str) -> None:
        self.plugged[name] = True
        self.ptys[name].replug()
        self._until(lambda e: e.kind == "port" and e.body["instrument"] == name and e.body["present"])
        time.sleep(0.2)

    def bytes(self, name: str, data: bytes, cause: Cause | Callable[[Item], Cause | None] | None) -> list[Entry]:
        if not (self.on and self.plugged[name]):
            return []
        if callable(cause):
            self._pans[name] = cause
            self.ptys[name].send(data)
            self.pump()
            return []
        waiting = self._waiting.setdefault(name, deque())
        waiting.append(cause)
        self.ptys[name].send(data)
        out = self._until(lambda e: e.kind in _KINDS and e.body["instrument"] == name)
        waiting.clear()
        return out

    def act(self, words: str, place: str | None, cause: Cause | None) -> list[Entry]:
        if not self.on:
            return []
        name, *args = words.split()
        self._waiting.setdefault("act", deque()).append(cause)
        client = Client(self.folder)
        client.ask(do="act", act=name, args=args, place=place)
        client.close()
        out = self._until(lambda e: e.kind == "act")
        self._waiting["act"].clear()
        return out

    def _until(self, wanted: Callable[[Entry], bool]) -> list[Entry]:
        end = time.monotonic() + _PATIENCE_S
        while time.monotonic() < end:
            for group in self.pump():
                if wanted(group[0]):
                    return list(group[1:])
            time.sleep(0.002)
        return []

    def pump(self) -> list[list[Entry]]:
        """What the service has committed since: causes are set beside it, people hear it."""
        groups, lost = self._follower.take(0.0)
        assert not lost
        out = []
        for committed in groups:
            group = committed.entries
            entry = group[0]
            name = "act" if entry.kind == "act" else str(entry.body.get("instrument"))
            if name in self._pans and entry.kind == "reading":
                cause = self._pans[name](entry)
            else:
                waiting = self._waiting.get(name)
                cause = waiting.popleft() if waiting and entry.kind in (*_KINDS, "act") else None
            if cause is not None:
                self.causes[entry.seq] = cause
            self.entries += group
            out.append(list(group))
        for group_ in out:
            for ear in self.ears:
                ear(group_)
        return out
