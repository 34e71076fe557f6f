"""A bench to play with in tests: people's words in, decisions out; every step also folded, restored and compared."""

from __future__ import annotations

import json
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from thwart import units
from thwart.bench.kernel import Bench
from thwart.bench.labels import card
from thwart.bench.protocol import Protocol, read
from thwart.bench.setup import InstrumentSetup, Setup
from thwart.bench.state import MemoryRecords, Measurement, Place, Question, Reading, Specimen
from thwart.entries import Entry, Stamp, canonical

SOLO = """
name = "test solo"

[[measurands]]
name = "total_length"
quantity = "length"
rounding = { rule = "below", step = "1 cm" }

[[measurands]]
name = "whole_mass"
quantity = "mass"

[species.perch]
title = "perch"
limits.total_length = { possible = [30, 600], usual = [60, 450] }
limits.whole_mass = { possible = [0.5, 3500] }

[species.pike]
title = "pike"

[codes.sex]
scale = "sex"
values = { F = "female", M = "male" }

[containers]
label = "K-####?"
check = "mod-11-10"
structure = "otolith"
first = "K-00013"
"""

FORKED = """
name = "fork then total"
order = [["fork_length", "total_length"]]

[[measurands]]
name = "fork_length"
quantity = "length"

[[measurands]]
name = "total_length"
quantity = "length"

[[measurands]]
name = "whole_mass"
quantity = "mass"
hand_division = "5 g"

[[measurands]]
name = "gonad_mass"
quantity = "mass"
required = false
sides = ["left", "right"]

[species.perch]
title = "perch"

[species.eel]
title = "eel"
drop = ["fork_length"]
"""


def protocol(text: str) -> Protocol:
    return read(text, "test.toml")


class Play:
    """One bench, one place, a board (`each`), a streaming scale, a hand scale (`none`), a scanner and a pedal."""

    def __init__(self, text: str = SOLO, *, batch: bool = True, places: tuple[str, ...] = ("table",)) -> None:
        def instrument(name: str, kind: Any, emptied: Any, division: str | None, **more: Any) -> InstrumentSetup:
            step = None if division is None else Decimal(division)
            return InstrumentSetup(name, "p", f"port-{name}", kind, emptied, places, division=step, **more)

        made = [
            instrument("board", "length", "each", "1"),
            instrument("scale", "mass", "stream", "1"),
            instrument("hand-scale", "mass", "none", "5"),
            instrument("scanner", "identifier", "each", None),
            instrument("pedal", "key", "each", None, keys={"P1": "next", "P2": "undo"}),
        ]
        self.setup = Setup("bench", protocol(text), places, {i.name: i for i in made})
        self.records = MemoryRecords()
        self.bench = Bench(self.setup, self.records)
        self.entries: list[Entry] = []
        self.now = 1_000_000_000
        self.ids = 0
        self.start()
        for i in made:
            self.put("port", instrument=i.name, present=True, profile="p", port=i.port)
        if batch:
            self.act("batch open bay")

    def put(self, kind: str, **body: Any) -> list[Entry]:
        self.now += 1_000_000_000
        self.ids += 1
        body["ids"] = [f"00000000-0000-7000-8000-{self.ids:012d}"] if kind in ("act", "scan", "key", "reading") else []
        seq = self.entries[-1].seq + 1 if self.entries else 1
        utc = f"2026-05-04T{self.now // 3_600_000_000_000 % 24:02d}:00:00Z"
        entry = Entry(seq, kind, None, None, Stamp(utc, self.now, "boot", True), body)
        decisions, changed = self.bench.take(entry)
        if kind == "wake" and not decisions:
            return []
        self.records.store(changed)
        for e in (entry, *decisions):
            canonical(e)  # everything can be stored
        self.entries += [entry, *decisions]
        return decisions

    def start(self) -> list[Entry]:
        return self.put("started", version="0", config="0")

    def act(self, words: str, place: str | None = None) -> list[Entry]:
        name, *args = words.split()
        return self.put("act", act=name, args=args, place=place, via="cli")

    def card(self, words: str) -> list[Entry]:
        return self.put("scan", instrument="scanner", text=card(words.split()))

    def scan(self, text: str) -> list[Entry]:
        return self.put("scan", instrument="scanner", text=text)

    def label(self, count: int) -> list[Entry]:
        containers = self.setup.protocol.containers
        assert containers is not None
        assert containers.first is not None
        label = containers.template.moved(containers.first, count - containers.template.count(containers.first))
        assert label is not None
        return self.scan(label)

    def pedal(self, key: str = "P1", *, after_ms: int = 1000) -> list[Entry]:
        self.now += after_ms * 1_000_000 - 1_000_000_000
        return self.put("key", instrument="pedal", text=key, at_ns=self.now + 1_000_000_000)

    def reading(self, instrument: str, value: str | None, unit: str, **more: Any) -> list[Entry]:
        body: dict[str, Any] = {
            "instrument": instrument, "raw": f"{value} {unit}\r\n", "value": value, "unit": unit,
            "base": None if value is None else units.plain(units.to_base(Decimal(value), unit)),
            "condition": "ok", "settled": "each", "spread": None, "samples": 1, "zero_before": None, "plateau": 1,
            "arrived_utc": "2026-05-04T00:00:00Z", "arrived_ns": self.now + 1_000_000_000, "load": None,
        }  # fmt: skip
        return self.put("reading", **{**body, **more})

    def touch(self, mm: int | str, *, after_ms: int = 1000) -> list[Entry]:
        self.now += after_ms * 1_000_000 - 1_000_000_000
        return self.reading("board", str(mm), "mm")

    def lay(self, zero: str = "0") -> list[Entry]:
        return self.put("arrival", instrument="scale", places=list(self.setup.places), baseline=zero)

    def settle(self, g: int | str, **more: Any) -> list[Entry]:
        return self.reading("scale", str(g), "g", settled="mark", **{"zero_before": "0", **more})

    def lift(self, resting: str = "0") -> list[Entry]:
        return self.put("emptied", instrument="scale", resting=resting)

    def weigh(self, g: int | str) -> list[Entry]:
        self.lay()
        out = self.settle(g)
        self.lift()
        return out

    # ---- looking -----------------------------------------------------------------------------------------------

    @property
    def here(self) -> Place:
        return self.bench.place(self.setup.places[0])

    @property
    def fish(self) -> Specimen:
        found = self.bench.in_hand(self.setup.places[0])
        assert found is not None
        return found

    def numbered(self, number: int) -> Specimen:
        ident = self.records.numbered(number)
        assert ident is not None
        found = self.bench.get(Specimen, ident)
        assert found is not None
        return found

    def values(self, number: int) -> dict[str, str]:
        return {k: self.bench.need(Measurement, seq).value for k, seq in self.numbered(number).values.items()}

    def readings(self) -> list[Reading]:
        return sorted((r for r in self.records.objects.values() if isinstance(r, Reading)), key=lambda r: r.seq)

    def last_reading(self) -> Reading:
        return self.readings()[-1]

    def questions(self, *states: str) -> list[str]:
        found = (
            q for q in self.records.objects.values() if isinstance(q, Question) and q.state in (states or ("open",))
        )
        return [q.kind for q in sorted(found, key=lambda q: q.seq)]


def kinds(decisions: Iterable[Entry]) -> list[str]:
    return [d.kind for d in decisions]


def refused(decisions: Iterable[Entry]) -> str:
    codes = [d.body["code"] for d in decisions if d.kind == "refused"]
    assert len(codes) == 1, list(decisions)
    return str(codes[0])


def state_of(bench: Bench) -> str:
    """Everything in play as one text, to compare two benches."""
    return json.dumps(bench.snapshot(), sort_keys=True)
