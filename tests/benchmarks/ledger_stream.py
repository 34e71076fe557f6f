"""What the real bench gives the ledger during an invented survey, made once so that benchmarks time the ledger alone."""

from __future__ import annotations

import random
from collections.abc import Mapping

from tests.benchkit import SOLO, Play
from thwart.bench.state import Key, MemoryRecords, Object
from thwart.entries import Entry

Input = tuple[list[Entry], dict[Key, Object | None]]


class _Kept(MemoryRecords):
    """Remembers what each input changed."""

    def __init__(self) -> None:
        super().__init__()
        self.changes: list[dict[Key, Object | None]] = []

    def store(self, changed: Mapping[Key, Object | None]) -> None:
        super().store(changed)
        self.changes.append(dict(changed))


def played(fish: int, seed: int = 1) -> list[Input]:
    """The inputs of a survey: species by name, one touch of a board, one load on a stream scale, then `next`.

    A fish is two readings in six inputs: two acts; the touch; arrival, settled (with 12 frames of evidence), emptied.
    """
    chance = random.Random(seed)
    play = Play(SOLO[: SOLO.index("[containers]")], batch=False)
    kept = _Kept()
    play.bench.records = play.records = kept
    start = list(play.entries)
    play.act("batch open bay")
    for _ in range(fish):
        length = chance.randrange(120, 380)
        play.act("species perch")
        play.touch(length)
        grams = max(1, round(1.1e-5 * length**3.03 * chance.uniform(0.9, 1.1)))
        frames = [[200 * i, f"US,GS,{grams * min(i, 9) // 10:8d},g\r\n"] for i in range(12)]
        play.lay()
        play.settle(grams, evidence=frames)
        play.lift()
        play.act("next")
    inputs: list[list[Entry]] = []
    for entry in play.entries[len(start) :]:
        if entry.input_seq is None:
            inputs.append([])
        inputs[-1].append(entry)
    assert len(inputs) == len(kept.changes)
    return [(start, {}), *zip(inputs, kept.changes, strict=True)]
