"""Time, fish and what really happened. Knows nothing of the program."""

from __future__ import annotations

import heapq
import math
import random
import time
from collections.abc import Callable, Generator
from dataclasses import dataclass, field

S = 1_000_000_000
MS = 1_000_000

#: What a simulated person does: yields the seconds until it goes on.
Doing = Generator[float, None, None]

#: Species → (log10 a, b, scatter of log10 mass, lengths mm from, mode, to). `a` and `b` give grams from centimetres of
#: total length: least squares on the data set `fish` of the R package rrcov 1.7-2 (159 fish of one lake). Lengths invented.
KINDS = {
    "perch": (-2.2057, 3.1627, 0.0502, 120, 190, 380),
    "roach": (-2.1824, 3.1082, 0.0473, 110, 170, 300),
    "bream": (-2.1462, 3.1093, 0.0398, 180, 290, 470),
    "pike": (-2.6086, 3.2011, 0.0417, 300, 430, 680),
}
SHARES = {"perch": 0.45, "roach": 0.3, "bream": 0.15, "pike": 0.1}
#: Fork length as a share of total length, invented: as far as the shapes of tails differ.
FORKS = {"perch": 0.955, "roach": 0.91, "bream": 0.88, "pike": 0.94}


@dataclass(eq=False)
class Fish:
    """One fish as it is: lengths in mm, masses in g."""

    n: int
    species: str
    sex: str
    true: dict[str, float]
    trouble: str | None = None
    """What goes wrong with it."""
    where: str = ""
    """Where it lies, while it is worked on."""
    done: set[str] = field(default_factory=set)
    """What was really measured of it."""
    gone: bool = False
    """Overboard, or never a fish."""

    def __repr__(self) -> str:
        return f"fish {self.n} ({self.species}, {self.true})"


def catch(count: int, rng: random.Random) -> list[Fish]:
    """So many fish in the order they come to hand."""
    out = []
    for n, species in enumerate(rng.choices(list(SHARES), list(SHARES.values()), k=count)):
        log_a, b, scatter, low, mode, high = KINDS[species]
        length = round(rng.triangular(low, high, mode))
        mass = max(2.0, 10 ** (log_a + b * math.log10(length / 10) + rng.gauss(0, scatter)))
        sex = rng.choice("FM")
        gonads = mass * (rng.uniform(0.03, 0.12) if sex == "F" else rng.uniform(0.01, 0.05))
        true = {
            "total_length": length,
            "fork_length": round(length * (FORKS[species] + rng.gauss(0, 0.006))),
            "whole_mass": mass,
            "liver_mass": mass * rng.uniform(0.008, 0.02),
            "thawed_whole_mass": 0.973 * mass,
            "thawed_gutted_mass": 0.973 * (mass - gonads) * 0.9,
            "gonad_mass.left": gonads * 0.52,
            "gonad_mass.right": gonads * 0.48,
        }
        out.append(Fish(n, species, sex, true))
    return out


@dataclass(frozen=True)
class Cause:
    """What really was behind an input: whose it is, what it measures, whether the number is right, and what went wrong."""

    fish: Fish | None
    what: str
    right: bool = True
    trouble: str | None = None
    said: str | None = None
    """What was said: a code, a species, a label."""


@dataclass
class Planted:
    """A trouble that happened, and the entries from then on until it was over."""

    name: str
    fish: int
    first_seq: int
    last_seq: int | None = None


class World:
    """The clock of the simulated world, and its randomness."""

    def __init__(self, seed: int) -> None:
        self.rng = random.Random(seed)
        self.now = 1_000 * S
        self._due: list[tuple[int, int, Callable[[], None]]] = []
        self._count = 0
        self._busy = 0

    def at(self, in_s: float, do: Callable[[], None]) -> None:
        """Do something in so many seconds."""
        self._count += 1
        heapq.heappush(self._due, (self.now + max(0, round(in_s * S)), self._count, do))

    def person(self, doing: Doing) -> None:
        """Somebody begins to work."""
        self._busy += 1
        self.at(0, lambda: self._on(doing))

    def _on(self, doing: Doing) -> None:
        try:
            wait = next(doing)
        except StopIteration:
            self._busy -= 1
            return
        self.at(wait, lambda: self._on(doing))

    def run(self, pace: float = 0.0) -> None:
        """Until everybody has finished. `pace`: how many real seconds a second lasts."""
        began, since = time.monotonic(), self.now
        while self._busy and self._due:
            due, _, do = heapq.heappop(self._due)
            self.now = due
            if pace:
                time.sleep(max(0.0, began + (due - since) / S * pace - time.monotonic()))
                self.now = max(due, since + round((time.monotonic() - began) / pace * S))
            do()

    def happens(self, chance: float) -> bool:
        """Whether something of this probability happens."""
        return self.rng.random() < chance
