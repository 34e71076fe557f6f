"""Runs of equal values: an instrument that no longer follows. Pure.

How often two fish in a row give the same value follows from the division and the spread of the values: for a normal
spread s the chance is division / (2 √π s). The spread is that of successive differences (von Neumann 1941, Ann. Math.
Statist. 12:367-395), so fish sorted by size, where neighbours are alike, are excused. A run is found when that chance, to the power of the repeats, falls under
`RARE`; so lengths in centimetre classes need a longer run than masses to the gram.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi, sqrt

from .numeric import six
from .specimen import Value

#: One false finding in so many fish is 10,000.
RARE = 1e-4
LEAST = 3
_SPAN = 50.0


@dataclass(frozen=True, slots=True)
class RepeatWatch:
    """The values of one measurand at one instrument: half the mean squared successive difference, the run."""

    value: float = 0.0
    variance: float = 0.0
    fish: int = 0
    run: int = 0
    start: str = ""
    told: bool = False


def follow_repeats(watch: RepeatWatch, number: str, value: Value) -> tuple[RepeatWatch, int]:
    """The watch after one more value, and the length of the run when it first becomes too long (else 0)."""
    same = watch.fish > 0 and abs(value.value - watch.value) <= 0.5 * value.division
    if watch.fish == 0:
        return RepeatWatch(six(value.value), six((0.25 * value.value) ** 2), 1, 1, number), 0
    share = 1.0 / min(watch.fish + 3.0, _SPAN)
    variance = six((1.0 - share) * watch.variance + share * (value.value - watch.value) ** 2 / 2.0)
    if not same:
        return RepeatWatch(six(value.value), variance, watch.fish + 1, 1, number), 0
    watch = replace(watch, variance=variance, fish=watch.fish + 1, run=watch.run + 1)
    step = value.division or 0.002 * value.value
    chance = min(1.0, step / (2.0 * sqrt(pi) * max(sqrt(watch.variance), 1e-9)))
    if not watch.told and watch.run >= LEAST and chance ** (watch.run - 1) < RARE:
        return replace(watch, told=True), watch.run
    return watch, 0
