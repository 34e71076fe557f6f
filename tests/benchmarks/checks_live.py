"""What the statistical checks cost at the bench: processor time per reading and per closing, with and without a species model's work.

    python -m tests.benchmarks.checks_live [fish] [apart]

The floor is the same day at a bench whose fish have no species: everything is done but the statistics. The difference of the same
percentile is what the checks add. Sound fish only: what is asked is answered. With `apart` the species has a relation for each sex,
and the sex of each fish is said before it is weighed.
"""

from __future__ import annotations

import random
import sys
from math import exp, log
from time import thread_time_ns

from tests.benchkit import SOLO, Play
from thwart.entries import Entry, canonical

MODEL = """
[[species.perch.model.relations]]
y = "whole_mass"
x = "total_length"
y_unit = "g"
x_unit = "mm"
ln_a = -11.87
b = 3.1
scatter_ln = 0.1
fish = 56
source = "invented for this benchmark"
[species.pike]"""
TEXT = (
    SOLO.replace("[species.pike]", MODEL).replace("[containers]", "[containers]\nrequired = false")
    + "[numbers]\nlast = 9999999\n"
)


class Timed(Play):
    """A play that keeps what each input took, by what it was."""

    def __init__(self, species: str, apart: bool) -> None:
        self.spent: dict[str, list[int]] = {}
        self.bytes: list[int] = []
        apart_line = '[species.perch.model]\napart = ["sex"]\n' if apart else ""
        super().__init__(TEXT.replace("[[species.perch.model", f"{apart_line}[[species.perch.model"), batch=False)
        self.act(f"batch open bay {species}".strip())

    def put(self, kind: str, **body: object) -> list[Entry]:
        start = thread_time_ns()
        out = super().put(kind, **body)
        name = f"reading of the {body['instrument']}" if kind == "reading" else str(body.get("act", kind))
        self.spent.setdefault(name, []).append(thread_time_ns() - start)
        for d in out:
            if d.kind == "learned":
                empty = Entry(d.seq, d.kind, d.input_seq, d.specimen_id, d.stamp, {})
                self.bytes.append(len(canonical(d)) - len(canonical(empty)))
        return out


def run(species: str, fish: int, apart: bool) -> Timed:
    play, rng = Timed(species, apart), random.Random(1)
    for i in range(fish):
        mm = round(exp(min(max(rng.gauss(log(220), 0.2), log(90)), log(400))))
        play.touch(mm)
        if apart:
            play.act(f"code sex {'FM'[i % 2]}")
        play.weigh(max(1, round(exp(-11.87 + 3.1 * log(mm) + rng.gauss(0, 0.1)))))
        if play.bench.open_questions("table"):
            play.act("stands")
        play.act("next")
    return play


def percentile(values: list[int], share: float) -> float:
    return sorted(values)[int(share * (len(values) - 1))] / 1e6


def main(fish: int = 1000, apart: bool = False) -> None:
    floor, judged = run("", fish, apart), run("perch", fish, apart)
    print(f"{'ms of processor time':<24}{'':>6}{'floor':>9}{'judged':>9}{'added':>9}")
    for name in ("reading of the board", "reading of the scale", "next"):
        for said, share in (("p50", 0.5), ("p90", 0.9), ("p99", 0.99)):
            a, b = percentile(floor.spent[name], share), percentile(judged.spent[name], share)
            print(f"{name:<24}{said:>6}{a:>9.3f}{b:>9.3f}{b - a:>9.3f}")
        means = [sum(p.spent[name]) / len(p.spent[name]) / 1e6 for p in (floor, judged)]
        print(f"{name:<24}{'mean':>6}{means[0]:>9.3f}{means[1]:>9.3f}{means[1] - means[0]:>9.3f}")
    desk = judged.bench.desk
    print(
        f"{desk.asked_statistical} questions on {desk.fish_closed} sound fish ({100 * desk.asked_statistical / desk.fish_closed:.2f} %)"
    )
    print(f"entry `learned`: {sum(judged.bytes) / len(judged.bytes):.0f} bytes a fish, at most {max(judged.bytes)}")


if __name__ == "__main__":
    numbers = [int(arg) for arg in sys.argv[1:] if arg != "apart"]
    main(numbers[0] if numbers else 1000, apart="apart" in sys.argv)
