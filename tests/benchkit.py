"""A bench to play with in tests: people's words in, decisions out; every step also folded, restored and compared."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from decimal import Decimal
from functools import cache
from typing import Any

from thwart import units
from thwart.bench.kernel import FORGET_AFTER, Bench
from thwart.bench.labels import card
from thwart.bench.protocol import Protocol, read
from thwart.bench.rules import expected_label
from thwart.bench.setup import InstrumentSetup, Setup
from thwart.bench.state import (
    Batch,
    Coded,
    Container,
    Measurement,
    MemoryRecords,
    Place,
    Question,
    Reading,
    Specimen,
)
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


ROW = """
name = "three places"
flow = "row"
row = [{ place = "board" }, { place = "scale" }, { place = "knife" }]

[[measurands]]
name = "total_length"
quantity = "length"

[[measurands]]
name = "whole_mass"
quantity = "mass"

[species.perch]
title = "perch"
limits.total_length = { possible = [30, 600] }

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

[structures.otolith]
"""

TALLY = """
name = "length frequencies"
flow = "tally"
tally = "total_length"

[[measurands]]
name = "total_length"
quantity = "length"
rounding = { rule = "below", step = "1 cm" }

[species.perch]
title = "perch"
limits.total_length = { possible = [30, 600] }

[species.roach]
title = "roach"

[codes.sex]
scale = "sex"
values = { F = "female", M = "male" }
"""

LAB = """
name = "passes over thawed fish"
flow = "revisit"

[[measurands]]
name = "total_length"
quantity = "length"

[[measurands]]
name = "whole_mass"
quantity = "mass"

[[measurands]]
name = "gonad_mass"
quantity = "mass"
sides = ["left", "right"]

[species.perch]
title = "perch"

[containers]
label = "K-####?"
check = "mod-11-10"
structure = "otolith"
first = "K-00013"
"""

#: Each label opens its fish.
FIRST = SOLO.replace("[containers]", '[containers]\nrole = "first"')


@cache
def protocol(text: str) -> Protocol:
    return read(text, "test.toml")


class Play:
    """One bench, one place, a board (`each`), a streaming scale, a hand scale (`none`), a scanner and a pedal."""

    def __init__(
        self,
        text: str = SOLO,
        *,
        batch: bool | str = "unknown",
        places: tuple[str, ...] = ("table",),
        forget_after: int = FORGET_AFTER,
        serves: Mapping[str, tuple[str, ...]] | None = None,
    ) -> None:
        """`batch`: whether one is open, or the one species of it; `serves`: instrument → its places, where that isn't all."""

        def instrument(name: str, kind: Any, emptied: Any, division: str | None, **more: Any) -> InstrumentSetup:
            step = None if division is None else Decimal(division)
            at = (serves or {}).get(name, places)
            return InstrumentSetup(name, "p", f"port-{name}", kind, emptied, at, division=step, **more)

        made = [
            instrument("board", "length", "each", "1"),
            instrument("scale", "mass", "stream", "1"),
            instrument("hand-scale", "mass", "none", "5"),
            instrument("scanner", "identifier", "each", None),
            instrument(
                "pedal",
                "key",
                "each",
                None,
                keys={
                    "P1": "next",
                    "P2": "undo",
                    "P3": "dance",
                    "P4": "recall 1",
                    "P5": "void",
                    "P6": "at left next",
                    "P7": "at right next",
                },
            ),
        ]
        self.setup = Setup("bench", protocol(text), places, {i.name: i for i in made})
        self.records = MemoryRecords()
        self.bench = Bench(self.setup, self.records, forget_after=forget_after)
        self.forget_after = forget_after
        self.entries: list[Entry] = []
        self.boot = "boot"
        self.now = 1_000_000_000
        self.ids = 0
        self.start()
        for i in made:
            self.put("port", instrument=i.name, present=True, profile="p", port=i.port)
        if batch:
            self.act(f"batch open bay {batch}" if isinstance(batch, str) else "batch open bay")

    def put(self, kind: str, **body: Any) -> list[Entry]:
        self.now += 1_000_000_000
        self.ids += 1
        if kind in ("act", "scan", "key", "reading", "arrival", "emptied"):
            body["ids"] = [f"00000000-0000-7000-8{at:03d}-{self.ids:012d}" for at in range(len(self.setup.places))]
        seq = self.entries[-1].seq + 1 if self.entries else 1
        ms = self.now // 1_000_000
        utc = f"2026-05-04T{ms // 3_600_000 % 24:02d}:{ms // 60_000 % 60:02d}:{ms // 1000 % 60:02d}.{ms % 1000:03d}Z"
        entry = Entry(seq, kind, None, None, Stamp(utc, self.now, self.boot, True), body)
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
        if containers is None or containers.first is None:
            return self.scan("K-00013")
        label = containers.template.moved(containers.first, count - containers.template.count(containers.first))
        assert label is not None
        return self.scan(label)

    def expected(self) -> int:
        """The running number of the label that should come next; 1 where the protocol has no labels."""
        containers = self.setup.protocol.containers
        if containers is None:
            return 1
        label = expected_label(self.bench)
        return 9999 if label is None else containers.template.count(label)

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
        at = list(self.setup.instruments["scale"].places)
        return self.put("arrival", instrument="scale", places=at, baseline=zero)

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


def folded(play: Play) -> Bench:
    """A fresh bench that only heard what was recorded, and has no records to ask."""
    bench = Bench(play.setup, MemoryRecords(), forget_after=play.forget_after)
    for _ in bench.fold(play.entries):
        pass
    return bench


def check(play: Play) -> None:
    """What must hold whatever happened. Raises AssertionError."""
    things = play.records.objects
    specimens = {s.specimen_id: s for s in things.values() if isinstance(s, Specimen)}
    measurements = {m.seq: m for m in things.values() if isinstance(m, Measurement)}
    readings = {r.seq: r for r in things.values() if isinstance(r, Reading)}
    for key, thing in play.bench.objects.items():
        assert things.get(key, thing) == thing, "memory and records differ"
    assert {e.seq for e in play.entries if e.kind == "reading"} == readings.keys(), "a reading is lost"
    numbers = [s.number for s in specimens.values()]
    assert len(numbers) == len(set(numbers)), "a number twice"
    assert not set(numbers) & set(play.bench.desk.free_numbers), "a number in use is on the stack"
    current: dict[int, list[str]] = {}
    for s in specimens.values():
        for slot, seq in s.values.items():
            m = measurements[seq]
            assert (m.specimen_id, m.key) == (s.specimen_id, slot)
            assert m.status in ("stands", "questioned"), "a value that doesn't stand"
            if m.reading_seq is not None:
                current.setdefault(m.reading_seq, []).append(s.specimen_id)
        for name, seq in s.codes.items():
            coded = things["coded", seq]
            assert isinstance(coded, Coded)
            assert (coded.specimen_id, coded.field, coded.status) == (s.specimen_id, name, "stands")
        for label in s.containers:
            container = things["container", label]
            assert isinstance(container, Container)
            assert container.specimen_id == s.specimen_id
        verdicts = [measurements[seq].verdict for seq in s.values.values()]
        assert s.worst_verdict == max(verdicts, key={2: 1, 1: 2, 3: 3, 4: 4}.__getitem__, default=None)
        assert (s.state == "closed") == (s.end is not None)
    for m in measurements.values():
        if m.status in ("stands", "questioned"):
            owner = specimens.get(m.specimen_id)
            assert owner is not None, "a value of no fish stands"
            assert owner.values.get(m.key) == m.seq, "two values of one measurand stand"
    for r in readings.values():
        assert r.outcome is not None, "a reading without an outcome"
        if r.seq in current:
            assert r.outcome == "taken", f"a standing value's reading is {r.outcome}"
            assert len(current[r.seq]) == 1, "a reading on two specimens"
    for name in play.setup.places:
        p = play.bench.place(name)
        held = [i for i in (p.in_hand, *p.aside) if i is not None]
        assert len(held) == len(set(held))
        for i in held:
            assert specimens[i].state in ("open", "ready"), "what is in hand is closed"
        if p.in_hand is not None:
            assert p.batch is not None
        waiting = [r.seq for r in readings.values() if r.outcome == "waiting" and r.place == name]
        assert waiting == ([p.waiting] if p.waiting is not None else []), "a reading waits that nobody asks about"
        assert len(p.tray) < play.setup.protocol.tray
        filled = [measurements[seq] for seq in p.filled]
        assert all(m.specimen_id == p.in_hand for m in filled)
    here = [play.bench.place(name) for name in play.setup.places]
    held = [i for p in here for i in (p.in_hand, *p.aside, *p.queue) if i] + list(play.bench.desk.parked)
    assert len(held) == len(set(held)), "a fish in two hands"
    open_ = {s.specimen_id for s in specimens.values() if s.state != "closed"}
    assert open_ == set(held), "a fish is open in nobody's hand"
    for b in things.values():
        if isinstance(b, Batch):
            counted = [
                s
                for s in specimens.values()
                if s.batch == b.batch and s.closed_utc and s.end not in ("void", "same-as")
            ]
            assert b.measured == len(counted)
            at = [n for n in play.setup.places if play.bench.place(n).batch == b.batch]
            assert bool(at) == (b.opened_utc is not None and b.closed_utc is None)
    live = {q.seq for q in things.values() if isinstance(q, Question) and q.state in ("open", "quiet")}
    assert live == {q.seq for q in play.bench.live_questions()}


def state_of(bench: Bench) -> str:
    """Everything in play as one text, to compare two benches."""
    return json.dumps(json.loads(bench.snapshot()), sort_keys=True)
