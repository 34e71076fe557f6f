"""What a check costs, beside a plain gate of ±20 % in the same run.

python -m tests.benchmarks.checks
"""

from __future__ import annotations

import random
import timeit
from collections.abc import Callable
from math import exp, log
from statistics import median

from tests.long.checks_slips import setup_of
from thwart.checks.judge import judge
from thwart.checks.sequence import Sequence, follow
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import Setup, State, learn


def fish(number: int, rng: random.Random, lengths: int, times: float = 1.0) -> Specimen:
    x = rng.gauss(log(250), 0.15)
    values = {"total_length": Value(float(round(exp(x))), division=1.0)}
    if lengths == 3:
        values["fork_length"] = Value(float(round(0.92 * exp(x))), division=1.0)
        values["standard_length"] = Value(float(round(0.85 * exp(x))), division=1.0)
    mass = round(times * exp(log(150) + 3.05 * (x - log(250)) + min(max(rng.gauss(0, 0.1), -0.14), 0.14)), 1)
    values["whole_mass"] = Value(mass, division=0.1)
    return Specimen(str(number), "perch", values)


def gate(length: float, mass: float) -> bool:
    return abs(mass / exp(log(150.0) + 3.05 * log(length / 250.0)) - 1.0) < 0.2


def each(call: Callable[[], object], number: int) -> float:
    """Median of seven runs, in microseconds a call."""
    return 1e6 * median(timeit.repeat(call, number=number, repeat=7)) / number


def main() -> None:
    floor = each(lambda: gate(250.0, 150.0), 20000)
    print(f"{'a plain ±20 % gate':42s} {floor:9.2f} µs")
    for lengths in (1, 3):
        for name, cost in costs(setup_of(0.10, 20.0), lengths):
            print(f"{f'{name}, {lengths + 1} values':42s} {cost:9.2f} µs   {cost / floor:7.0f} × the gate")


def costs(setup: Setup, lengths: int) -> list[tuple[str, float]]:
    rng = random.Random(1)
    state, sequence = State(), Sequence()
    for i in range(300):
        one = fish(i, rng, lengths)
        sequence, _ = follow(sequence, one, state, setup)
        state = learn(state, one, setup)
    near = [fish(i, rng, lengths) for i in range(3)]
    passing = next(f for f in (fish(9, rng, lengths) for _ in range(100)) if not judge(f, near, state, setup))
    wrong = next(f for f in (fish(9, rng, lengths, 10.0) for _ in range(100)) if judge(f, near, state, setup))
    return [
        ("judge, all passes", each(lambda: judge(passing, near, state, setup), 500)),
        ("judge, causes compared", each(lambda: judge(wrong, near, state, setup), 10)),
        ("follow the sequence, a finished fish", each(lambda: follow(sequence, passing, state, setup), 200)),
        ("learn a finished fish", each(lambda: learn(state, passing, setup), 200)),
    ]


if __name__ == "__main__":
    main()
