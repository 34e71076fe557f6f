"""What does it bring to keep the sexes of a species apart?

    python -m tests.long.checks_groups [--seeds 6] [--fish 1000]

Females and males in turn, females 15 % heavier at a length. Each simulated fish, after 300 that were learned, is judged as it is and with its
mass 15, 20 or 30 % off (by a factor e^0.15 …), half of them too heavy, then learned as it is. Printed: how many sound fish are asked about, and
how many of the wrong ones, judged by the pooled relation and by that of each sex.
"""

from __future__ import annotations

import argparse
from math import exp

from tests.unit.test_checks_groups import catch, setup
from thwart.checks.judge import judge
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import State, learn

SEEN = 300
OFF = (0.15, 0.2, 0.3)
SETUP = setup()


def asks(fish: Specimen, state: State) -> bool:
    return any(finding.asks for finding in judge(fish, [], state, SETUP))


def wrong(fish: Specimen, ln_off: float) -> Specimen:
    mass = Value(fish.values["whole_mass"].value * exp(ln_off), typed=False)
    return Specimen(fish.number, fish.species, {**fish.values, "whole_mass": mass}, group=fish.group)


def run(scatter: float, apart: bool, seed: int, n: int) -> list[list[bool]]:
    """For each fish, whether it is asked about as it is and with its mass off by each of `OFF`."""
    state, out = State(), []
    for i, one in enumerate(catch(SEEN + n, seed, scatter)):
        fish = one if apart else Specimen(one.number, one.species, one.values)
        asked = asks(fish, state)
        if i >= SEEN:
            sign = 1 if i % 4 < 2 else -1
            out.append([asked, *(asks(wrong(fish, sign * off), state) for off in OFF)])
        state = learn(state, fish, SETUP, {"whole_mass": "stood"} if asked else {}, asked=asked)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=6)
    parser.add_argument("--fish", type=int, default=1000)
    said = parser.parse_args()
    print("scatter  judged by  sound asked   " + "  ".join(f"{100 * off:.0f} % off" for off in OFF))
    for scatter in (0.06, 0.10):
        for apart in (False, True):
            rows = [row for seed in range(said.seeds) for row in run(scatter, apart, seed, said.fish)]
            shares = [100 * sum(column) / len(rows) for column in zip(*rows, strict=True)]
            caught = "  ".join(f"{share:6.0f} %" for share in shares[1:])
            print(
                f"{scatter:.2f}     {'each sex' if apart else 'pooled  '}   {shares[0]:6.2f} %     {caught}", flush=True
            )


if __name__ == "__main__":
    main()
