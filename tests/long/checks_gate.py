"""Does the rate of questions on sound fish stay where it was set, while the bench learns from what passes its own gate?

    python -m tests.long.checks_gate [--seeds 20] [--fish 2000]

Every simulated fish is judged, then learned: what was asked about is let stand or left open, half and half. Rate wanted:
1 in 50. Printed: the mean, least and greatest rate of the seeds, and the mean in each quarter of the run.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Callable
from dataclasses import dataclass
from math import exp, log, sqrt

from thwart.checks.judge import judge
from thwart.checks.relation import Outcome
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import Setup, State, learn

from .checks_slips import setup_of

Scatter = Callable[[random.Random], float]


@dataclass(frozen=True)
class Case:
    """One kind of catch: `wrong` is the share of fish whose mass a person reads ten times or a fifth off; females are `ripe`
    times as heavy as males of their length, and the sexes kept `apart` or not."""

    name: str
    prior: bool = True
    scatter: Scatter = lambda rng: rng.gauss(0, 0.10)
    division: float = 0.1
    lengths: int = 1
    wrong: float = 0.0
    ripe: float = 1.0
    apart: bool = False


def heavy(rng: random.Random) -> float:
    """Student t with 5 degrees of freedom, as wide as a normal of 0.10."""
    chi = sum(rng.gauss(0, 1) ** 2 for _ in range(5))
    return 0.10 * sqrt(3 / 5) * rng.gauss(0, 1) / sqrt(chi / 5)


CASES = (
    Case("prior, normal scatter"),
    Case("no prior, normal scatter", prior=False),
    Case("prior, t with 5 df", scatter=heavy),
    Case("no prior, three lengths", prior=False, lengths=3),
    Case("prior, scale of 20 g steps", division=20.0),
    Case("no prior, 2 % wrong masses", prior=False, wrong=0.02),
    Case("prior, sexes 15 %, pooled", ripe=1.15),
    Case("prior, sexes 15 %, apart", ripe=1.15, apart=True),
    Case("no prior, sexes 15 %, apart", prior=False, ripe=1.15, apart=True),
    Case("no prior, sexes alike, apart", prior=False, apart=True),
)


def run(case: Case, fish: int, seed: int) -> list[bool]:
    """Whether each sound fish was asked about, in order (of a species without a prior: from the 21st on)."""
    rng = random.Random(seed)
    setup = setup_of(0.10, 10.0) if case.prior else Setup()
    a, b = log(150) + rng.gauss(0, 0.10 / sqrt(10)), 3.05 + rng.gauss(0, 0.1)
    state, out = State(), []
    near: list[Specimen] = []
    for i in range(fish):
        x = rng.gauss(log(250), 0.2)
        mass = exp(a + b * (x - log(250)) + case.scatter(rng))
        sex = rng.choice("FFM") if case.ripe > 1.0 or case.apart else ""
        if sex == "F":
            mass *= case.ripe
        wrong = rng.random() < case.wrong
        if wrong:
            mass *= rng.choice((0.1, 10.0, 0.8, 1.25))
        values = {"total_length": Value(float(round(exp(x))), division=1.0)}
        if case.lengths == 3:
            for name, ratio in (("fork_length", 0.92), ("standard_length", 0.85)):
                values[name] = Value(float(round(exp(x + log(ratio) + rng.gauss(0, 0.01)))), division=1.0)
        shown = max(round(mass / case.division), 1) * case.division
        values["whole_mass"] = Value(shown, f"{shown:.6g}", case.division)
        one = Specimen(str(i), "perch", values, group=sex if case.apart else "")
        findings = [f for f in judge(one, near, state, setup) if f.asks]
        asks = bool(findings)
        if not wrong and (case.prior or i >= 20):
            out.append(asks)
        near = [*near[-2:], one]
        if wrong and asks:
            continue  # mended or thrown away: not learned as it was
        outcome: Outcome = rng.choice(("stood", "open")) if asks else "passed"
        sound = findings[0].sound if outcome == "open" else 1.0
        state = learn(state, one, setup, {"whole_mass": outcome}, asked=asks, sound=sound)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--fish", type=int, default=2000)
    parser.add_argument("--only", default="", help="cases whose name holds this")
    asked = parser.parse_args()
    print(f"{asked.seeds} seeds of {asked.fish} fish; wanted 2.00 %")
    for case in (c for c in CASES if asked.only in c.name):
        runs = [run(case, asked.fish, seed) for seed in range(asked.seeds)]
        rates = [100 * sum(r) / len(r) for r in runs]
        quarter = asked.fish // 4
        parts = [
            100 * sum(sum(r[k * quarter : (k + 1) * quarter]) for r in runs) / (quarter * len(runs)) for k in range(4)
        ]
        inside = sum(1.5 <= r <= 2.5 for r in rates)
        print(
            f"{case.name:28s} mean {sum(rates) / len(rates):.2f} %, {min(rates):.2f} to {max(rates):.2f} %, "
            f"{inside} of {len(rates)} within 1.5 to 2.5 %; quarters {' '.join(f'{p:.2f}' for p in parts)}",
            flush=True,
        )


if __name__ == "__main__":
    main()
