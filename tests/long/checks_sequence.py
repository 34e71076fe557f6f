"""The sequence tests: false findings per 1,000 sound fish, and what each finds of what it is for.

    python -m tests.long.checks_sequence [--sound 60000] [--reps 100]

Three invented species (perch, roach, bream) in runs of 8 to 30 fish, length CV 20 %, scatter of ln mass 0.10, a tare
every 40 fish, board of 1 mm, scale of 1 g. Each error begins at fish 100.
"""

from __future__ import annotations

import argparse
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from math import exp, log

from thwart.checks.finding import Finding
from thwart.checks.model import RelationPrior, SpeciesModel
from thwart.checks.sequence import FALSE_PER_1000, Sequence, follow
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import Setup, State, learn

START = 100
#: ln mass (g) at 250 mm and slope; invented, of the size of such fish.
SPECIES = {"perch": (5.35, 3.16), "roach": (5.05, 3.1), "bream": (5.12, 3.1)}


@dataclass(frozen=True)
class One:
    """A simulated fish: species, length (mm), mass (g), whether the scale was tared before it."""

    species: str
    length: float
    mass: float
    tared: bool = False
    recorded: str = ""


def setup() -> Setup:
    return Setup(
        {
            name: SpeciesModel(
                relations=(
                    RelationPrior(
                        y="whole_mass", x="total_length", y_unit="g", x_unit="mm", ln_a=at - b * log(250), b=b,
                        scatter_ln=0.10, weight=20, source="invented for this simulation",
                    ),
                )
            )
            for name, (at, b) in SPECIES.items()
        }
    )  # fmt: skip


def catch(n: int, rng: random.Random) -> list[One]:
    out: list[One] = []
    while len(out) < n:
        species = rng.choice(sorted(SPECIES))
        at, b = SPECIES[species]
        for _ in range(rng.randint(8, 30)):
            x = rng.gauss(log(250), 0.2)
            out.append(One(species, exp(x), exp(at + b * (x - log(250)) + rng.gauss(0, 0.10)), len(out) % 40 == 0))
    return out[:n]


def follow_all(fish: list[One], board: float = 1.0) -> list[tuple[int, Finding]]:
    using, sequence, state, out = setup(), Sequence(), State(), []
    for i, one in enumerate(fish):
        values = {
            "total_length": Value(max(round(one.length / board), 1) * board, division=board),
            "whole_mass": Value(float(max(round(one.mass), 1)), division=1.0),
        }
        s = Specimen(str(i), one.recorded or one.species, values)
        sequence, findings = follow(sequence, s, state, using, measurer="one", tared=one.tared)
        out += [(i, f) for f in findings]
        state = learn(state, s, using)
    return out


def masses(change: Callable[[One], float]) -> Callable[[list[One], random.Random], list[One]]:
    return lambda fish, rng: [replace(f, mass=change(f)) if i >= START else f for i, f in enumerate(fish)]


def tray(grams: float) -> Callable[[list[One], random.Random], list[One]]:
    """Fish of 80 to 400 g lie on a tray from the tare at fish 120 on."""
    return lambda fish, rng: [replace(f, mass=max(f.mass + grams, 1.0)) if i >= 120 else f for i, f in enumerate(fish)]


def board(mm: float) -> Callable[[list[One], random.Random], list[One]]:
    return lambda fish, rng: [replace(f, length=f.length + mm) if i >= START else f for i, f in enumerate(fish)]


def swapped(fish: list[One], rng: random.Random) -> list[One]:
    a, b = fish[START], fish[START + 1]
    return [*fish[:START], replace(a, mass=b.mass), replace(b, mass=a.mass), *fish[START + 2 :]]


def stale(fish: list[One], rng: random.Random) -> list[One]:
    held = fish[START].mass
    return [replace(f, mass=held) if START <= i < START + 5 else f for i, f in enumerate(fish)]


def heaped(step: float) -> Callable[[list[One], random.Random], list[One]]:
    return lambda fish, rng: [replace(f, length=round(f.length / step) * step) for f in fish]


def stuck(fish: list[One], rng: random.Random) -> list[One]:
    """From START on perch are measured, and recorded as roach."""
    other = [f for f in catch(600, rng) if f.species == "perch"]
    return [*fish[:START], *(replace(f, recorded="roach", tared=False) for f in other[:60])]


PLANTED: tuple[tuple[str, Callable[[list[One], random.Random], list[One]], tuple[str, ...]], ...] = (
    ("masses +8 %", masses(lambda f: f.mass * 1.08), ("drift", "offset", "board_shift")),
    ("masses -8 %", masses(lambda f: f.mass * 0.92), ("drift", "offset", "board_shift")),
    ("masses +4 % (threshold)", masses(lambda f: f.mass * 1.04), ("drift", "offset", "board_shift")),
    ("tray +30 g after a tare", tray(30), ("offset",)),
    ("tray -30 g after a tare", tray(-30), ("offset",)),
    ("board +8 mm", board(8), ("board_shift", "drift", "offset")),
    ("board -8 mm", board(-8), ("board_shift", "drift", "offset")),
    ("pair exchanged", swapped, ("swapped",)),
    ("five equal masses", stale, ("stale_run",)),
    ("lengths to 5 mm", heaped(5), ("heaping",)),
    ("lengths to 2 mm", heaped(2), ("heaping",)),
    ("perch recorded as roach", stuck, ("species_stuck",)),
)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sound", type=int, default=60000)
    parser.add_argument("--reps", type=int, default=100)
    asked = parser.parse_args()
    counts: Counter[str] = Counter()
    for seed in range(asked.sound // 1000):
        counts.update(f.cause for _, f in follow_all(catch(1000, random.Random(seed))))
    print(f"false findings per 1,000 of {asked.sound} sound fish (board 1 mm), and what is kept to:")
    for cause, kept in FALSE_PER_1000.items():
        print(f"  {cause:14s} {1000 * counts[cause] / asked.sound:.3f}  ({kept})")
    coarse: Counter[str] = Counter()
    for seed in range(asked.sound // 4000):
        coarse.update(f.cause for _, f in follow_all(catch(1000, random.Random(seed)), board=10.0))
    rates = ", ".join(f"{c} {4000 * n / asked.sound:.2f}" for c, n in sorted(coarse.items()))
    print(f"the same with lengths in 10 mm classes: {rates or 'none'}")
    print(f"{'planted':26s} found within 20, 60 fish; cause as planted; all found")
    for name, spoil, causes in PLANTED:
        found, soon, named = 0, 0, Counter[str]()
        for seed in range(asked.reps):
            rng = random.Random(1000 + seed)
            fish = spoil(catch(START + 60, rng), rng)
            begin = 0 if causes == ("heaping",) else START
            hits = [(i, f) for i, f in follow_all(fish) if f.cause in causes and i >= begin]
            if hits:
                found += 1
                soon += hits[0][0] < START + 20
                named[hits[0][1].cause] += 1
        names = ", ".join(f"{c} {n}" for c, n in named.most_common())
        print(f"{name:26s} {100 * soon / asked.reps:3.0f} %, {100 * found / asked.reps:3.0f} %   {names}", flush=True)


if __name__ == "__main__":
    main()
