"""Masses that leave their relation by a little and stay there: drift, an offset of grams, a board shifted. Pure.

A two-sided cumulative sum of the standardised residuals of mass on length (Page 1954; reference value 0.5). Its height
is from Siegmund's approximation of the average run length (Siegmund 1985, Sequential Analysis): one alarm in 5,000
sound fish, 0.2 per 1,000. What happened is told by which one-parameter change explains the residuals since then best:
a factor (drift), grams (tray or zero), millimetres of length (the board's stop). After a tare the offset of the first
fish is tested by itself as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import copysign, exp, log1p, sqrt
from typing import NamedTuple

import msgspec

from .numeric import antilog, six
from .specimen import Specimen
from .state import FIRST, Setup, State, mass_of, root_of

REFERENCE = 0.5
HEIGHT = 7.35
#: Residuals further out count as this far: one wrong value is no drift.
_CLIP = 2.5
#: Fish after a tare at which the offset is tested, and the z it takes: 0.2 false findings per 1,000 fish at a tare
#: every 40 fish.
TARE_LOOKS = (3, 5, 8)
TARE_Z = 3.2
#: Fish remembered.
KEEP = 40


class Residual(NamedTuple):
    """One fish: its standardised residual and its scale (of ln mass), expected mass (g), length (mm), slope."""

    number: str
    z: float
    scale: float
    grams: float
    mm: float
    slope: float


class LevelWatch(msgspec.Struct, frozen=True):
    """The two sums with how many fish are in each; fish since the last tare (-1: none, or settled).

    `recent` are the standardised residuals of the last fish, None for one without.
    """

    up: float = 0.0
    down: float = 0.0
    in_up: int = 0
    in_down: int = 0
    since_tare: int = -1
    recent: tuple[float | None, ...] = ()


class Level(NamedTuple):
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
    mass = mass_of(values)
    if not root or not mass or not fish.species:
        return None
    relation = state.relation(setup, fish.kind, mass, root, fish.group)
    if relation.fish < FIRST:
        return None
    x, y = values[root], values[mass]
    expected = relation.predict(x.ln, x.rounding, y.rounding)
    t = (y.ln - expected.mean) / expected.scale
    # Wallace's transformation of t to a normal score (Wallace 1959, Ann. Math. Statist. 30:1121-1130).
    nu = expected.nu
    z = copysign((8 * nu + 1) / (8 * nu + 3) * sqrt(nu * log1p(t * t / nu)), t)
    z = round(min(max(z, -_CLIP), _CLIP), 3)
    return Residual(fish.number, z, expected.scale, antilog(expected.mean), x.value, relation.m1)


def follow_level(
    watch: LevelWatch,
    fish: Specimen,
    before: Sequence[Specimen],
    state: State,
    setup: Setup,
    *,
    tared: bool = False,
) -> tuple[LevelWatch, Level | None]:
    """The watch after one more fish, with `state` as before it was learned; `before`: the fish before it here, nearest
    last; `tared`: the scale was tared just before."""
    one = residual_of(fish, state, setup)
    since = 0 if tared else watch.since_tare
    recent = (*watch.recent, one.z if one else None)[-KEEP:]
    if one is None:
        return msgspec.structs.replace(watch, since_tare=since, recent=recent), None
    up, down = (round(max(0.0, s), 3) for s in (watch.up + one.z - REFERENCE, watch.down - one.z - REFERENCE))
    since = since + 1 if since >= 0 else -1
    in_up, in_down = (n + 1 if s > 0.0 else 0 for s, n in ((up, watch.in_up), (down, watch.in_down)))
    new = LevelWatch(up, down, in_up, in_down, since if since < TARE_LOOKS[-1] else -1, recent)
    for height, n in ((up, in_up), (down, in_down)):
        if height > HEIGHT:
            return LevelWatch(recent=recent), explain_level(_last(n, recent, [*before, fish], state, setup))
    if since in TARE_LOOKS:
        these = _last(since, recent, [*before, fish], state, setup)
        grams, z = _fit([(r.grams * r.z * r.scale, r.grams * r.scale, 1.0) for r in these])
        if abs(z) > TARE_Z:
            found = Level("offset", these[0].number, these[-1].number, six(grams), six(1.0 - exp(-z * z / 2)))
            return msgspec.structs.replace(new, since_tare=-1), found
    return new, None


def _last(
    n: int, recent: Sequence[float | None], fish: Sequence[Specimen], state: State, setup: Setup
) -> list[Residual]:
    """The last `n` residuals, as they were when each fish came, with the rest as known now."""
    out: list[Residual] = []
    for z, one in zip(reversed(recent), reversed(fish), strict=False):
        if len(out) < n and z is not None and (now := residual_of(one, state, setup)) is not None:
            out.append(now._replace(z=z))
    return out[::-1]


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
