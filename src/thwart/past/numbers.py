"""Specimen numbers of several benches: their blocks, what each used, and where they clash."""

from __future__ import annotations

import itertools
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from ..bench.protocol import Numbers
from ..config import read_bench
from ..errors import ThwartError
from ..service.folder import LEDGER


@dataclass(frozen=True, slots=True)
class Bench:
    """One bench: its name, its block (None where only a ledger is known), the other benches' it knows of, what it used."""

    name: str
    block: Numbers | None
    others: tuple[tuple[str, Numbers], ...]
    used: frozenset[int]

    @property
    def said(self) -> str:
        """Block and use in a line."""
        block = f"block {self.block.first} to {self.block.last}" if self.block else "block not known"
        used = f"{len(self.used)} used, {min(self.used)} to {max(self.used)}" if self.used else "none used"
        return f"{self.name}: {block}; {used}"


def bench_at(path: Path) -> Bench:
    """A bench by its folder, its ledger or a backup. Raises ThwartError."""
    if path.is_file():
        return Bench(path.name, None, (), _used(path))
    configured = read_bench(path)
    others = configured.config.numbers.others if configured.config.numbers else {}
    ledger = path / LEDGER
    used = _used(ledger) if ledger.is_file() else frozenset[int]()
    return Bench(configured.config.name, configured.protocol.numbers, tuple(others.items()), used)


def clashes(benches: Sequence[Bench]) -> Iterator[str]:
    """What is wrong among them, a line each."""
    for bench in benches:
        for name, block in bench.others:
            if inside := _within(bench.used, block):
                yield f"{bench.name} used {_ranges(inside)}, of the block of {name}"
    for a, b in itertools.combinations(benches, 2):
        if twice := a.used & b.used:
            yield f"{a.name} and {b.name} both have fish {_ranges(twice)}"
        if a.block and b.block and a.block.first <= b.block.last and b.block.first <= a.block.last:
            low, high = max(a.block.first, b.block.first), min(a.block.last, b.block.last)
            yield f"the blocks of {a.name} and {b.name} share {low} to {high}"
        else:
            for one, other in ((a, b), (b, a)):
                if other.block and (inside := _within(one.used, other.block) - other.used):
                    yield f"{one.name} used {_ranges(inside)}, of the block of {other.name}"


def _within(used: frozenset[int], block: Numbers) -> frozenset[int]:
    return frozenset(n for n in used if block.first <= n <= block.last)


def _ranges(numbers: frozenset[int]) -> str:
    """`1 to 3, 7`; the first few of many."""
    found: list[tuple[int, int]] = []
    for n in sorted(numbers):
        if found and found[-1][1] == n - 1:
            found[-1] = (found[-1][0], n)
        else:
            found.append((n, n))
    shown = ", ".join(str(low) if low == high else f"{low} to {high}" for low, high in found[:5])
    return shown + (f" and more ({len(numbers)})" if len(found) > 5 else "")


def _used(path: Path) -> frozenset[int]:
    try:
        with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)) as db:
            return frozenset(n for (n,) in db.execute("SELECT number FROM specimens"))
    except sqlite3.Error as error:
        raise ThwartError(
            f"{path}: not a ledger that can be read: {error}", "name a bench folder, a ledger or a backup"
        ) from None
