"""Slips by one fish: found within 5 and 10 fish, beside the limit where relation and scatter are known.

    python -m tests.long.checks_slips [--reps 400] [--sound 60000] [--weight 10] [--order random|sorted|stratified]

Simulated fish: ln length normal, ln mass = a + b (ln length - ln 250) + scatter, with a and b drawn from the prior
(`weight` fish strong), 20 sound fish seen first. The limit is the cumulative log-likelihood ratio with known a, b and
scatter, at a height that gives 0.2 false alarms per 1,000 fish.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable, Sequence
from math import exp, log, sqrt

from thwart.checks.level import KEEP
from thwart.checks.model import RelationPrior, SpeciesModel
from thwart.checks.slip import Slip, SlipWatch, Swap, follow_slip
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import Setup, State, learn

SCATTERS = (0.07, 0.10, 0.12)
CVS = (0.05, 0.10, 0.15, 0.25)
BEFORE = 20
Order = Callable[[list[float], random.Random], list[float]]


def as_random(x: list[float], rng: random.Random) -> list[float]:
    return x


def as_sorted(x: list[float], rng: random.Random) -> list[float]:
    return sorted(x)


def as_stratified(x: list[float], rng: random.Random) -> list[float]:
    """Five fish of one length class after the other, classes in random order."""
    ranked = sorted(x)
    groups = [ranked[i : i + 5] for i in range(0, len(ranked), 5)]
    rng.shuffle(groups)
    return [one for group in groups for one in rng.sample(group, len(group))]


ORDERS: dict[str, Order] = {"random": as_random, "sorted": as_sorted, "stratified": as_stratified}


def setup_of(scatter: float, weight: float) -> Setup:
    prior = RelationPrior(
        y="whole_mass", x="total_length", y_unit="g", x_unit="mm", ln_a=log(150) - 3.05 * log(250), b=3.05,
        scatter_ln=scatter, weight=weight, source="invented for this simulation",
    )  # fmt: skip
    return Setup({"perch": SpeciesModel(relations=(prior,))})


def catch(
    n: int, scatter: float, cv: float, weight: float, order: Order, rng: random.Random
) -> list[tuple[float, float]]:
    """(ln length, ln mass) of `n` fish whose relation is drawn from the prior."""
    sd = sqrt(log(1 + cv * cv))
    a, b = log(150) + rng.gauss(0, scatter / sqrt(weight)), 3.05 + rng.gauss(0, scatter / sqrt(weight) / 0.25)
    lengths = order([rng.gauss(log(250), sd) for _ in range(n)], rng)
    return [(x, a + b * (x - log(250)) + rng.gauss(0, scatter)) for x in lengths]


def slipped(fish: list[tuple[float, float]], start: int, direction: str) -> list[tuple[float, float]]:
    masses = [y for _, y in fish]
    if direction == "late":
        masses[start:] = masses[start - 1 : -1]
    else:
        masses[start:-1] = masses[start + 1 :]
    return [(x, m) for (x, _), m in zip(fish, masses, strict=True)]


def follow(fish: Sequence[tuple[float, float]], setup: Setup) -> list[tuple[int, Slip | Swap]]:
    watch, state, found = SlipWatch(), State(), []
    before: list[Specimen] = []
    for i, (x, y) in enumerate(fish):
        values = {
            "total_length": Value(float(round(exp(x))), division=1.0),
            "whole_mass": Value(round(exp(y), 1), division=0.1),
        }
        specimen = Specimen(str(i), "perch", values)
        watch, one = follow_slip(watch, specimen, before, state, setup)
        before = [*before[-KEEP + 1 :], specimen]
        if one:
            found.append((i, one))
        state = learn(state, specimen, setup)
    return found


def false_alarms(
    scatter: float, cv: float, sound: int, weight: float, order: Order, rng: random.Random
) -> tuple[float, float]:
    """Slips and swaps found per 1,000 sound fish, in catches of 500."""
    setup, slips, swaps = setup_of(scatter, weight), 0, 0
    for _ in range(sound // 500):
        for _, one in follow(catch(500, scatter, cv, weight, order, rng), setup):
            slips += isinstance(one, Slip)
            swaps += isinstance(one, Swap)
    return 1000 * slips / sound, 1000 * swaps / sound


def power(
    scatter: float, cv: float, direction: str, reps: int, weight: float, order: Order, rng: random.Random
) -> tuple[float, float, float, float]:
    """Shares found within 5 and 10 fish (any direction named), start within one fish, direction right."""
    setup = setup_of(scatter, weight)
    five = ten = start = right = 0
    for _ in range(reps):
        fish = slipped(catch(BEFORE + 14, scatter, cv, weight, order, rng), BEFORE, direction)[:-1]
        alarms = [(i, s) for i, s in follow(fish, setup) if isinstance(s, Slip) and i >= BEFORE]
        if not alarms:
            continue
        at, slip = alarms[0]
        judged = at - BEFORE + (direction == "late")
        five += judged <= 5
        ten += judged <= 10
        start += abs(int(slip.start) - BEFORE) <= 1
        right += slip.direction == direction
    return five / reps, ten / reps, start / reps, right / reps


def limit(scatter: float, cv: float, order: Order, rng: random.Random, reps: int) -> tuple[float, float, float, float]:
    """The same (late only: early is its mirror image) with a, b and scatter known; the last number is its height."""
    sd = sqrt(log(1 + cv * cv))

    def fish(n: int) -> list[tuple[float, float]]:
        lengths = order([rng.gauss(0, sd) for _ in range(n)], rng)
        return [(x, 3.05 * x + rng.gauss(0, scatter)) for x in lengths]

    def sums(seen: list[tuple[float, float]], height: float) -> list[tuple[int, int]]:
        late = early = 0.0
        late_from, out = 0, []
        for i in range(1, len(seen)):
            (x0, y0), (x1, y1) = seen[i - 1], seen[i]
            if late <= 0:
                late_from = i
            late = max(0.0, late + ((y1 - 3.05 * x1) ** 2 - (y1 - 3.05 * x0) ** 2) / (2 * scatter**2))
            early = max(0.0, early + ((y0 - 3.05 * x0) ** 2 - (y0 - 3.05 * x1) ** 2) / (2 * scatter**2))
            if late > height or early > height:
                out.append((i, late_from))
                late = early = 0.0
        return out

    low, high = 0.5, 10.0
    sound = [fish(500) for _ in range(200)]
    for _ in range(7):
        height = (low + high) / 2
        rate = sum(len(sums(s, height)) for s in sound) / 100.0
        low, high = (height, high) if rate > 0.2 else (low, height)
    five = ten = start = 0
    for _ in range(4 * reps):
        found = [a for a in sums(slipped(fish(BEFORE + 14), BEFORE, "late")[:-1], high) if a[0] >= BEFORE]
        if found:
            five += found[0][0] - BEFORE + 1 <= 5
            ten += found[0][0] - BEFORE + 1 <= 10
            start += abs(found[0][1] - BEFORE) <= 1
    return five / (4 * reps), ten / (4 * reps), start / (4 * reps), high


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--reps", type=int, default=400)
    parser.add_argument("--sound", type=int, default=60000)
    parser.add_argument("--weight", type=float, default=10.0)
    parser.add_argument("--order", choices=sorted(ORDERS), default="random")
    asked = parser.parse_args()
    order = ORDERS[asked.order]
    print(
        f"order {asked.order}, prior {asked.weight:g} fish, {asked.reps} slips a cell, {asked.sound} sound fish a cell"
    )
    print("scatter  CV   false/1000     known: 5/10 start±1   late: 5/10 start±1 direction   early: the same")
    for scatter in SCATTERS:
        for cv in CVS:
            rng = random.Random(5)
            slips, swaps = false_alarms(scatter, cv, asked.sound, asked.weight, order, rng)
            best = limit(scatter, cv, order, rng, asked.reps)
            ours = [power(scatter, cv, d, asked.reps, asked.weight, order, rng) for d in ("late", "early")]
            cells = "   ".join("{:3.0f}/{:3.0f} {:3.0f} {:3.0f}".format(*(100 * v for v in o)) for o in ours)
            known = "{:3.0f}/{:3.0f} {:3.0f}".format(*(100 * v for v in best[:3]))
            print(
                f"{scatter:.2f}  {100 * cv:3.0f} %  {slips:.2f} slip {swaps:.2f} swap   {known}   {cells}", flush=True
            )


if __name__ == "__main__":
    main()
