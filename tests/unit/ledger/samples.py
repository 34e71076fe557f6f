"""An invented lake survey as the ledger sees it: inputs, each with its entries and the objects it changed.

Decisions carry the fields they set, so `fold` makes the objects again from the entries alone, as the bench does.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator, Mapping
from typing import Any

from msgspec.structs import replace

from thwart.bench.state import (
    KINDS,
    Batch,
    Coded,
    Container,
    Instrument,
    Key,
    Measurement,
    Object,
    Place,
    Pool,
    Question,
    Reading,
    Records,
    Specimen,
    Tally,
    from_json,
    key_of,
    to_json,
)
from thwart.entries import Entry, Stamp
from thwart.ledger.schema import PROJECTED

Input = tuple[list[Entry], dict[Key, Object | None]]

SPECIES = ("perch", "roach", "bream", "pike")
BOOT = "0b6f1c1e-6a55-4c6b-9a0e-1d2b3c4d5e6f"


class Survey:
    """Makes inputs in order, from `seq` on. A call is one input or a whole load; nothing is random but by seed."""

    def __init__(self, seq: int = 1, seed: int = 1) -> None:
        self.seq = seq
        self.random = random.Random(seed)
        self.now: dict[Key, Object] = {}
        self.fish: Specimen | None = None
        self.number = 0

    def stamp(self) -> Stamp:
        s = self.seq // 10
        day = f"2026-05-{1 + s // 86400 % 28:02d}"
        time = f"{s // 3600 % 24:02d}:{s // 60 % 60:02d}:{s % 60:02d}.{self.seq % 10}00Z"
        return Stamp(f"{day}T{time}", self.seq * 100_000_000, BOOT, True)

    def input(self, kind: str, body: dict[str, Any], decisions: list[tuple[str, list[Object | Key]]]) -> Input:
        """One input with its decisions; a Key among a decision's objects removes the object."""
        stamp = self.stamp()
        first = Entry(self.seq, kind, None, None, stamp, body)
        entries, changed = [first], dict[Key, Object | None]()
        for name, things in decisions:
            fields: list[list[Any]] = []
            specimen = None
            for thing in things:
                if isinstance(thing, tuple):
                    self.now.pop(thing, None)
                    changed[thing] = None
                    fields.append([thing[0], thing[1], None])
                    continue
                key = key_of(thing)
                before = self.now.get(key)
                self.now[key] = changed[key] = thing
                specimen = specimen or getattr(thing, "specimen_id", None)
                old = to_json(before) if before else {}
                new = {k: v for k, v in to_json(thing).items() if k not in old or old[k] != v}
                fields.append([*key, json.loads(json.dumps(new))])  # tuples as they come back: lists
            entries.append(Entry(first.seq + len(entries), name, first.seq, specimen, stamp, {"set": fields}))
        self.seq += len(entries)
        return entries, changed

    def start(self) -> Input:
        scale = Instrument("scale", "status-comma", "simulated:scale", True, changed_utc=self.stamp().utc)
        board = Instrument("board", "plain-number", "simulated:board", False, changed_utc=self.stamp().utc)
        return self.input("started", {"version": "0"}, [("ready", [scale, board, Place("table")])])

    def open_batch(self, name: str = "lake-1", practice: bool = False) -> Input:
        batch = Batch(
            name, None, "haul", self.stamp().utc, None, None, "1250.5", None, None, 0, None, None, None, None, practice
        )
        return self.input("act", {"act": "batch", "words": ["open", name]}, [("batch_opened", [batch])])

    def open_fish(self, batch: str = "lake-1", practice: bool = False) -> Input:
        self.number += 1
        utc = self.stamp().utc
        things: list[Object | Key] = []
        if self.fish:
            things.append(replace(self.fish, state="closed", end="complete", closed_utc=utc))
        # Ids grow with time as UUIDs of version 7 do (RFC 9562).
        identity = f"{self.seq:012x}"
        fish = Specimen(
            specimen_id=f"{identity[:8]}-{identity[8:]}-7{self.random.getrandbits(12):03x}-8000-{self.number:012x}",
            number=self.number,
            batch=batch,
            species=SPECIES[self.number % 4],
            state="open",
            end=None,
            place="table",
            opened_seq=self.seq,
            opened_utc=utc,
            practice=practice,
        )
        self.fish = fish
        return self.input("act", {"act": "next", "place": "table"}, [("opened", [*things, fish])])

    def stream_load(self, measurand: str = "whole_mass", side: str | None = None) -> list[Input]:
        """A load on the scale, from arrival to emptied: three inputs, each a commit of its own while fish come by."""
        fish = self.fish
        assert fish is not None
        scale = self.now[("instrument", "scale")]
        assert isinstance(scale, Instrument)
        arrival = self.seq
        value = f"{self.random.randrange(200, 9000) / 10:.1f}"
        loaded = replace(scale, load_seq=arrival, load_specimens={"table": fish.specimen_id})
        arrived = self.input("arrival", {"instrument": "scale", "zero": "0.0"}, [("loaded", [loaded])])
        seq, utc = self.seq, self.stamp().utc
        frames = [[i * 100, f"US,GS,{self.random.randrange(0, 9000) / 10:8.1f},g"] for i in range(8)]
        raw = f"ST,GS,{value:>8},g"
        reading = Reading(
            seq, "scale", "table", raw, value, "g", value, "gross", "mark", "0.1", 9, "0.0", 1, utc, seq * 10**8, utc,
            arrival, "taken", None, fish.specimen_id, None, fish.practice,
        )  # fmt: skip
        key = ".".join(filter(None, [measurand, side]))
        measurement = Measurement(
            seq=seq + 2, specimen_id=fish.specimen_id, number=fish.number, measurand=measurand, side=side,
            replicate=None, value=value, unit="g", raw_value=value, raw_unit="g", rounded_value=None,
            status="stands", verdict=1,
            cause=None, place="table", instrument="scale", how="settled", measurer="mn", recorder=None,
            zero_before="0.0", zero_after=None, taken_utc=utc, supersedes=fish.values.get(key), reading_seq=seq,
            practice=fish.practice,
        )  # fmt: skip
        self.fish = replace(
            fish, values={**fish.values, key: seq + 2}, state="ready", given=fish.given + 1, worst_verdict=1
        )
        holding = replace(
            loaded, load_readings=(seq,), last_seq=seq, last_text=value, last_ns=seq * 10**8, since_zero=(seq + 2,)
        )
        settled = self.input(
            "reading",
            {"instrument": "scale", "raw": raw, "evidence": frames, "settled": "mark", "spread": "0.1"},
            [("took", [reading, holding]), ("measured", [measurement, self.fish])],
        )
        clear = replace(holding, load_seq=None, load_specimens={}, load_readings=(), zero="0.0", since_zero=())
        after = replace(measurement, zero_after="0.0")
        emptied = self.input("emptied", {"instrument": "scale", "zero": "0.0"}, [("cleared", [clear, after])])
        return [arrived, settled, emptied]

    def question(self) -> Input:
        assert self.fish is not None
        question = Question(
            self.seq, "table", self.fish.specimen_id, "whole_mass", 3, "tenfold", {"value": "41.2", "least": 300},
            "0.012", "as measured", "41.2 g is a tenth of what this length says", True, "open", None, self.seq - 1,
            self.fish.practice,
        )  # fmt: skip
        return self.input("wake", {"why": "check"}, [("asked", [question])])

    def coded(self) -> Input:
        assert self.fish is not None
        coded = Coded(
            self.seq,
            self.fish.specimen_id,
            "sex",
            "sexes",
            "F",
            None,
            "mn",
            self.stamp().utc,
            None,
            "stands",
            self.fish.practice,
        )
        return self.input("act", {"act": "code"}, [("coded", [coded])])

    def contained(self, number: str) -> Input:
        assert self.fish is not None
        self.fish = replace(self.fish, containers=(*self.fish.containers, number))
        box = Container(
            number, self.fish.specimen_id, "otolith", 2, None, None, "envelope", True, "filled", self.stamp().utc,
            self.fish.practice,
        )  # fmt: skip
        return self.input("scan", {"raw": number}, [("contained", [box, self.fish])])

    def counted(self, batch: str = "lake-1", place: str = "table", practice: bool = False) -> Input:
        """One more of a class, and a mass for three together."""
        key = ("tally", f"{batch} {place} perch F total_length 120")
        known = self.now.get(key)
        n = known.n + 1 if isinstance(known, Tally) else 1
        tally = Tally(str(key[1]), batch, place, "perch", "F", "total_length", "120", n, practice)
        pool = Pool(
            self.seq + 1, batch, place, "perch", 3, "whole_mass", "61.5", "g", "61.5", "g", "stands", self.stamp().utc,
            self.seq, practice,
        )  # fmt: skip
        return self.input("reading", {"instrument": "scale"}, [("counted", [tally, pool])])

    def fishes(self, count: int, loads: int = 1) -> Iterator[Input]:
        for _ in range(count):
            yield self.open_fish()
            for i in range(loads):
                yield from self.stream_load(("whole_mass", "gonad_mass")[i % 2])

    def everything(self) -> Iterator[Input]:
        """Every kind of object at least once, practice included."""
        yield self.start()
        yield self.open_batch()
        yield from self.fishes(5)
        yield from self.stream_load("gonad_mass", "left")
        yield self.question()
        yield self.coded()
        yield self.contained("E-0101")
        yield self.contained("E-0102")
        yield self.counted()
        yield self.counted()
        yield self.counted(place="bow")
        yield self.open_batch("dry-run", practice=True)
        yield self.counted("dry-run", practice=True)
        yield self.open_fish("dry-run", practice=True)
        yield from self.stream_load()
        yield self.question()
        yield self.coded()
        yield self.contained("E-9999")


def fold(entries: Iterator[Entry], records: Records) -> Iterator[Mapping[Key, Object | None]]:
    """What the bench's own fold does: decisions become objects again, and it may ask for them."""
    now: dict[Key, dict[str, Any]] = {}
    for entry in entries:
        changed: dict[Key, Object | None] = {}
        for kind, name, fields in entry.body.get("set", ()):
            assert kind in KINDS
            if fields is None:
                now.pop((kind, name), None)
                changed[kind, name] = None
            else:
                data = now[kind, name] = now.get((kind, name), {}) | fields
                changed[kind, name] = from_json(kind, data)
        if changed:
            yield changed
            for key, thing in changed.items():
                assert key[0] not in PROJECTED or records.get(key) == thing
