"""The objects in the bench's memory by kind, from one walk through it: a picture is made between two inputs."""

from __future__ import annotations

from typing import Any

from ..bench.kernel import Bench
from ..bench.state import Batch, Instrument, Measurement, Pool, Reading, Specimen


class Memory:
    """Objects by kind, in no order that matters."""

    def __init__(self, bench: Bench) -> None:
        self.batches: list[Batch] = []
        self.instruments: list[Instrument] = []
        self.measurements: list[Measurement] = []
        self.pools: list[Pool] = []
        self.readings: list[Reading] = []
        self.specimens: list[Specimen] = []
        lists: dict[type, list[Any]] = {
            Batch: self.batches, Instrument: self.instruments, Measurement: self.measurements, Pool: self.pools,
            Reading: self.readings, Specimen: self.specimens,
        }  # fmt: skip
        for thing in bench.objects.values():
            if (kind := lists.get(type(thing))) is not None:
                kind.append(thing)
