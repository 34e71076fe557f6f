"""Errors planted in a real fish table: how many are asked about, and is the cause named rightly.

    python -m tests.long.checks_planted [--shuffles 200] [--named 20] [--lengths 1|3]

Every fish is judged by a prior fitted to the other fish of its species (the fish itself is never in it), `--weight`
fish strong, and by what was learned of the fish before it in a shuffled order; from the fifth fish of a species on. The
threshold is the one that asks about 1 in 50 unspoilt fish over all shuffles. Beside it an oracle: least squares of ln
mass on ln length through all fish of the species, |z| > 2.326.

Data: 159 fish of seven species from one lake, the data set `fish` of the R package rrcov 1.7-2.
"""

from __future__ import annotations

import argparse
import csv
import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import log, sqrt
from pathlib import Path

from thwart.checks.cause import BY_TEN, Explanation, exchanged, explain, one_off
from thwart.checks.fit import fit_relation
from thwart.checks.judge import WORTH, _winner, least_likely, score_of
from thwart.checks.model import RelationPrior, SpeciesModel
from thwart.checks.specimen import Specimen, Value
from thwart.checks.state import Setup, State, all_pairs, learn, pairs_of

DATA = Path(__file__).parents[1] / "data" / "lake_fish_159.csv"
FIFTH = 4
LEARNED_TRAY = "tray 30 g, learned"


@dataclass(frozen=True)
class Fish:
    row: int
    species: str
    mass: float
    total: float
    fork: float
    standard: float


def table() -> list[Fish]:
    """All fish with a mass above 0."""
    with DATA.open(encoding="utf-8") as file:
        rows = [r for r in csv.DictReader(file) if r["mass_g"] and float(r["mass_g"]) > 0]
    return [
        Fish(
            int(r["row"]),
            r["species"],
            float(r["mass_g"]),
            *(round(10 * float(r[f"{k}_length_cm"])) for k in ("total", "fork", "standard")),
        )
        for r in rows
    ]


def specimen(fish: Fish, lengths: int, *, length: str = "total_length") -> Specimen:
    every = {"total_length": fish.total, "fork_length": fish.fork, "standard_length": fish.standard}
    values = {k: Value(v, division=1.0) for k, v in every.items() if lengths == 3 or k == length}
    return Specimen(str(fish.row), fish.species, {**values, "whole_mass": Value(fish.mass, f"{fish.mass:g}")})


def model(fish: list[Fish], lengths: int, weight: float | None = None) -> SpeciesModel:
    whole = [specimen(f, 3) for f in fish]
    priors: list[RelationPrior] = []
    values = {k: v for k, v in whole[0].values.items() if lengths == 3 or k != "standard_length"}
    for y, x in all_pairs(values):
        points = [(s.values[x].ln, s.values[y].ln, s.values[x].rounding, s.values[y].rounding) for s in whole]
        priors.append(fit_relation(y, x, points, "the other fish of this table", weight=weight).prior)
    return SpeciesModel(relations=tuple(priors))


class Oracle:
    """Least squares of ln mass on ln length per species, all fish in it."""

    def __init__(self, fish: list[Fish], length: str) -> None:
        self.lines: dict[str, tuple[float, float, float]] = {}
        for species in {f.species for f in fish}:
            points = [(log(getattr(f, length)), log(f.mass)) for f in fish if f.species == species]
            mx, my = (sum(p[i] for p in points) / len(points) for i in (0, 1))
            b = sum((x - mx) * (y - my) for x, y in points) / sum((x - mx) ** 2 for x, _ in points)
            ss = sum((y - my - b * (x - mx)) ** 2 for x, y in points)
            self.lines[species] = (my - b * mx, b, sqrt(ss / (len(points) - 2)))

    def z(self, species: str, mass: float, length: float) -> float:
        a, b, s = self.lines[species]
        return abs(log(mass) - a - b * log(length)) / s


def plant(
    s: Specimen, fish: Fish, before: Fish, others: list[Fish], species: list[str], lengths: int, rng: random.Random
) -> Iterator[tuple[str, Specimen, frozenset[str]]]:
    """(kind, spoilt specimen, causes that are right)."""

    def put(name: str, value: float, text: str = "") -> Specimen:
        old = s.values[name]
        return replace(s, values={**s.values, name: replace(old, value=value, text=text or format(value, ".10g"))})

    mass, total = fish.mass, fish.total
    yield "mass × 10", put("whole_mass", mass * 10), frozenset({"times_10"})
    yield "mass / 10", put("whole_mass", mass / 10), frozenset({"tenth"})
    yield "mass × 1000", put("whole_mass", mass * 1000), frozenset({"times_1000"})
    yield "length × 10", put("total_length", total * 10), frozenset({"times_10"})
    yield "length / 10", put("total_length", total / 10), frozenset({"tenth"})
    for kind, name, text in (("mass", "whole_mass", f"{mass:g}"), ("length", "total_length", f"{total:g}")):
        if texts := exchanged(text):
            one = rng.choice(texts)
            yield f"{kind} digits exchanged", put(name, float(one), one), frozenset({"digits_exchanged"})
        one = rng.choice(one_off(text))
        if float(one) > 0:
            yield f"{kind} one digit off", put(name, float(one), one), frozenset({"digit_off", "digits_exchanged"})
    yield "fork taken as total", put("total_length", fish.fork), frozenset({"length_type"})
    if lengths == 3:
        yield "total taken as fork", put("fork_length", total), frozenset({"length_type"})
    if before.mass != mass:
        yield "mass of the fish before", put("whole_mass", before.mass), frozenset({"stale", "neighbour"})
    far = rng.choice([f for f in others if f is not before and f.mass != mass])
    yield "another fish's mass", put("whole_mass", far.mass), frozenset()
    yield "tray 30 g", put("whole_mass", mass + 30), frozenset({"tray"})
    yield LEARNED_TRAY, put("whole_mass", mass + 30), frozenset({"tray"})
    yield "tray 100 g", put("whole_mass", mass + 100), frozenset({"tray"})
    yield "lifted early", put("whole_mass", round(mass * rng.uniform(0.2, 0.9), 1)), frozenset({"lifted_early"})
    yield "pounds for kilograms", put("whole_mass", round(mass * 2.20462, 1)), frozenset({"pound"})
    yield "inches for centimetres", put("total_length", round(total / 2.54)), frozenset({"inch"})
    wrong = rng.choice([n for n in species if n != fish.species])
    yield "wrong species", replace(s, species=wrong), frozenset({"wrong_species"})


def cases(
    fish: list[Fish], lengths: int, rng: random.Random, loo: dict[int, SpeciesModel], full: dict[str, SpeciesModel]
) -> Iterator[tuple[Fish, Specimen, list[Specimen], State, Setup, Fish]]:
    """One shuffle: for each fish from the fifth of its species on, what it is judged by."""
    for species in full:
        order = [f for f in fish if f.species == species]
        rng.shuffle(order)
        for k in range(FIFTH, len(order)):
            setup = Setup({**full, species: loo[order[k].row]})
            state = State()
            for f in order[:k]:
                state = learn(state, specimen(f, lengths), setup)
            state = replace(state, ration=State().ration)
            near = [specimen(f, lengths) for f in order[max(0, k - 3) : k]]
            yield order[k], specimen(order[k], lengths), near, state, setup, order[k - 1]


def score(s: Specimen, near: list[Specimen], state: State, setup: Setup) -> tuple[float, list[Explanation]]:
    """What is compared with the threshold, in units of what asks at a rate of 1, and the explanations if compared."""
    known, _ = least_likely(s, state, setup, pairs_of(s.positive()))
    if known is None:
        return 1.0, []
    one = known.limit / setup.rate
    if known.tail >= WORTH * known.limit:
        return known.tail / one, []
    compared = explain(s, near, state, setup)
    return score_of(known, compared) / one, compared


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--shuffles", type=int, default=200)
    parser.add_argument("--named", type=int, default=20, help="shuffles in which causes are compared too")
    parser.add_argument("--lengths", type=int, choices=(1, 3), default=1)
    parser.add_argument("--weight", type=float, default=10.0, help="how many fish the prior counts for")
    asked = parser.parse_args()
    for line in report(asked.shuffles, asked.named, asked.lengths, asked.weight):
        print(line, flush=True)


def report(shuffles: int, named: int, lengths: int, weight: float = 10.0, every: int = 1) -> Iterator[str]:
    """The lines of the report; `every` third … fish only makes it quicker."""
    fish = table()
    species = sorted({f.species for f in fish})
    groups = {s: [f for f in fish if f.species == s] for s in species}
    full = {s: model(g, lengths) for s, g in groups.items()}
    loo = {f.row: model([g for g in groups[f.species] if g is not f], lengths, weight) for f in fish}
    oracle = Oracle(fish, "total")
    unspoilt: list[tuple[float, int]] = []
    per_shuffle: list[list[float]] = []
    results: dict[str, list[tuple[float, float, str, str, frozenset[str]]]] = {}
    for n in range(shuffles):
        rng = random.Random(n)
        mine = []
        for f, s, near, state, setup, before in list(cases(fish, lengths, rng, loo, full))[::every]:
            t, _ = score(s, near, state, setup)
            mine.append(t)
            unspoilt.append((t, f.row))
            if n >= named:
                continue
            for kind, spoilt, right in plant(s, f, before, groups[f.species], species, lengths, rng):
                using = replace(setup, trays=(30.0,)) if kind == LEARNED_TRAY else setup
                st = state
                if kind == "wrong species":
                    st = State()
                out, compared = score(spoilt, near, st, using)
                z = oracle.z(spoilt.species, spoilt.values["whole_mass"].value, spoilt.values["total_length"].value)
                cause = first = ""
                if compared:
                    cause, first = _winner(compared).cause, compared[0].cause
                results.setdefault(kind, []).append((out, z, cause, first, right))
        per_shuffle.append(mine)
    ranked = sorted(t for t, _ in unspoilt)
    cut = ranked[round(0.02 * len(ranked))]
    rates = sorted(sum(t < cut for t in one) / len(one) for one in per_shuffle)
    nominal = sum(t < 0.02 for t, _ in unspoilt) / len(unspoilt)
    yield f"{len(unspoilt)} unspoilt fish in {shuffles} shuffles, {lengths} length(s): asks about {100 * nominal:.2f} % at the nominal 2 %"
    yield (
        f"2 % are asked at tail probability {cut:.4f}; per shuffle {100 * rates[len(rates) // 20]:.1f} to "
        f"{100 * rates[-1 - len(rates) // 20]:.1f} % (90 % of shuffles)"
    )
    often = Counter(row for t, row in unspoilt if t < cut)
    times = Counter(row for _, row in unspoilt)
    yield "asked unspoilt (row: share of times): " + ", ".join(
        f"{r}: {100 * n / times[r]:.0f} %" for r, n in often.most_common(6)
    )
    zs = sorted((oracle.z(f.species, f.mass, f.total) for f in fish), reverse=True)
    yield f"oracle asks about {100 * sum(z > 2.326 for z in zs) / len(zs):.1f} % of unspoilt fish at |z| > 2.326"
    yield f"{'kind':26s} {'n':>6s} asks oracle ratio suspect right first mostly named"
    sums = [0.0, 0.0]
    hit = total = 0
    for kind, got in results.items():
        caught = [g for g in got if g[0] < cut]
        share, best = len(caught) / len(got), sum(g[1] > 2.326 for g in got) / len(got)
        sums[0] += share
        sums[1] += best
        correct = [g for g in caught if g[2] in g[4]]
        leading = [g for g in caught if g[3] in g[4]]
        if caught and caught[0][4]:
            hit += len(correct)
            total += len(caught)
        suspect = sum(g[0] < 2 * cut for g in got) / len(got)
        names = ", ".join(f"{c} {n}" for c, n in Counter(g[2] for g in caught).most_common(3))
        named_right = f"{100 * len(correct) / len(caught):4.0f} %" if caught and caught[0][4] else "    –"
        named_first = f"{100 * len(leading) / len(caught):4.0f} %" if caught and caught[0][4] else "    –"
        yield (
            f"{kind:26s} {len(got):6d} {100 * share:4.0f} {100 * best:6.0f} {share / best if best else 0:5.2f} "
            f"{100 * suspect:7.0f} {named_right} {named_first}  {names}"
        )
    by_ten = [g for k, got in results.items() for g in got if g[4] & BY_TEN and g[0] < cut]
    yield f"all kinds: power {sums[0] / sums[1]:.3f} of the oracle's; cause right {100 * hit / total:.0f} % of all caught"
    yield f"×10-type: {100 * sum(g[2] in g[4] for g in by_ten) / len(by_ten):.1f} % rightly named"


if __name__ == "__main__":
    main()
