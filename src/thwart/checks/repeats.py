"""Runs of equal values: an instrument that no longer follows. Pure.

How often two fish in a row give the same value follows from the division and the spread of the values: for a normal
spread s the chance is division / (2 √π s). The spread is that of successive differences (von Neumann 1941, Ann. Math.
Statist. 12:367-395) or, where it is less, their median's, and the chance no less than the share of pairs of fish before that are equal, so fish sorted by size, where neighbours are alike, are excused,
also where a sorted heap ends and the next begins. A run is found when that chance, to the power of the repeats, falls under
`RARE`; so lengths in centimetre classes need a longer run than masses to the gram.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from math import pi, sqrt
from statistics import median
from typing import NamedTuple

from .specimen import Specimen

#: One false finding in so many fish is 10,000.
RARE = 1e-4
LEAST = 3
#: For how many differences the first guess of the spread counts.
_FEW = 2.0
#: From how many differences on their median tells something; the spread of a normal value in one.
_ENOUGH = 8
#: Fewer steps back than this share are no order by chance.
_BACK = 0.15
_OF_MEDIAN = 1.0 / (0.6745 * sqrt(2.0))


class Run(NamedTuple):
    """A run of equal values: how many, the first one's fish, whether it was told."""

    fish: int
    start: str
    told: bool = False


def follow_repeats(run: Run | None, name: str, fish: Specimen, before: Sequence[Specimen]) -> tuple[Run | None, int]:
    """The run of one measurand after one more fish (None: no two equal), and its length when it first becomes too long
    (else 0). `before`: the fish before it, nearest last."""
    value = fish.values[name]
    then = before[-1].values.get(name) if before else None
    if then is None or abs(value.value - then.value) > 0.5 * value.division:
        return None, 0
    run = Run(run.fish + 1, run.start, run.told) if run else Run(2, before[-1].number)
    if run.told or run.fish < LEAST:
        return run, 0
    if _sorted(name, before):
        return run, 0
    step = value.division or 0.002 * value.value
    chance = min(1.0, step / (2.0 * sqrt(pi) * max(_spread(name, value.value, before), 1e-9)))
    chance = max(chance, _alike(name, before[: -(run.fish - 1)], 0.5 * value.division))
    if chance ** (run.fish - 1) < RARE:
        return run._replace(told=True), run.fish
    return run, 0


def _seen(name: str, before: Sequence[Specimen]) -> list[float]:
    return [value.value for one in before if (value := one.positive().get(name))]


def _alike(name: str, before: Sequence[Specimen], within: float) -> float:
    """The share of pairs of fish before the run that are equal: several species, or classes, make more than one spread tells."""
    seen = sorted(_seen(name, before))
    pairs = len(seen) * (len(seen) - 1) / 2
    return sum(n * (n - 1) / 2 for n in _classes(seen, within)) / pairs if pairs else 0.0


def _classes(seen: Sequence[float], within: float) -> list[int]:
    """How many of the sorted values are alike, class by class."""
    out = [1] if seen else []
    for a, b in pairwise(seen):
        if b - a <= within:
            out[-1] += 1
        else:
            out.append(1)
    return out


def _sorted(name: str, before: Sequence[Specimen]) -> bool:
    """Whether the fish before come in order of size, so that equal ones stand together."""
    seen = _seen(name, before)
    up = sum(b > a for a, b in pairwise(seen))
    down = sum(b < a for a, b in pairwise(seen))
    return up + down >= _ENOUGH and min(up, down) <= _BACK * (up + down)


def _spread(name: str, value: float, before: Sequence[Specimen]) -> float:
    """The standard deviation of the values, from successive differences; a quarter of the value for the first few."""
    seen = _seen(name, before)
    squares = [(b - a) ** 2 / 2.0 for a, b in pairwise(seen)]
    spread = sqrt((sum(squares) + _FEW * (0.25 * value) ** 2) / (len(squares) + _FEW))
    if len(squares) < _ENOUGH:
        return spread
    return min(spread, _OF_MEDIAN * sqrt(2.0 * median(squares)))
