"""Masses that leave their relation by a little and stay there: drift, an offset of grams, a board shifted. Pure.

A two-sided cumulative sum of the standardised residuals of mass on length (Page 1954; reference value 0.5). Its height
is from Siegmund's approximation of the average run length (Siegmund 1985, Sequential Analysis): one alarm in 5,000
sound fish, 0.2 per 1,000. What happened is told by which one-parameter change explains the residuals since then best:
a factor (drift), grams (tray or zero), millimetres of length (the board's stop). After a tare the offset of the first
fish is tested by itself as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import copysign, exp, log1p, sqrt
from typing import NamedTuple

from .numeric import antilog, six
from .specimen import Specimen
from .state import FIRST, MASSES, Setup, State, root_of

REFERENCE = 0.5
HEIGHT = 7.35
#: Residuals further out count as this far: one wrong value is no drift.
_CLIP = 2.5
#: Fish after a tare at which the offset is tested, and the z it takes: 0.2 false findings per 1,000 fish at a tare
#: every 40 fish.
TARE_LOOKS = (3, 5, 8)
TARE_Z = 3.2
_KEEP = 40


class Residual(NamedTuple):
    """One fish: its standardised residual, the residual of ln mass, its scale, expected mass (g), length (mm), slope."""

    number: str
    z: float
    ln: float
    scale: float
    grams: float
    mm: float
    slope: float


@dataclass(frozen=True, slots=True)
class LevelWatch:
    """The two sums with the fish since each began; fish since the last tare (-1: none, or settled)."""

    up: float = 0.0
    down: float = 0.0
    up_from: int = 0
    down_from: int = 0
    fish: int = 0
    recent: tuple[Residual, ...] = ()
    since_tare: int = -1


@dataclass(frozen=True, slots=True)
class Level:
    """A change: `cause` is drift, offset or board_shift, `size` in %, g or mm, `surely` among the three."""

    cause: str
    start: str
    end: str
    size: float
    surely: float


def residual_of(fish: Specimen, state: State, setup: Setup) -> Residual | None:
    """The residual of a fish whose relation is known from at least `FIRST` fish; None otherwise."""
    values = fish.positive()
    root = root_of(values)
    mass = next((m for m in MASSES if m in values), None)
    if not root or not mass or not fish.species:
        return None
    relation = state.relation(setup, fish.kind, mass, root)
    if relation.fish < FIRST:
        return None
    x, y = values[root], values[mass]
    expected = relation.predict(x.ln, x.rounding, y.rounding)
    t = (y.ln - expected.mean) / expected.scale
    # Wallace's transformation of t to a normal score (Wallace 1959, Ann. Math. Statist. 30:1121-1130).
    nu = expected.nu
    z = copysign((8 * nu + 1) / (8 * nu + 3) * sqrt(nu * log1p(t * t / nu)), t)
    z = min(max(z, -_CLIP), _CLIP)
    grams = antilog(expected.mean)
    return Residual(
        fish.number, *(six(v) for v in (z, y.ln - expected.mean, expected.scale, grams, x.value, relation.m1))
    )


def follow_level(
    watch: LevelWatch, fish: Specimen, state: State, setup: Setup, *, tared: bool = False
) -> tuple[LevelWatch, Level | None]:
    """The watch after one more fish, with `state` as before it was learned; `tared`: the scale was tared just before."""
    if tared:
        watch = replace(watch, since_tare=0)
    one = residual_of(fish, state, setup)
    if one is None:
        return watch, None
    at = watch.fish
    new = replace(
        watch,
        fish=at + 1,
        up_from=at if watch.up <= 0.0 else watch.up_from,
        down_from=at if watch.down <= 0.0 else watch.down_from,
        up=six(max(0.0, watch.up + one.z - REFERENCE)),
        down=six(max(0.0, watch.down - one.z - REFERENCE)),
        recent=(*watch.recent, one)[-_KEEP:],
        since_tare=watch.since_tare + 1 if watch.since_tare >= 0 else -1,
    )
    for height, begun in ((new.up, new.up_from), (new.down, new.down_from)):
        if height > HEIGHT:
            cleared = LevelWatch(fish=new.fish, since_tare=-1)
            return cleared, explain_level(new.recent[begun - new.fish :])
    if new.since_tare in TARE_LOOKS:
        since = new.recent[-new.since_tare :]
        grams, z = _fit([(r.grams * r.z * r.scale, r.grams * r.scale, 1.0) for r in since])
        if abs(z) > TARE_Z:
            found = Level("offset", since[0].number, since[-1].number, six(grams), six(1.0 - exp(-z * z / 2)))
            return replace(new, since_tare=-1), found
    if new.since_tare >= TARE_LOOKS[-1]:
        new = replace(new, since_tare=-1)
    return new, None


def explain_level(fish: Sequence[Residual]) -> Level:
    """Which change explains these residuals best."""
    # ln mass moves by δ with a factor, by offset / grams with an offset, by -slope × shift / mm with a shifted board.
    clipped = [(r.z * r.scale, r) for r in fish]
    fits = {
        "drift": _fit([(ln, r.scale, 1.0) for ln, r in clipped]),
        "offset": _fit([(ln, r.scale, 1.0 / r.grams) for ln, r in clipped]),
        "board_shift": _fit([(ln, r.scale, -r.slope / r.mm) for ln, r in clipped]),
    }
    cause = max(fits, key=lambda c: abs(fits[c][1]))
    size, z = fits[cause]
    surely = 1.0 / sum(exp((other * other - z * z) / 2) for _, other in fits.values())
    return Level(cause, fish[0].number, fish[-1].number, six(100.0 * size if cause == "drift" else size), six(surely))


def _fit(points: Sequence[tuple[float, float, float]]) -> tuple[float, float]:
    """Weighted least squares of value = size × effect, from (value, standard deviation, effect): size and its z."""
    top = sum(value * effect / sd**2 for value, sd, effect in points)
    bottom = sum((effect / sd) ** 2 for _, sd, effect in points)
    return top / bottom, top / sqrt(bottom)
